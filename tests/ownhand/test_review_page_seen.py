"""What is seen on the review pages, measured in a real browser: nothing hides the letters, breaks, or jumps."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from capture.report import Finding
from ownhand.hands.captures import load_captures, save_capture
from ownhand.hands.hand import HandRecord, create_hand
from ownhand.workroom.server import start
from tests.ownhand.on_page import E_, PATIENCE_S, A, T, middle_of, open_attempt, ready, stored, tab, until
from tests.ownhand.slow_answers import HOLD, Slow

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")


@pytest.fixture
def narrow(browser, served, faults):
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    context.set_default_timeout(PATIENCE_S * 1000)
    yield lambda at: tab(context, served.url, faults, at)
    context.close()


def test_languages_of_a_hand_without_a_letter_say_what_to_do(context, tmp_path, faults):
    create_hand(tmp_path / "new", HandRecord("New Hand"))
    running = start(tmp_path / "new")
    page = tab(context, running.url, faults, "#languages")
    told = page.locator("main").text_content()
    running.stop()

    assert "Looking at what each language needs" not in told
    assert "Read a filled-in sheet first" in told or "0 languages" in told


def test_the_list_of_letters_keeps_its_order_and_says_that_comparing_goes_on(context, served, faults):
    """The first answer tells what reading found; here comparing finds an e more, which its answer puts first."""
    context.add_init_script(f"{HOLD}; holdAnswers('api/judged')")

    def found_more(route) -> None:
        answer = route.fetch()
        told = answer.json()
        (e,) = (c for c in told["characters"] if c["char"] == "e")
        e["attempts"][0] |= {"doubts": ["unlike the others: wider"], "settled": False}
        e["open"] = 1
        told["characters"].sort(key=lambda c: c is not e)
        told["doubtful"] += 1
        route.fulfill(response=answer, json=told)

    context.route("**/api/judged*", found_more)
    page = tab(context, served.url, faults, "#letters")
    page.get_by_text("The attempts are being compared with each other").wait_for()

    def order() -> list[str]:
        return page.eval_on_selector_all("[aria-labelledby=first] article.line", "els => els.map(e => e.dataset.char)")

    before = order()
    Slow(page).let_go()
    page.get_by_text("Compared with each other: 1 more attempt to look at, at the end of the first list").wait_for()

    assert before
    assert order() == [*before, "e"]


def test_no_word_breaks_and_no_tick_box_shrinks_in_the_table_of_languages_on_a_narrow_page(narrow):
    page = narrow("#languages")
    page.locator("table.coverage tbody tr").first.wait_for()
    broken = page.evaluate(
        """() => {
          const out = [];
          for (const el of document.querySelectorAll('.coverage th label, .coverage th .no-tick')) {
            const text = [...el.childNodes].find((n) => n.nodeType === 3);
            for (const word of text.data.matchAll(/\\S+/g)) {
              const range = document.createRange();
              range.setStart(text, word.index);
              range.setEnd(text, word.index + word[0].length);
              if (new Set([...range.getClientRects()].map((r) => Math.round(r.top))).size > 1) out.push(word[0]);
            }
          }
          return out;
        }"""
    )
    boxes = page.eval_on_selector_all(".coverage input", "els => els.map(e => e.getBoundingClientRect().width)")

    assert broken == []
    assert boxes and min(boxes) >= 20


def test_the_chosen_point_is_a_ring_that_hides_nothing_under_it(page, hand):
    open_attempt(page, f"{T}.1", "t")
    page.keyboard.press("1")
    page.keyboard.press("]")
    chosen = page.locator(".handle.on")
    chosen.wait_for()

    assert chosen.evaluate("el => el.tagName") == "circle"
    assert chosen.evaluate("el => getComputedStyle(el).fill") == "none"


def test_setting_aside_has_a_key_and_a_mark_of_our_own(page, hand):
    open_attempt(page, f"{A}.1", "a")
    page.keyboard.press("x")
    page.keyboard.press("r")
    until(lambda: stored(hand, f"{A}.1"))
    mark = page.locator(".attempt.set-aside .state").first.text_content()

    assert stored(hand, f"{A}.1").verdict == "set aside"
    assert "⊘" in mark and not set(mark) & set("xX×✗✘")


def test_the_inks_contour_is_drawn_where_the_ink_is_and_its_core_is_seen(page, hand):
    """Against OpenCV, which says of points of the picture whether they lie in the contour: dark do, light do not."""
    open_attempt(page, f"{A}.1", "a")
    told = page.evaluate("fetch('api/letter?char=a').then((r) => r.json())")
    a = next(o for o in told["attempts"] if o["id"] == f"{A}.1")
    place = a["picture"]
    data = page.evaluate(
        """async (id) => {
          const answer = await fetch('ink?' + new URLSearchParams({ id }));
          return [...new Uint8Array(await answer.arrayBuffer())];
        }""",
        a["id"],
    )
    grey = cv2.imdecode(np.array(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    k = grey.shape[1] / place["width"]
    rings = [np.array(ring, np.float32) for ring in a["contour"]]

    def inside(row: int, column: int) -> bool:
        at = (place["left"] + (column + 0.5) / k, place["top"] - (row + 0.5) / k)
        return sum(cv2.pointPolygonTest(ring, at, False) > 0 for ring in rings) % 2 == 1

    dark, light = np.argwhere(grey < 90)[::37], np.argwhere(grey > 200)[::997]
    assert page.locator(".desk-picture .ink.contour").count() == 1
    assert page.locator(".desk-picture image").count() == 0
    assert all(inside(*p) for p in dark)
    assert not any(inside(*p) for p in light)
    halo = page.locator(".desk-picture .line-drawn").first.evaluate("el => getComputedStyle(el).filter")
    assert halo == "none"


def test_in_the_strip_of_attempts_no_number_covers_a_letter(page, hand):
    """A letter of one stroke bears no number; others bear it beside their ink, without a disc."""
    open_attempt(page, f"{T}.1", "t")
    widest = page.eval_on_selector_all(".attempts .badge circle", "els => Math.max(...els.map(e => e.r.baseVal.value))")
    numbered = page.locator(".attempts .badge text").count()
    open_attempt(page, "LAMP1/1/3.1", "n")
    single = page.evaluate(
        """() => [...document.querySelectorAll('.attempts svg')]
          .filter((s) => s.querySelectorAll('.stroke').length === 1).every((s) => !s.querySelector('.badge text'))"""
    )

    assert widest <= 3
    assert numbered
    assert single


def test_a_filled_loop_is_said_in_plain_words_and_never_with_a_share_that_contradicts_it(context, hand, faults):
    """The capture says 'filled counter' of an attempt whose reading is sure."""
    (capture,) = load_captures(hand)
    filled = (Finding("filled counter", "e", 1, 2, 1),)
    attempts = [replace(a, findings=filled, confidence=1.0) if a.id == f"{E_}.1" else a for a in capture.attempts]
    save_capture(hand, replace(capture, attempts=tuple(attempts)))
    running = start(hand.path)
    page = tab(context, running.url, faults)
    open_attempt(page, f"{E_}.1", "e")
    said = page.locator(".verdict-side .doubt").text_content()
    running.stop()

    assert said == "Look at it because: a loop is filled with ink, so the line in it is guessed."


def test_every_mark_stands_under_its_own_attempt(context, served, faults):
    page = tab(context, served.url, faults, "#letters")
    apart = page.eval_on_selector_all(
        ".on-line",
        """els => els.filter((el) => el.querySelector('.mark').textContent).map((el) => {
          const m = el.querySelector('.mark').getBoundingClientRect();
          const s = el.querySelector('.standing').getBoundingClientRect();
          return Math.abs((m.left + m.right) / 2 - (s.left + s.right) / 2);
        })""",
    )

    assert apart
    assert max(apart) <= 1


def test_on_a_phone_the_verdict_comes_before_the_ink_and_its_tools(narrow):
    page = narrow("#letter/t")
    page.locator(".desk-picture .hit").first.wait_for()
    ready(page)

    assert middle_of(page.locator(".verdict-side"))[1] < middle_of(page.locator(".desk"))[1]
    assert middle_of(page.locator(".desk"))[1] < middle_of(page.locator("#desk-tools"))[1]
