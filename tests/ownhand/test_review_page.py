"""The page in a real browser: Debian's Chromium, driven by Playwright, by mouse, touch and keyboard.

Accessibility is judged by axe-core (Deque, open source, from PyPI's axe-playwright-python) after WCAG 2.1 A and AA.
"""

from __future__ import annotations

import json
import shutil
import time
from pathlib import Path

import numpy as np
import pytest

from ownhand.building import make_font
from ownhand.decisions_file import load_decisions
from ownhand.hand import HandRecord, create_hand, load_captures, load_sheets, open_hand
from ownhand.review.server import start
from tests.ownhand.stand_in import write_hand

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")

QUIET = "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
QUIET += " --disable-component-update --disable-sync"

A, E_, N, T, U = (f"LAMP1/1/{row}" for row in range(1, 6))
"""Rows of the stand-in hand: a, e, n, t, u."""


@pytest.fixture(scope="module")
def browser():
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("chromium is not installed (Debian: apt-get install chromium)")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        pytest.fail("playwright is not installed (pip install 'ownhand[test]')")
    with sync_playwright() as p:
        running = p.chromium.launch(executable_path=path, args=QUIET.split())
        yield running
        running.close()


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    return write_hand(tmp_path_factory.mktemp("written") / "hand", "aentu", attempts=3)


@pytest.fixture
def hand(written, tmp_path):
    shutil.copytree(written.path, tmp_path / "hand")
    return open_hand(tmp_path / "hand")


@pytest.fixture
def served(hand):
    running = start(hand.path)
    yield running
    running.stop()


@pytest.fixture
def context(browser):
    made = browser.new_context(viewport={"width": 1280, "height": 720}, has_touch=True)
    made.set_default_timeout(6000)
    yield made
    made.close()


@pytest.fixture
def faults():
    """Collect what the page complains of; nothing may."""
    found: list[str] = []
    yield found
    assert found == []


def tab(context, url, faults, at=""):
    page = context.new_page()
    page.set_default_timeout(90_000 if "languages" in at else 6000)
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.on("console", lambda m: m.type == "error" and "status of 4" not in m.text and faults.append(m.text))
    page.goto(url + at)
    ready(page)
    return page


@pytest.fixture
def page(context, served, faults):
    return tab(context, served.url, faults)


def ready(page):
    page.wait_for_selector("main[aria-busy=false]")


def open_attempt(page, key, char):
    page.evaluate("at => { location.hash = at }", f"#letter/{char}/{key.replace('/', '%2F')}")
    page.get_by_role("heading", name=f"Attempt {key[-1]}").wait_for()
    page.wait_for_selector(".desk-picture .hit")


def stored(hand, key):
    return load_decisions(hand.decisions_file).attempts.get(key)


def until(claim, message="it did not happen"):
    for _ in range(160):
        value = claim()
        if value:
            return value
        time.sleep(0.05)
    pytest.fail(message)


def strokes_of(hand, key):
    return until(lambda: (d := stored(hand, key)) and d.strokes)


def read(hand, key):
    return next(a for c in load_captures(hand) for a in c.attempts if a.id == key)


def on_desk(page, mm):
    """Return where on the screen a point of the attempt lies, by the picture's own strokes."""
    return page.evaluate(
        """([x, y]) => {
          const svg = document.querySelector('.desk-picture');
          const box = svg.getBoundingClientRect();
          const at = (d) => d.slice(1).split('L').map((p) => p.split(' ').map(Number));
          const d = at(svg.querySelector('.hit').getAttribute('d'));
          const mm = window.__lines[0];
          const k = Math.hypot(d.at(-1)[0] - d[0][0], d.at(-1)[1] - d[0][1])
            / Math.hypot(mm.at(-1)[0] - mm[0][0], mm.at(-1)[1] - mm[0][1]);
          return [box.left + d[0][0] + (x - mm[0][0]) * k, box.top + d[0][1] - (y - mm[0][1]) * k];
        }""",
        list(mm),
    )


def know_lines(page, attempt):
    page.evaluate("lines => { window.__lines = lines }", [s.points_mm.tolist() for s in attempt.strokes])


def draw(page, points):
    page.mouse.move(*points[0])
    page.mouse.down()
    for p in points[1:]:
        page.mouse.move(*p)
    page.mouse.up()


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
    page.keyboard.press("x")
    page.get_by_role("heading", name="set aside").wait_for()
    page.get_by_role("link", name="Try-out").click()
    page.locator("#text").fill("a tune")
    page.wait_for_selector("img.set-page")
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


