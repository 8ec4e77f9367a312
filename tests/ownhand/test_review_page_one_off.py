"""The page in a real browser: a run of cells that may be filled one cell off is asked about above all letters."""

from __future__ import annotations

import dataclasses

import pytest

from capture.report import Finding
from ownhand.hands.captures import load_captures, save_capture
from ownhand.workroom.server import start
from skeleton.attempt import ONE_OFF
from tests.ownhand.on_page import A, N, stored, tab, until

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")
CHARACTERS = "an"


def marked(hand) -> None:
    """Mark two a's as n's, and an n as an a."""
    (page,) = load_captures(hand)
    rather = {f"{A}.1": "n", f"{A}.2": "n", f"{N.replace('/3', '/2')}.1": "a"}
    attempts = tuple(
        dataclasses.replace(
            a, findings=(Finding(ONE_OFF, detail=f"rather {rather[a.id]}, to the right from row 1 on"),)
        )
        if a.id in rather
        else a
        for a in page.attempts
    )
    save_capture(hand, dataclasses.replace(page, attempts=attempts))


@pytest.mark.parametrize(
    ("answer", "char", "verdict"), [("Yes, rename them", "n", ""), ("No, they stand right", "", "kept")]
)
def test_the_page_takes_either_answer(context, hand, faults, answer, char, verdict):
    marked(hand)
    running = start(hand.path)
    try:
        page = tab(context, running.url, faults)
        asked = page.get_by_role("region", name="Filled one cell off?")
        assert "Sheet LAMP1, page 1: filled one cell to the right from row 1 on?" in asked.inner_text()
        asked.get_by_role("button", name=answer).click()
        asked.wait_for(state="detached")
        decided = until(lambda: stored(hand, f"{A}.1"))

        assert (decided.char, decided.verdict) == (char, verdict)
        page.get_by_role("button", name="Undo").click()
        asked.wait_for()
    finally:
        running.stop()
