"""One hand's room: its addresses for sheet, reading, building, page and files, beside those of its letters."""

from __future__ import annotations

import dataclasses
import threading
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from capture.errors import InputError, OwnhandError, UsageError
from ownhand.hands.hand import Hand, change_record, open_hand
from ownhand.review.web.access import refusal
from ownhand.review.web.answers import Answer, reading, writing
from ownhand.validation import Place, raise_faults
from ownhand.workroom import drop, kept, layouts, runs, sheets
from ownhand.workroom.folder import progress_view, record_from
from ownhand.workroom.jobs import Job, Jobs
from ownhand.workroom.pages import Desk, page_view, plot_files, replay_view, wish_from
from ownhand.workroom.phone import Door, open_door


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

    # --- page -------------------------------------------------------------------------------------------------------

    def desk_view(self, request: Request) -> Answer:
        """Return the page as it was left, the layouts, the plotter and the tables; makes the composer ready."""
        hand = self.hand
        draft = layouts.load_draft(hand)
        file = layouts.machine_file(hand)
        machine = layouts.machine_text(file.read_text("utf-8"), where=file.name) if file.is_file() else None
        composer = self.desk.ensemble().of("")
        return {
            "draft": draft,
            "layouts": layouts.layout_names(hand),
            "machine": machine,
            "tables": sorted(p.name for p in drop.tables_folder(hand).glob("[!.]*.csv")),
            "x_height_mm": round(composer.written_x_height_mm, 2),
            "family": hand.record.family,
        }

    def set_page(self, place: Place) -> Answer:
        """Set the page, or the card of one row, and keep the request for the next time.

        Raises
        ------
        InputError
            If no row of the table can become a card.
        """
        wish = wish_from(place, self.hand)
        row = place.of("row").whole(0)
        order = runs.order_from(place, wish)
        if isinstance(place.value, dict) and place.of("keep").truth(True):
            layouts.save_draft(
                self.hand, {k: v for k, v in place.value.items() if k not in ("keep", "based_on", "number")}
            )
        if not order.table:
            return page_view(self.desk.compose(wish), wish)
        jobs, faults = runs.planned(self.hand, order, self.desk.font())
        told = {"rows": len(jobs), "faults": [str(f) for f in faults][:50]}
        if not jobs:
            raise InputError(order.table, "no row of it can become a card", "; ".join(told["faults"][:3]))  # type: ignore[index]
        job = jobs[min(row, len(jobs) - 1)]
        done = self.desk.compose(wish, job.text, job.seed)
        return {**page_view(done, wish), **told, "row": min(row, len(jobs) - 1), "card": job.name}

    def _composed(self, place: Place) -> Any:
        wish = wish_from(place, self.hand)
        order, row = runs.order_from(place, wish), place.of("row").whole(0)
        raise_faults(place.faults)
        if not order.table:
            return self.desk.compose(wish), wish
        jobs, _ = runs.planned(self.hand, order, self.desk.font())
        job = jobs[min(row, len(jobs) - 1)]
        return self.desk.compose(wish, job.text, job.seed), dataclasses.replace(wish, name=job.name)

    def replay(self, place: Place) -> Answer:
        """Return what is needed to write a page again before one's eyes."""
        number = max(1, place.of("page").whole(1, 10_000))
        done, wish = self._composed(place)
        return replay_view(done, wish, number)

    def files(self, place: Place) -> Answer:
        """Return the files for the plotter: one, or a ZIP."""
        formats = [item.text(None, 20) for item in place.of("formats").items(most=8)]
        done, wish = self._composed(place)
        name, kind, data = plot_files(done, wish, formats)
        return kept.download(name, kind, data)

    def text_file(self, place: Place) -> Answer:
        """Return the text as one file, as the command takes it."""
        wish = wish_from(place, self.hand)
        return kept.download(f"{wish.name}.txt", "text/plain; charset=utf-8", wish.whole_text.encode())

    def save_layout(self, place: Place) -> Answer:
        """Keep the layout under a name."""
        name = place.of("layout_name").text("", 200)
        wish = wish_from(place, self.hand)
        file = layouts.save_layout(self.hand, name, dict(wish.layout))
        return {"name": file.stem, "layouts": layouts.layout_names(self.hand)}

    def load_layout(self, place: Place) -> Answer:
        """Return a layout that is kept, or the one in a text."""
        name, text = place.of("layout_name").text("", 200), place.of("text").text("", layouts.LONGEST)
        raise_faults(place.faults)
        data = layouts.layout_from(text, self.hand, where=name) if text else layouts.load_layout(self.hand, name)
        return {"layout": data}

    def save_machine(self, place: Place) -> Answer:
        """Keep the plotter's profile, as fields or as a text in TOML.

        Raises
        ------
        InputError
            If no profile was given, or it has a fault.
        """
        text, given = place.of("text").text("", layouts.LONGEST), place.of("machine").value
        raise_faults(place.faults)
        data = layouts.machine_text(text, where="the plotter's file") if text else given
        if not isinstance(data, dict):
            raise InputError("the plotter", "no profile was given", "Fill in the fields, or choose its file.")
        layouts.save_machine(self.hand, data)
        return {"machine": data}

    # --- tables -----------------------------------------------------------------------------------------------------

    async def take_table(self, request: Request) -> Answer:
        """Take a table that was dropped."""
        name = request.query_params.get("name", "table")[:200]
        hand = self.hand
        file = await drop.keep_table(hand, name, request.stream(), request.state.most_bytes)
        return await run_in_threadpool(lambda: runs.table_view(hand, file.name, self.desk.font()))

    def table(self, request: Request) -> Answer:
        """Return what the page needs to know of a table."""
        return runs.table_view(self.hand, request.query_params.get("name", ""), self.desk.font())

    def write_cards(self, place: Place) -> Answer:
        """Begin to write a file for each row, in place of older ones where `force` says so.

        Raises
        ------
        InputError
            If no row of the table can become a card.
        """
        wish = wish_from(place, self.hand)
        order, force = runs.order_from(place, wish), place.of("force").truth()
        raise_faults(place.faults)
        jobs, _ = runs.planned(self.hand, order, self.desk.font())
        if not jobs:
            raise InputError(order.table, "no row of it can become a card", "Look at its faults.")
        name = runs.begin(self.hand, order, Path(order.table).stem)
        return self._run(name, force=force)

    def renew_cards(self, place: Place) -> Answer:
        """Begin to write a run's files anew where they are stale."""
        name = place.of("run").text("", 200)
        raise_faults(place.faults)
        runs.order_of(self.hand, name)
        return self._run(name, force=True)

    def _run(self, name: str, *, force: bool) -> dict[str, Any]:
        job = self.jobs.start("table", {"hand": str(self.path), "name": name, "force": force})
        return {"job": job.view(), "run": name}

    def all_runs(self, request: Request) -> Answer:
        """Return the runs, and how many of their files are stale."""
        hand = self.hand
        font = self.desk.font() if hand.ufo.is_dir() else None
        return {"runs": runs.runs_view(hand, font)}

    def run_zip(self, request: Request) -> Answer:
        """Return all files of a run as a ZIP."""
        name = request.query_params.get("run", "")
        return kept.download(f"{name}.zip", "application/zip", runs.run_zip(self.hand, name))

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