def test_a_stroke_is_turned_written_earlier_and_later_and_all_of_it_undone(page, hand):
    key = f"{T}.1"
    before = read(hand, key).strokes
    open_attempt(page, key, "t")
    page.locator(".stroke-list button").nth(1).click()
    page.get_by_role("button", name="Earlier").click()
    page.get_by_role("button", name="1 to the right").wait_for()
    assert np.allclose(strokes_of(hand, key)[0].points_mm, before[1].points_mm, atol=1e-3)
    page.keyboard.press("t")
    page.get_by_role("button", name="1 to the left").wait_for()
    page.keyboard.press("l")
    page.get_by_role("button", name="2 to the left").wait_for()
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="1 to the left").wait_for()
    page.keyboard.press("Control+z")
    page.get_by_role("button", name="1 to the right").wait_for()
    page.keyboard.press("u")
    page.get_by_role("button", name="2 to the right").wait_for()
    assert stored(hand, key).is_empty
    page.get_by_role("button", name="Redo").click()
    page.get_by_role("button", name="1 to the right").wait_for()
    page.keyboard.press("Control+Shift+z")
    page.get_by_role("button", name="1 to the left").wait_for()


def test_strokes_are_split_by_pointer_and_keys_and_joined(page, hand):
    key = f"{T}.1"
    open_attempt(page, key, "t")
    stem = read(hand, key)
    know_lines(page, stem)
    page.keyboard.press("1")
    page.get_by_role("button", name="Split").click()
    page.get_by_text("Tap the stroke where it is to be cut").wait_for()
    middle = stem.strokes[0].points_mm[len(stem.strokes[0].points_mm) // 3]
    page.mouse.click(*on_desk(page, middle))
    page.get_by_role("heading", name="3 strokes").wait_for()
    assert np.hypot(*(strokes_of(hand, key)[0].points_mm[-1] - middle)) < 0.1
    page.keyboard.press("j")
    page.get_by_role("heading", name="2 strokes").wait_for()
    page.keyboard.press("s")
    page.wait_for_selector(".cut")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="3 strokes").wait_for()
    page.get_by_role("button", name="Join to next").click()
    page.get_by_role("heading", name="2 strokes").wait_for()
    joined = strokes_of(hand, key)[0]
    assert joined.length_mm == pytest.approx(stem.strokes[0].length_mm, rel=0.01)


def test_a_stroke_is_moved_by_mouse_and_by_keys_and_deleted(page, hand):
    key = f"{T}.1"
    attempt = read(hand, key)
    open_attempt(page, key, "t")
    know_lines(page, attempt)
    low = attempt.strokes[0].points_mm[-4]
    x, y = on_desk(page, low)
    draw(page, [(x, y), (x + 20, y), (x + 60, y)])
    moved = strokes_of(hand, key)[0].points_mm - attempt.strokes[0].points_mm
    assert moved[:, 0].min() > 0.3
    assert np.allclose(moved, moved[0], atol=2e-3)
    page.wait_for_timeout(100)
    page.keyboard.press("Shift+ArrowLeft")
    until(
        lambda: np.allclose(
            (stored(hand, key).strokes[0].points_mm - attempt.strokes[0].points_mm) - moved, [-0.5, 0], atol=2e-3
        )
    )
    page.keyboard.press("2")
    page.keyboard.press("Delete")
    page.get_by_role("heading", name="One stroke").wait_for()
    assert len(stored(hand, key).strokes) == 1


