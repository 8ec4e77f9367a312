"""The page in a real browser: for everybody, on every size of screen, and asking nobody else for anything."""

from __future__ import annotations

import json

import pytest

from ownhand.hands.hand import HandRecord, create_hand
from ownhand.workroom.server import start
from tests.ownhand.on_page import (
    PATIENCE_S,
    T,
    faults_of_accessibility,
    open_attempt,
    ready,
    stored,
    tab,
    too_wide_by,
    turn_to,
)

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")


PARTS = ["letters", "letter", "text", "languages"]
ADDRESSES = ["", "#letter/t/LAMP1%2F1%2F4.2", "#text", "#languages"]


@pytest.mark.parametrize(
    ("size", "forced", "scheme"),
    [
        ((1280, 720), "none", "dark"),
        ((820, 1180), "none", "light"),
        ((390, 800), "none", "dark"),
        ((360, 640), "none", "light"),
        ((640, 360), "active", "light"),
    ],
)
def test_no_fault_of_accessibility_and_no_sideways_scrolling(browser, served, faults, size, forced, scheme):
    """640 px is 1280 at a zoom of 200 %."""
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]}, bypass_csp=True, forced_colors=forced, color_scheme=scheme
    )
    context.set_default_timeout(PATIENCE_S * 1000)
    page = tab(context, served.url, faults)
    for part in PARTS:
        if part == "letter":
            open_attempt(page, f"{T}.2", "t")
            page.keyboard.press("2")
            ready(page)
        else:
            turn_to(page, part)
        assert (faults_of_accessibility(page), max(too_wide_by(page), 0)) == ([], 0), part
    context.close()


def test_the_keys_are_listed_and_single_keys_can_be_switched_off(page, hand):
    open_attempt(page, f"{T}.1", "t")
    page.keyboard.press("?")
    dialog = page.get_by_role("dialog")
    dialog.get_by_text("turn it round").wait_for()
    dialog.get_by_role("checkbox").uncheck()
    page.keyboard.press("Escape")
    page.keyboard.press("r")
    ready(page)
    assert not hand.decisions_file.exists()


def test_every_part_can_be_reached_and_a_letter_mended_without_a_mouse(page, hand):
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to what is shown"
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
    page.get_by_text("Read a filled-in sheet first").wait_for()
    running.stop()


def test_the_page_asks_nobody_else_for_anything(context, served, faults):
    asked: list[str] = []
    context.on("request", lambda r: asked.append(r.url))
    for address in ADDRESSES:
        tab(context, served.url, faults, address).close()

    home = served.url.partition("/hand/")[0] + "/"
    assert asked
    assert all(url.startswith((home, "blob:")) for url in asked), json.dumps(asked, indent=1)


def test_on_a_phone_no_field_of_the_tryout_lies_under_its_page_when_it_is_gone_to(browser, served, faults):
    """Opened anew, and backwards with Shift+Tab. WCAG 2.2, 2.4.11: what has the focus is not hidden by other parts."""
    context = browser.new_context(viewport={"width": 360, "height": 740})
    context.set_default_timeout(PATIENCE_S * 1000)
    page = tab(context, served.url, faults, "#text")
    page.wait_for_selector("#pages[aria-busy=false] img.set-page")
    hidden = """() => { const { x, y, width, height } = document.activeElement.getBoundingClientRect();
      return document.elementFromPoint(x + width / 2, y + height / 2)?.closest(".pages") !== null }"""
    opened = page.evaluate("scrollY")
    page.get_by_role("link", name="Try-out").focus()
    page.locator("details summary").focus()
    seen = []
    while page.evaluate("document.activeElement.id") != "tryout-text":
        page.keyboard.press("Shift+Tab")
        seen.append(page.evaluate(hidden))
    context.close()

    assert opened == 0
    assert len(seen) > 5 and not any(seen)