def room_routes(room: Room) -> list[Route]:
    """Return the addresses of a hand's room, without those of its letters."""
    looking = {
        "state": room.state,
        "names": room.languages,
        "work": room.work,
        "phone": room.phone,
        "desk": room.desk_view,
        "table": room.table,
        "runs": room.all_runs,
        "cards.zip": room.run_zip,
        "kept": room.kept_files,
        "kept/file": room.kept_file,
    }
    doing = {
        "record": room.record,
        "plan": room.plan,
        "print": room.print_sheet,
        "read": room.read,
        "put-away": room.put_away,
        "stop": room.stop,
        "build": room.build,
        "phone/open": room.open_phone,
        "phone/close": room.close_phone,
        "page": room.set_page,
        "replay": room.replay,
        "files": room.files,
        "text-file": room.text_file,
        "layout/save": room.save_layout,
        "layout/load": room.load_layout,
        "plotter": room.save_machine,
        "cards": room.write_cards,
        "cards/renew": room.renew_cards,
        "proof": room.draw_proof,
    }
    return [
        *(Route(f"/api/{name}", reading(answer)) for name, answer in looking.items()),
        *(Route(f"/api/{name}", writing(answer), methods=["POST"]) for name, answer in doing.items()),
        Route("/api/drop", receiving(room.take_scan), methods=["POST"]),
        Route("/api/table/drop", receiving(room.take_table), methods=["POST"]),
    ]


def receiving(take: Callable[[Request], Awaitable[Answer]]) -> Callable[[Request], Awaitable[Response]]:
    """Return the endpoint that takes a file."""

    async def endpoint(request: Request) -> Response:
        try:
            got = await take(request)
        except drop.TooLargeError as error:
            return JSONResponse(refusal(error.where, error.what, error.remedy), 413)
        except OwnhandError as error:
            return JSONResponse(refusal(error.where, error.what, error.remedy), 422)
        return got if isinstance(got, Response) else JSONResponse(got)

    return endpoint