def test_a_point_is_moved_by_mouse_and_by_keys(page, hand):
    key = f"{T}.1"
    attempt = read(hand, key)
    open_attempt(page, key, "t")
    page.keyboard.press("1")
    page.locator(".grip").last.wait_for()
    box = page.locator(".grip").last.bounding_box()
    x, y = box["x"] + 9, box["y"] + 9
    draw(page, [(x, y), (x + 10, y), (x + 30, y)])
    bent = strokes_of(hand, key)[0].points_mm
    away = np.hypot(*(bent - attempt.strokes[0].points_mm).T)
    assert away[-1] > 0.2
    assert away[: len(away) // 2].max() < 1e-3, "the far end stays"
    page.keyboard.press("[")
    page.wait_for_selector(".handle.on")
    page.keyboard.press("ArrowUp")
    until(lambda: stored(hand, key).strokes[0].points_mm[0, 1] == pytest.approx(bent[0, 1] + 0.1, abs=5e-3))


def test_a_stroke_is_redrawn_with_the_pointer_and_one_is_added_with_keys(page, hand):
    key = f"{T}.1"
    attempt = read(hand, key)
    open_attempt(page, key, "t")
    know_lines(page, attempt)
    page.keyboard.press("2")
    page.get_by_role("button", name="Redraw").click()
    target = [on_desk(page, (x, 2.0 + 0.1 * x)) for x in np.linspace(0.5, 3.5, 30)]
    draw(page, target)
    page.wait_for_selector('.desk-picture[data-tool="choose"]')
    drawn = strokes_of(hand, key)[1].points_mm
    assert drawn[0] == pytest.approx([0.5, 2.05], abs=0.06)
    assert drawn[-1] == pytest.approx([3.5, 2.35], abs=0.06)
    page.get_by_role("button", name="Add a stroke").click()
    page.locator(".desk-side").click(position={"x": 3, "y": 3}) if False else page.evaluate(
        "document.activeElement.blur()"
    )
    for press in ["Space", *["ArrowRight"] * 6, "Enter"]:
        page.keyboard.press(press)
    page.get_by_role("heading", name="3 strokes").wait_for()
    assert stored(hand, key).strokes[2].length_mm == pytest.approx(1.2, abs=0.05)


def test_a_stylus_or_finger_draws_too(page, hand):
    key = f"{N}.1"
    open_attempt(page, key, "n")
    know_lines(page, read(hand, key))
    page.get_by_role("button", name="Add a stroke").click()
    points = [on_desk(page, (x, 3.9)) for x in np.linspace(1, 3, 20)]
    cdp = page.context.new_cdp_session(page)
    touch = lambda kind, at: cdp.send(  # noqa: E731
        "Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": at[0], "y": at[1]}] if at else []}
    )
    touch("touchStart", points[0])
    for p in points[1:]:
        touch("touchMove", p)
    touch("touchEnd", None)
    added = strokes_of(hand, key)[-1]
    assert added.length_mm == pytest.approx(2.0, abs=0.15)


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
    until(lambda: page.evaluate("document.querySelector('[data-handle=right]').getAttribute('class') === 'ruler'"))
    box = page.locator('[data-handle="right"] rect').bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
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
    page.get_by_role("button", name="Take reading 1").click(timeout=60_000)
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


def test_the_writing_is_replayed_in_order(page):
    open_attempt(page, f"{T}.1", "t")
    page.keyboard.press("p")
    page.wait_for_selector(".desk-picture .replay path")
    until(lambda: page.evaluate("document.querySelectorAll('.desk-picture .replay path').length === 2"))
    page.wait_for_selector(".desk-picture .replay", state="detached")
    assert page.locator(".desk-picture .strokes").is_visible()


def test_the_sheet_with_what_a_language_lacks_is_made_from_the_page(page, hand):
    page.get_by_role("link", name="Languages").click()
    # The database of languages is read once a process, in seconds of its own.
    page.get_by_label("Find a language").wait_for(timeout=90_000)
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


# --- nothing is lost -------------------------------------------------------------------------------------------------


def test_reloading_in_the_midst_of_work_loses_nothing(page, hand):
    open_attempt(page, f"{T}.2", "t")
    page.keyboard.press("2")
    page.keyboard.press("t")
    page.get_by_role("button", name="2 to the right").wait_for()
    page.reload()
    ready(page)
    page.get_by_role("heading", name="Attempt 2").wait_for()
    page.get_by_role("button", name="2 to the right").wait_for()
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="2 to the left").wait_for()


def test_a_server_that_was_restarted_goes_on_where_it_was(context, hand, faults):
    first = start(hand.path)
    page = tab(context, first.url, faults)
    open_attempt(page, f"{T}.2", "t")
    page.keyboard.press("2")
    page.keyboard.press("t")
    page.get_by_role("button", name="2 to the right").wait_for()
    first.stop()
    page.keyboard.press("k")
    page.get_by_text("The server does not answer").wait_for()
    faults[:] = [f for f in faults if "ERR_" not in f]
    second = start(hand.path)
    try:
        anew = tab(context, second.url, faults)
        open_attempt(anew, f"{T}.2", "t")
        anew.get_by_role("button", name="2 to the right").wait_for()
        anew.get_by_role("button", name="Undo").click()
        anew.get_by_role("button", name="2 to the left").wait_for()
    finally:
        faults[:] = [f for f in faults if "ERR_" not in f]
        page.close()
        second.stop()


