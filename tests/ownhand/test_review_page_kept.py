"""The page in a real browser: nothing that was decided is lost, whatever happens to page, server or other pages."""

from __future__ import annotations

import pytest

from ownhand.workroom.server import start
from tests.ownhand.on_page import N, T, open_attempt, ready, stored, tab, until

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")


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
    page = tab(context, first.url, faults, allow="ERR_")
    open_attempt(page, f"{T}.2", "t")
    page.keyboard.press("2")
    page.keyboard.press("t")
    page.get_by_role("button", name="2 to the right").wait_for()
    first.stop()
    page.keyboard.press("k")
    page.get_by_text("The server does not answer").wait_for()
    second = start(hand.path)
    try:
        anew = tab(context, second.url, faults)
        open_attempt(anew, f"{T}.2", "t")
        anew.get_by_role("button", name="2 to the right").wait_for()
        anew.get_by_role("button", name="Undo").click()
        anew.get_by_role("button", name="2 to the left").wait_for()
    finally:
        page.close()
        second.stop()


def test_of_two_pages_the_later_is_told_and_overwrites_nothing(context, served, hand, faults):
    one = tab(context, served.url, faults)
    # Refused, and no word from the other page meanwhile.
    other = tab(context, served.url, faults, allow="Failed to load resource")
    other.route("**/api/version*", lambda route: route.abort())
    for page in (one, other):
        open_attempt(page, f"{T}.2", "t")
    one.get_by_role("button", name="Set it aside").click()
    one.get_by_role("heading", name="set aside").wait_for()
    other.get_by_role("button", name="Keep it").click()
    other.get_by_role("alert").get_by_text("was changed by another page meanwhile").wait_for()
    other.get_by_role("heading", name="set aside").wait_for()
    assert stored(hand, f"{T}.2").verdict == "set aside"
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
