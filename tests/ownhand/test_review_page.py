"""The page in a real browser: Debian's Chromium, driven by Playwright. What a person does with the letters, by mouse,
touch and keyboard."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ownhand.commands.build import make_font
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import load_sheets
from tests.ownhand.on_page import (
    A,
    N,
    T,
    U,
    draw,
    middle_of,
    open_attempt,
    read,
    ready,
    stored,
    strokes_of,
    until,
)

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")


# --- the first minute ------------------------------------------------------------------------------------------------


def test_a_first_time_user_mends_three_planted_faults_by_what_the_page_says(page, hand):
    """Clicks only what can be seen and read; the words of the page lead the way. Twelve clicks and one letter typed."""
    assert page.get_by_role("heading", name="3 attempts to look at").is_visible()

    # A scribble.
    page.get_by_role("link", name="Attempt 3").first.click()
    page.get_by_text("Look at it because: touches a neighbour").wait_for()
    page.get_by_role("button", name="Set it aside").click()
    page.get_by_role("heading", name="set aside").wait_for()
    # An n where a u was asked for.
    page.get_by_role("button", name="Next to look at").click()
    page.get_by_role("heading", name="small u").wait_for()
    page.get_by_label("Is it another character?").fill("")
    page.get_by_role("button", name="Correct the label").click()
    page.get_by_text("Type the character that it is.").wait_for()
    page.get_by_label("Is it another character?").fill("n")
    page.get_by_role("button", name="Correct the label").click()
    page.get_by_text("Asked for was u").wait_for()

    # A bar written the wrong way: the list says 'to the left', the other attempts' pictures show the arrow.
    page.get_by_role("button", name="Next to look at").click()
    page.get_by_role("heading", name="small t").wait_for()
    page.get_by_role("button", name="2 to the left").click()
    page.get_by_role("button", name="Turn round").click()
    page.get_by_role("button", name="2 to the right").wait_for()
    page.get_by_role("button", name="Keep it").click()
    page.get_by_role("heading", name="kept").wait_for()
    page.get_by_role("link", name="All letters").first.click()
    page.get_by_role("heading", name="Nothing left to look at").wait_for()
    decisions = load_decisions(hand.decisions_file).attempts
    bar = decisions[f"{T}.2"].strokes[1].points_mm
    assert decisions[f"{A}.3"].verdict == "set aside"
    assert bar[0, 0] < bar[-1, 0]
    assert decisions[f"{U}.2"].char == "n"


def test_from_a_read_sheet_to_a_mended_font_through_the_page_alone(page, hand):
    open_attempt(page, f"{T}.2", "t")
    page.keyboard.press("2")
    page.keyboard.press("t")
    page.get_by_role("button", name="2 to the right").wait_for()
    open_attempt(page, f"{A}.3", "a")
    page.keyboard.press("r")
    page.get_by_role("heading", name="set aside").wait_for()
    page.get_by_role("link", name="Try-out").click()
    page.locator("#tryout-text").fill("a tune")
    page.wait_for_selector("#pages[aria-busy=false] img.set-page")
    until(lambda: page.evaluate("document.querySelector('img.set-page').naturalWidth > 100"))
    with page.expect_download() as download:
        page.get_by_role("button", name="Download the SVG").click()
    svg = Path(download.value.path()).read_text(encoding="utf-8")
    font, result = make_font(hand)

    assert svg.count("<path") >= 5
    assert 'width="148mm"' in svg
    assert all(g.strokes[-1][-1, 0] > g.strokes[-1][0, 0] for g in font.glyphs["t"]), "each bar goes to the right"
    assert f"{A}.3" in {s.id for s in result.set_aside}


# --- each operation --------------------------------------------------------------------------------------------------


def test_baseline_and_side_bearings_are_moved_by_field_mouse_and_keys(page, hand):
    key = f"{N}.1"
    open_attempt(page, key, "n")
    page.get_by_label("Baseline up").fill("0.3")
    page.keyboard.press("Enter")
    until(lambda: (d := stored(hand, key)) and d.baseline_mm == 0.3)
    page.keyboard.press("Escape")
    page.keyboard.press("b")
    page.keyboard.press("ArrowUp")
    until(lambda: stored(hand, key).baseline_mm == pytest.approx(0.4))
    slider = page.get_by_role("slider", name="White on the right")
    slider.focus()
    page.keyboard.press("Shift+ArrowRight")
    until(lambda: stored(hand, key).right_mm is not None)
    right = stored(hand, key).right_mm
    ready(page)
    x, y = middle_of(page.locator('[data-handle="right"] rect'))
    draw(page, [(x, y), (x + 10, y), (x + 40, y)])
    until(lambda: stored(hand, key).right_mm > right + 0.1)
    page.get_by_label("White left").fill("0.2")
    page.keyboard.press("Enter")
    until(lambda: stored(hand, key).left_mm == 0.2)
    font, _ = make_font(hand)
    glyph = next(g for g in font.glyphs["n"] if g.source == key)
    assert min(s[:, 0].min() for s in glyph.strokes) * font.mm_per_unit == pytest.approx(0.2, abs=1e-6)


def test_another_reading_of_the_ink_is_chosen(page, hand):
    key = f"{T}.2"
    open_attempt(page, key, "t")
    page.keyboard.press("o")
    page.get_by_role("button", name="Take reading 1").click()
    strokes = strokes_of(hand, key)
    truth = read(hand, key).strokes
    ink = np.vstack([s.points_mm for s in truth])
    far = [np.hypot(*(ink - p).T).min() for s in strokes for p in s.points_mm]
    assert np.mean(far) < 0.15, "the reading lies on the ink, in the cell's frame"
    page.get_by_role("button", name="Strokes as they were read").click()
    until(lambda: stored(hand, key).strokes is None)


def test_what_was_mended_once_is_offered_for_the_others_and_remembered(page, hand):
    open_attempt(page, f"{T}.1", "t")
    page.keyboard.press("2")
    page.get_by_role("button", name="Earlier").click()
    page.get_by_text("2 other attempts could be written the same way").wait_for()
    page.get_by_role("button", name="Look at them").click()
    dialog = page.get_by_role("dialog")
    dialog.wait_for()
    assert dialog.get_by_role("checkbox").count() == 2
    dialog.get_by_role("button", name="Mend these 2 alike").click()
    page.get_by_text("2 attempts mended alike").wait_for()
    decisions = load_decisions(hand.decisions_file)
    assert decisions.characters["t"].attempt == f"{T}.1"
    for number in (1, 2, 3):
        first = decisions.attempts[f"{T}.{number}"].strokes[0].points_mm
        assert np.ptp(first[:, 0]) > np.ptp(first[:, 1]), "the bar comes first"
        assert first[0, 0] < first[-1, 0]
    page.get_by_role("button", name="Undo").click()
    until(lambda: "t" not in load_decisions(hand.decisions_file).characters)


def test_the_sheet_with_what_a_language_lacks_is_made_from_the_page(page, hand):
    page.get_by_role("link", name="Languages").click()
    # The database of languages is read once a process, in seconds of its own.
    page.get_by_label("Find a language").wait_for()
    page.get_by_label("Find a language").fill("Czech")
    page.get_by_role("checkbox", name="Czech").check()
    page.get_by_role("button", name="Make the sheet for 1 language").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the PDF").click()
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF-")
    (sheet,) = load_sheets(hand).values()
    assert "ř" in {c.char for p in sheet.pages for c in p.cells}


def test_all_doubtful_attempts_of_a_letter_are_kept_with_one_click(page, hand):
    page.get_by_role("button", name="Keep the doubtful attempts of small t").click()
    page.get_by_role("heading", name="2 attempts to look at").wait_for()

    assert stored(hand, f"{T}.2").verdict == "kept"
