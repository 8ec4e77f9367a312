"""The page in a real browser, with answers that take their time: nothing a person does meanwhile is lost or jumps."""

from __future__ import annotations

import numpy as np
import pytest

from ownhand.hands.decisions_file import load_decisions
from tests.ownhand.on_page import (
    A,
    N,
    T,
    draw,
    know_lines,
    middle_of,
    on_desk,
    open_attempt,
    read,
    ready,
    stored,
    strokes_of,
    tab,
    until,
)
from tests.ownhand.slow_answers import HOLD, Slow

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")


@pytest.fixture
def page(context, served, faults):
    context.add_init_script(HOLD)
    return tab(context, served.url, faults)


@pytest.fixture
def slow(page):
    return Slow(page)


# --- the pointer -----------------------------------------------------------------------------------------------------


def test_a_handle_goes_on_being_dragged_while_an_earlier_answer_arrives(page, slow, hand):
    key = f"{N}.1"
    open_attempt(page, key, "n")
    slow.hold()
    page.get_by_role("slider", name="White on the right").focus()
    page.keyboard.press("Shift+ArrowRight")
    slow.held()
    x, y = middle_of(page.locator('[data-handle="right"] rect'))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 10, y)
    slow.let_go()
    right = stored(hand, key).right_mm
    assert middle_of(page.locator('[data-handle="right"] rect'))[0] == pytest.approx(x + 10, abs=0.5)
    page.mouse.move(x + 40, y)
    page.mouse.up()
    until(lambda: stored(hand, key).right_mm > right + 0.1)
    ready(page)
    assert middle_of(page.locator('[data-handle="right"] rect'))[0] == pytest.approx(x + 40, abs=1)


def test_a_stroke_that_is_dragged_stays_where_it_was_dropped_and_is_the_one_that_was_seen(page, slow, hand):
    """The bar is made the first stroke; before that is told, the stem, which will be the second, is dragged."""
    key = f"{T}.1"
    attempt = read(hand, key)
    open_attempt(page, key, "t")
    know_lines(page, attempt)
    page.keyboard.press("2")
    slow.hold()
    page.keyboard.press("e")
    slow.held()
    x, y = on_desk(page, attempt.strokes[0].points_mm[-4])
    draw(page, [(x, y), (x + 20, y), (x + 60, y)])
    assert page.locator(".pending .drawing").count() == 1
    slow.let_go()
    ready(page)
    bar, stem = strokes_of(hand, key)
    assert np.allclose(bar.points_mm, attempt.strokes[1].points_mm, atol=1e-3)
    assert (stem.points_mm - attempt.strokes[0].points_mm)[:, 0].min() > 0.3
    assert page.locator(".pending *").count() == 0


def test_a_stroke_goes_on_being_drawn_while_an_earlier_answer_arrives(page, slow, hand):
    key = f"{N}.1"
    open_attempt(page, key, "n")
    know_lines(page, read(hand, key))
    slow.hold()
    page.keyboard.press("k")
    slow.held()
    page.get_by_role("button", name="Add a stroke").click()
    points = [on_desk(page, (x, 3.9)) for x in np.linspace(1, 3, 20)]
    page.mouse.move(*points[0])
    page.mouse.down()
    for p in points[1:10]:
        page.mouse.move(*p)
    slow.let_go()
    for p in points[10:]:
        page.mouse.move(*p)
    page.mouse.up()
    assert strokes_of(hand, key)[-1].length_mm == pytest.approx(2.0, abs=0.15)
    assert stored(hand, key).verdict == "kept"


def test_a_click_counts_although_the_answer_arrives_between_press_and_release(page, slow, hand):
    key = f"{T}.2"
    open_attempt(page, key, "t")
    page.keyboard.press("2")
    slow.hold()
    page.keyboard.press("t")
    slow.held()
    page.mouse.move(*middle_of(page.get_by_role("button", name="Keep it")))
    page.mouse.down()
    slow.let_go()
    page.mouse.up()
    until(lambda: stored(hand, key).verdict == "kept")