def test_of_two_pages_the_later_is_told_and_overwrites_nothing(context, served, hand, faults):
    one = tab(context, served.url, faults)
    other = tab(context, served.url, faults)
    other.route("**/api/version*", lambda route: route.abort())
    for page in (one, other):
        open_attempt(page, f"{T}.2", "t")
    one.get_by_role("button", name="Set it aside").click()
    one.get_by_role("heading", name="set aside").wait_for()
    other.get_by_role("button", name="Keep it").click()
    other.get_by_role("alert").get_by_text("was changed by another page meanwhile").wait_for()
    other.get_by_role("heading", name="set aside").wait_for()
    assert stored(hand, f"{T}.2").verdict == "set aside"
    faults[:] = [f for f in faults if "ERR_FAILED" not in f]
    one.get_by_role("button", name="Set it aside").click()
    until(lambda: stored(hand, f"{T}.2").is_empty)
    open_attempt(other, f"{N}.1", "n")
    other.get_by_role("button", name="Keep it").click()
    until(lambda: (d := stored(hand, f"{N}.1")) and d.verdict == "kept", "other attempts are decided meanwhile")


def test_a_page_that_is_looked_at_again_takes_in_what_another_changed(context, served, faults):
    one = tab(context, served.url, faults)
    other = tab(context, served.url, faults)
    open_attempt(one, f"{T}.2", "t")
    one.get_by_role("button", name="Set it aside").click()
    one.get_by_role("heading", name="set aside").wait_for()
    other.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    other.get_by_role("heading", name="2 attempts to look at").wait_for()
    other.get_by_text("Another page changed something").wait_for()


# --- for everybody ---------------------------------------------------------------------------------------------------

PARTS = ["", "#letter/t/LAMP1%2F1%2F4.2", "#text", "#languages"]


@pytest.mark.parametrize("size", [(1280, 720), (820, 1180), (400, 800)])
def test_no_serious_fault_of_accessibility_and_no_sideways_scrolling(browser, served, faults, size):
    from axe_playwright_python.sync_playwright import Axe

    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, bypass_csp=True)
    context.set_default_timeout(90_000)
    for part in PARTS:
        page = tab(context, served.url, faults, part)
        if "letter" in part:
            page.keyboard.press("2")
        page.wait_for_timeout(150)
        found = Axe().run(page).response["violations"]
        serious = [
            (v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found if v["impact"] in ("serious", "critical")
        ]
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert serious == [], (part, size)
        assert wide <= 0, (part, size)
        page.close()
    context.close()


def test_the_keys_are_listed_and_single_keys_can_be_switched_off(page, hand):
    open_attempt(page, f"{T}.1", "t")
    page.keyboard.press("?")
    dialog = page.get_by_role("dialog")
    dialog.get_by_text("turn it round").wait_for()
    dialog.get_by_role("checkbox").uncheck()
    page.keyboard.press("Escape")
    page.keyboard.press("x")
    page.wait_for_timeout(200)
    assert not hand.decisions_file.exists()


def test_every_part_can_be_reached_and_a_letter_mended_without_a_mouse(page, hand):
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the letters"
    for _ in range(30):
        page.keyboard.press("Tab")
        if "#letter/t/" in page.evaluate("document.activeElement.getAttribute('href') ?? ''"):
            break
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="Attempt 2").wait_for()
    page.keyboard.press("2")
    page.keyboard.press("t")
    page.keyboard.press("k")
    page.get_by_role("heading", name="kept").wait_for()
    assert stored(hand, f"{T}.2").verdict == "kept"
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    page.get_by_role("heading", name="2 attempts to look at").wait_for()


def test_a_hand_that_has_nothing_read_yet_says_what_to_do(context, tmp_path, faults):
    create_hand(tmp_path / "new", HandRecord("New Hand"))
    running = start(tmp_path / "new")
    page = tab(context, running.url, faults)
    page.get_by_role("heading", name="No letters yet").wait_for()
    page.get_by_text("read it with ownhand read").wait_for()
    page.get_by_role("link", name="Try-out").click()
    page.get_by_text("Read a filled-in sheet first").wait_for(timeout=30_000)
    running.stop()


def test_the_page_asks_nobody_else_for_anything(context, served, faults):
    asked: list[str] = []
    context.on("request", lambda r: asked.append(r.url))
    for part in PARTS:
        tab(context, served.url, faults, part).close()

    assert asked
    assert all(url.startswith((served.url, "blob:")) for url in asked), json.dumps(asked, indent=1)
