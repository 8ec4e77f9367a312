"""The page in a real browser: each thing that can be done to a stroke, by mouse, touch and keyboard."""

from __future__ import annotations

import numpy as np
import pytest

from tests.ownhand.on_page import (
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
    until,
)

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")


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
    x, y = middle_of(page.locator(".grip").last)
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
    ready(page)
    drawn = strokes_of(hand, key)[1].points_mm
    assert drawn[0] == pytest.approx([0.5, 2.05], abs=0.06)
    assert drawn[-1] == pytest.approx([3.5, 2.35], abs=0.06)
    page.get_by_role("button", name="Add a stroke").click()
    page.evaluate("document.activeElement.blur()")
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


def test_the_writing_is_replayed_in_order(page):
    open_attempt(page, f"{T}.1", "t")
    # Watched in the page itself: from outside, a busy machine may look too late.
    page.evaluate(
        """() => {
          window.__written = [0];
          new MutationObserver(() => {
            const n = document.querySelectorAll('.desk-picture .replay path').length;
            if (n && n !== window.__written.at(-1)) window.__written.push(n);
          }).observe(document.querySelector('.desk-picture'), { childList: true, subtree: true });
        }"""
    )
    page.keyboard.press("p")
    until(lambda: page.evaluate("window.__written.length > 1 && !document.querySelector('.desk-picture .replay')"))
    assert page.evaluate("window.__written") == [0, 1, 2]
    assert page.locator(".desk-picture .strokes").is_visible()