def test_what_is_typed_into_a_field_counts_when_the_pointer_goes_straight_to_the_picture(page, slow, hand):
    key = f"{N}.1"
    open_attempt(page, key, "n")
    page.get_by_label("Baseline up").fill("0.3")
    slow.hold()
    x, y = middle_of(page.locator('[data-handle="right"] rect'))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 10, y)
    slow.held()
    slow.let_go()
    page.mouse.move(x + 40, y)
    page.mouse.up()
    until(lambda: stored(hand, key).right_mm is not None)
    assert stored(hand, key).baseline_mm == 0.3


# --- the keyboard ----------------------------------------------------------------------------------------------------


def test_keys_faster_than_the_answers_do_what_slow_ones_do(page, slow, hand):
    """The bar first, turned round; then the next attempt kept: the keys of one who knows them."""
    open_attempt(page, f"{T}.1", "t")
    slow.hold("api/(step|letter)")
    for key in ["2", "e", "t", "n", "k"]:
        page.keyboard.press(key)
    slow.held()
    slow.let_go()
    page.get_by_role("heading", name="kept").wait_for()
    before = read(hand, f"{T}.1").strokes
    first = strokes_of(hand, f"{T}.1")[0].points_mm
    assert np.allclose(first, before[1].points_mm[::-1], atol=1e-3)
    assert stored(hand, f"{T}.1").verdict == ""
    assert stored(hand, f"{T}.2").verdict == "kept"
    assert stored(hand, f"{T}.2").strokes is None


def test_a_key_held_down_moves_as_far_as_it_was_pressed(page, slow, hand):
    key = f"{N}.1"
    before = read(hand, key).strokes[0].points_mm
    open_attempt(page, key, "n")
    page.keyboard.press("b")
    slow.hold()
    for _ in range(6):
        page.keyboard.press("ArrowUp")
    slow.let_go()
    until(lambda: stored(hand, key).baseline_mm == pytest.approx(0.6))
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("1")
    slow.hold()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    slow.let_go()
    ready(page)
    assert np.allclose(strokes_of(hand, key)[0].points_mm - before, [0.6, 0], atol=3e-3)


def test_a_step_is_undone_before_its_answer_came(page, slow, hand):
    key = f"{T}.1"
    open_attempt(page, key, "t")
    slow.hold()
    page.keyboard.press("k")
    page.keyboard.press("Control+z")
    slow.held()
    slow.let_go()
    page.get_by_text("Undone").wait_for()
    ready(page)
    assert stored(hand, key).is_empty
    assert page.locator("#warned").text_content() == ""


@pytest.mark.parametrize(
    ("label", "typed", "more"), [("Is it another character?", "u", "v"), ("White left", "0.2", "5")]
)
def test_what_is_being_typed_stays_with_its_focus_when_an_answer_arrives(page, slow, hand, label, typed, more):
    key = f"{N}.1"
    open_attempt(page, key, "n")
    slow.hold()
    page.keyboard.press("k")
    slow.held()
    field = page.get_by_label(label)
    field.fill(typed)
    slow.let_go()
    page.get_by_role("heading", name="kept").wait_for()
    page.keyboard.type(more)
    assert field.input_value() == typed + more


def test_the_focus_stays_on_the_button_that_was_pressed(page, slow, hand):
    open_attempt(page, f"{T}.1", "t")
    page.keyboard.press("2")
    button = page.get_by_role("button", name="Turn round")
    button.focus()
    page.keyboard.press("Enter")
    ready(page)
    assert button.evaluate("el => el === document.activeElement")


def test_other_readings_stay_open_when_one_is_taken(page, hand):
    key = f"{N}.1"
    open_attempt(page, key, "n")
    page.keyboard.press("o")
    page.get_by_role("button", name="Take reading 1").click()
    strokes_of(hand, key)
    ready(page)
    assert page.get_by_role("button", name="Take reading 1").is_visible()


# --- going about -----------------------------------------------------------------------------------------------------


