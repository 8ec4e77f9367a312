"""One hand's room: its addresses for sheet, reading, building, page and files, beside those of its letters."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

from starlette.requests import Request

from capture.errors import UsageError
from fontbuild.font import Font
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import Hand, change_record, open_hand
from ownhand.review.web.answers import Answer
from ownhand.validation import Place, raise_faults
from ownhand.workroom import drop, kept, sheets
from ownhand.workroom.folder import progress_view, record_from
from ownhand.workroom.jobs import Job, Jobs
from ownhand.workroom.pages import Desk
from ownhand.workroom.phone import Door, open_door
from ownhand.workroom.verdicts import captured_view


class Room:
    """What the server remembers of one hand while it runs; all that counts is in the hand's folder.

    Parameters
    ----------
    path
        The hand's folder.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.jobs = Jobs()
        self.desk = Desk(open_hand(path))
        self.door: Door | None = None
        self._lock = threading.Lock()

    @property
    def hand(self) -> Hand:
        """The hand as its record says now."""
        hand = open_hand(self.path)
        if hand.record != self.desk.hand.record:
            self.desk = Desk(hand)
        return hand

    @property
    def font(self) -> Font:
        """The hand's font as it was built."""
        return self.desk.font()

    def close(self) -> None:
        """End what is going on."""
        self.jobs.stop()
        if self.door is not None:
            self.door.close()

    # --- how things stand -------------------------------------------------------------------------------------------

    def state(self, request: Request) -> Answer:
        """Return how far the work on the hand is, what is stale and what is going on."""
        return self.view()

    def view(self) -> dict[str, Any]:
        """Return how far the work on the hand is, what is stale and what is going on."""
        hand, job = self.hand, self.jobs.last
        return {
            **progress_view(hand),
            "waiting": [p.name for p in drop.waiting(hand)],
            "job": job.view() if job is not None else None,
        }

    def record(self, place: Place) -> Answer:
        """Change whose hand it is and what was agreed."""
        changes = record_from(place)
        raise_faults(place.faults)
        change_record(self.path, changes)
        return self.view()

    # --- sheet ------------------------------------------------------------------------------------------------------

    def languages(self, request: Request) -> Answer:
        """Return all languages by name."""
        return {"languages": sheets.language_names()}

    def plan(self, place: Place) -> Answer:
        """Return how a sheet would be."""
        return sheets.preview(self.hand, place)

    def print_sheet(self, place: Place) -> Answer:
        """Print a sheet into the hand's folder."""
        return sheets.printed(self.hand, place)

    # --- reading ----------------------------------------------------------------------------------------------------

    async def take_scan(self, request: Request) -> Answer:
        """Take a scan that was dropped; it waits to be read."""
        name = request.query_params.get("name", "scan")[:200]
        file = await drop.keep_scan_to_read(self.hand, name, request.stream(), request.state.most_bytes)
        return {"kept": file.name}

    def read(self, place: Place) -> Answer:
        """Begin to read what waits."""
        adopt = place.of("adopt").truth()
        raise_faults(place.faults)
        return self.begin_reading(adopt=adopt)

    def begin_reading(self, *, adopt: bool = False) -> dict[str, Any]:
        """Begin to read what waits, unless something else is going on.

        Raises
        ------
        UsageError
            If no scan waits to be read.
        """
        self.jobs.settle()
        scans = drop.waiting(self.hand)
        if not scans:
            raise UsageError("reading", "no scan waits", "Drop scans on the page first.")

        def after(job: Job) -> None:
            # What was read is among the hand's scans; what was refused is told, and its original is where it came from.
            # The sheet of another hand waits on: it may be taken in.
            if job.result is None and not (job.pages and all("what" in page for page in job.pages)):
                return
            foreign = {page["scan"] for page in job.pages if "does not belong to this hand" in page.get("what", "")}
            for scan in scans:
                if scan.name not in foreign:
                    scan.unlink(missing_ok=True)

        job = self.jobs.start("read", {"hand": str(self.path), "scans": [str(s) for s in scans], "adopt": adopt}, after)
        return {"job": job.view()}

    def put_away(self, place: Place) -> Answer:
        """Take scans that wait out of the line, unread."""
        for scan in drop.waiting(self.hand):
            scan.unlink(missing_ok=True)
        return self.view()

    def pages_read(self, request: Request) -> Answer:
        """Return what was read from each page so far."""
        return {"pages": [captured_view(capture) for capture in load_captures(self.hand)]}

    def work(self, request: Request) -> Answer:
        """Return what is going on, or went on last."""
        job = self.jobs.last
        return {"job": job.view() if job is not None else None, "waiting": [p.name for p in drop.waiting(self.hand)]}

    def stop(self, place: Place) -> Answer:
        """End what is going on; what was finished is kept."""
        self.jobs.stop()
        return self.view()

    def build(self, place: Place) -> Answer:
        """Begin to build the font."""
        tabular = place.of("tabular").truth()
        raise_faults(place.faults)
        return {"job": self.jobs.start("build", {"hand": str(self.path), "tabular": tabular}).view()}

    def open_phone(self, place: Place) -> Answer:
        """Open a port for photographs from a phone."""
        with self._lock:
            if self.door is None or not self.door.open:
                self.door = open_door(self.hand)
            return self.door.view()

    def close_phone(self, place: Place) -> Answer:
        """Close that port."""
        if self.door is not None:
            self.door.close()
        return {"open": False, "sent": self.door.sent if self.door is not None else []}

    def phone(self, request: Request) -> Answer:
        """Return what is open to the phone."""
        return self.door.view() if self.door is not None else {"open": False, "sent": []}

    # --- files ------------------------------------------------------------------------------------------------------

    def kept_files(self, request: Request) -> Answer:
        """Return what the hand's folder holds for a person to take."""
        return kept.kept_view(self.hand)

    def kept_file(self, request: Request) -> Answer:
        """Return one of these."""
        return kept.kept_file(self.hand, request.query_params.get("file", ""))

    def draw_proof(self, place: Place) -> Answer:
        """Draw the proof of the font, as the command does."""
        from ownhand.commands.proof import write_proof

        write_proof(self.path)
        return kept.kept_view(self.hand)
