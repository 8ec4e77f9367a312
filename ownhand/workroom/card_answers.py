"""The cards of a hand's room: a table, a file for each of its rows, and what became of earlier runs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from capture.errors import InputError
from ownhand.review.web.answers import Answer
from ownhand.validation import Place, raise_faults
from ownhand.workroom import drop, kept, runs
from ownhand.workroom.pages import wish_from
from ownhand.workroom.room import Room
from ownhand.workroom.tables import table_view


class CardAnswers:
    """Answers to what the page asks of tables and cards.

    Parameters
    ----------
    room
        The hand's room.
    """

    def __init__(self, room: Room) -> None:
        self.room = room

    async def take_table(self, request: Request) -> Answer:
        """Take a table that was dropped."""
        name = request.query_params.get("name", "table")[:200]
        hand = self.room.hand
        file = await drop.keep_table(hand, name, request.stream(), request.state.most_bytes)
        return await run_in_threadpool(lambda: table_view(hand, file.name, self.room.font))

    def table(self, request: Request) -> Answer:
        """Return what the page needs to know of a table."""
        asked = request.query_params
        name, encoding, sheet = asked.get("name", ""), asked.get("encoding", "")[:40], asked.get("sheet", "")[:200]
        return table_view(self.room.hand, name, self.room.font, encoding=encoding, sheet=sheet)

    def write_cards(self, place: Place) -> Answer:
        """Begin to write a file for each row, in place of older ones where `force` says so.

        Raises
        ------
        InputError
            If no row of the table can become a card.
        """
        name, force = self._begun(place), place.of("force").truth()
        raise_faults(place.faults)
        return self._run(name, force=force)

    def _begun(self, place: Place) -> str:
        """Write down what the cards are to be made from; return the run's name."""
        order = runs.order_from(place, wish_from(place, self.room.hand))
        runs.planned(self.room.hand, order, self.room.font)
        return runs.begin(self.room.hand, order, Path(order.table).stem)

    def draw_overview(self, place: Place) -> Answer:
        """Begin to draw all cards in small, before any is written."""
        name = self._begun(place)
        job = self.room.jobs.start("overview", {"hand": str(self.room.path), "name": name})
        return {"job": job.view(), "run": name}

    def overview(self, request: Request) -> Answer:
        """Return a page of all cards in small.

        Raises
        ------
        InputError
            If there is none.
        """
        files = runs.overview_files(self.room.hand, request.query_params.get("run", ""))
        page = request.query_params.get("page", "1")[:9]
        if not (page.isdecimal() and 1 <= int(page) <= len(files)):
            raise InputError("the overview", "was not drawn yet", "Have it drawn first.")
        return Response(
            files[int(page) - 1].read_bytes(), media_type="image/png", headers={"cache-control": "no-store"}
        )

    def renew_cards(self, place: Place) -> Answer:
        """Begin to write a run's files anew where they are stale."""
        name = place.of("run").text("", 200)
        raise_faults(place.faults)
        runs.order_of(self.room.hand, name)
        return self._run(name, force=True)

    def _run(self, name: str, *, force: bool) -> dict[str, Any]:
        job = self.room.jobs.start("table", {"hand": str(self.room.path), "name": name, "force": force})
        return {"job": job.view(), "run": name}

    def all_runs(self, request: Request) -> Answer:
        """Return the runs, and how many of their files are stale."""
        hand = self.room.hand
        font = self.room.font if hand.ufo.is_dir() else None
        return {"runs": runs.runs_view(hand, font)}

    def run_zip(self, request: Request) -> Answer:
        """Return all files of a run as a ZIP."""
        name = request.query_params.get("run", "")
        return kept.download(f"{name}.zip", "application/zip", runs.run_zip(self.room.hand, name))