def test_an_answer_does_not_fetch_the_person_back(page, slow, hand):
    open_attempt(page, f"{T}.1", "t")
    slow.hold()
    page.keyboard.press("k")
    slow.held()
    page.locator(".attempts button").nth(2).click()
    slow.let_go()
    page.wait_for_selector(f'.desk-picture[data-attempt="{T}.3"]')
    ready(page)
    assert page.get_by_role("heading", name="Attempt 3").is_visible()
    assert stored(hand, f"{T}.1").verdict == "kept"


def test_a_part_that_comes_late_does_not_take_the_place_of_the_one_that_was_wanted_last(page, slow):
    slow.hold("api/languages")
    page.get_by_role("link", name="Languages").click()
    page.get_by_text("Looking at what each language needs").wait_for()
    # The database of languages is read once a process, in seconds of its own.
    slow.held()
    page.get_by_role("link", name="All letters").click()
    page.get_by_role("heading", name="3 attempts to look at").wait_for()
    slow.let_go()
    assert page.get_by_role("heading", name="3 attempts to look at").is_visible()
    assert page.get_by_label("Find a language").count() == 0


def test_the_letter_that_is_looked_for_and_the_focus_stay_when_the_list_changes(page, slow, hand):
    page.get_by_label("Find a letter").fill("t")
    slow.hold()
    page.get_by_role("button", name="Keep the doubtful attempts of small t").press("Enter")
    slow.held()
    slow.let_go()
    page.get_by_role("heading", name="2 attempts to look at").wait_for()
    assert page.get_by_label("Find a letter").input_value() == "t"
    assert page.locator("article.line:visible").count() == 1
    assert page.evaluate("document.activeElement.closest('article.line').dataset.char") == "t"


def test_word_from_another_page_changes_no_text_that_is_being_typed(page, context, served, slow, faults):
    page.get_by_role("link", name="Try-out").click()
    page.wait_for_selector("#pages[aria-busy=false] img")
    page.locator("#tryout-text").fill("a tune")
    other = tab(context, served.url, faults)
    open_attempt(other, f"{A}.3", "a")
    other.keyboard.press("r")
    ready(other)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.get_by_text("Another page changed something").wait_for()
    page.keyboard.type(" in a tent")
    assert page.locator("#tryout-text").input_value() == "a tune in a tent"


def test_what_is_downloaded_is_the_text_that_stands_in_the_field(page, hand):
    page.get_by_role("link", name="Try-out").click()
    page.wait_for_selector("#pages[aria-busy=false] img")
    page.locator("#tryout-text").fill("n")
    with page.expect_download() as short:
        page.get_by_role("button", name="Download the SVG").click()
    page.locator("#tryout-text").fill("n n n n n n n n n n")
    with page.expect_download() as long:
        page.get_by_role("button", name="Download the SVG").click()
    paths = [d.value.path().read_text(encoding="utf-8").count("<path") for d in (short, long)]
    assert paths[1] == 10 * paths[0]
    assert load_decisions(hand.decisions_file).attempts == {}


def test_a_menu_over_which_the_pointer_was_lifted_holds_up_nothing(page):
    """The browser shows the menu in a window of its own and never tells of the lifting."""
    page.get_by_role("link", name="Try-out").click()
    page.wait_for_selector("#pages[aria-busy=false] img")
    first = page.locator("img.set-page").get_attribute("src")
    paper = page.get_by_label("Paper")
    paper.dispatch_event("pointerdown", {"pointerId": 7, "button": 0})
    paper.select_option("105 148")
    until(lambda: page.locator("img.set-page").first.get_attribute("src") != first)


def test_a_text_that_takes_long_says_why(page, slow):
    slow.hold("api/text")
    page.get_by_role("link", name="Try-out").click()
    said = page.get_by_text("a minute or longer the first time")
    said.wait_for()
    slow.let_go()
    page.wait_for_selector("#pages[aria-busy=false] img.set-page")

    assert said.count() == 0
