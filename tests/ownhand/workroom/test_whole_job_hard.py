"""The whole job once more, with every difficulty at once: by keys alone, on a narrow page, in forced colours, with a
server that is slow and is killed twice.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from capture.errors import OwnhandError
from ownhand.hands.hand import Hand
from ownhand.hands.locking import locked
from tests.ownhand.on_page import PATIENCE_S, tab, until
from tests.ownhand.person import Person
from tests.ownhand.workroom.job_steps import (
    ADDRESS,
    MESSAGE,
    are_as_the_command_writes,
    begin_hand,
    drop_scans,
    fill_in,
    is_as_the_command_writes,
    keep_layout,
    look_through_letters,
    save_sheet,
    save_text,
    take_files,
    take_guests,
    thirty_guests,
    two_boxes_two_pens,
    type_message,
)

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")

FEW = "aehit"
"""The sheet is as real, and sooner read."""


class Served:
    """`ownhand open` as a person runs it, given the processor for one quarter of the time only."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-m", "ownhand", "open", str(folder), "--no-browser"]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment)
        assert self.process.stderr is not None
        told = next((line for line in self.process.stderr if line.startswith("Open ")), "")
        assert told, "it did not start"
        self.url = told.split()[1]
        self._slowing = threading.Event()
        self._slowing.set()
        self._thread = threading.Thread(target=self._slow, daemon=True)
        self._thread.start()

    def _slow(self) -> None:
        while self._slowing.is_set():
            self.process.send_signal(signal.SIGSTOP)
            time.sleep(0.03)
            self.process.send_signal(signal.SIGCONT)
            time.sleep(0.01)

    def end(self, how: signal.Signals = signal.SIGTERM) -> None:
        self._slowing.clear()
        self._thread.join()
        self.process.send_signal(how)
        self.process.wait()
        assert self.process.stderr is not None
        self.process.stderr.close()


def is_free(hand: Hand) -> bool:
    """Whether a command could write into the hand."""
    try:
        with locked(hand.path):
            return True
    except OwnhandError:
        return False


def test_the_whole_job_by_keys_alone_on_a_narrow_page_in_forced_colours_with_a_slow_server_that_is_killed_twice(
    browser, tmp_path, faults, say
):
    """Killed while it reads, and while a page is set: nothing is lost, it is said, and the work goes on."""
    folder = tmp_path / "hands"
    folder.mkdir()
    context = browser.new_context(viewport={"width": 390, "height": 844}, forced_colors="active")
    context.set_default_timeout(PATIENCE_S * 1000)

    def opened(at: str = "") -> tuple[Served, Any]:
        served = Served(folder)
        address = served.url if not at else f"{served.url}hand/signal-house/{at}"
        return served, tab(context, address, faults, allow="Failed to load")

    served, page = opened()
    try:
        person = Person(page, keyboard=True)
        hand = begin_hand(person, folder)
        save_sheet(person, hand, FEW)
        scans = fill_in(hand, tmp_path)
        begun = person.counted
        drop_scans(person, scans)
        page.get_by_role("progressbar", name="Reading").wait_for()

        served.end(signal.SIGKILL)
        page.get_by_text("The server does not answer").first.wait_for()
        until(lambda: is_free(hand), "the reading ends with its server")
        assert sorted(p.name for p in (hand.path / "waiting").iterdir()) == sorted(s.name for s in scans)
        page.close()
        served, person.page = opened("#reading")
        person.page.get_by_text("waits to be read" if len(scans) == 1 else "wait to be read").wait_for()
        person.button("Read them")
        look_through_letters(person, hand)
        type_message(person)
        two_boxes_two_pens(person)
        person.page.wait_for_selector("#paper[aria-busy=false] img")

        served.end(signal.SIGKILL)
        person.key("g")
        person.page.get_by_text("The server does not answer").first.wait_for()
        person.page.close()
        served, person.page = opened("#page")
        person.page.wait_for_selector("#paper[aria-busy=false] img")
        assert person.page.get_by_label("Text of message").input_value() == MESSAGE
        assert person.page.get_by_label("Text of address").input_value() == ADDRESS
        card = take_files(person)
        from_scans_to_file = person.counted - begun
        layout = keep_layout(person, hand)
        text = save_text(person, tmp_path / "text.txt")
        table = thirty_guests(tmp_path / "guests.csv")
        cards = take_guests(person, table)
        template = save_text(person, tmp_path / "card.txt")
    finally:
        served.end()
        context.close()

    say(f"by keys alone, killed twice, from scans to file: {from_scans_to_file}")
    assert from_scans_to_file.presses <= 24
    assert from_scans_to_file.typed == len(MESSAGE) + len(ADDRESS)
    is_as_the_command_writes(card, hand, text, layout, tmp_path / "out")
    are_as_the_command_writes(cards, hand, table, template, layout, tmp_path / "cards")
