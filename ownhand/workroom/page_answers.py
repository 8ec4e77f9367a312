"""The page of a hand's room: set, drawn, replayed, its files, its layouts and the plotter's profile."""

from __future__ import annotations

import contextlib
import dataclasses
from dataclasses import dataclass

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from capture.errors import InputError, OwnhandError, UsageError
from ownhand.composer import Composition
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.merge.run_plan import Fault
from ownhand.composer.merge.workers import Job
from ownhand.composer.plot.imposition import sheet_of
from ownhand.composer.plot.plot_page import PlotPage
from ownhand.hands.hand import open_hand
from ownhand.review.web.answers import Answer
from ownhand.validation import Place, raise_faults
from ownhand.workroom import drop, kept, layouts, runs
from ownhand.workroom.drawings import drawing_names, drawing_view
from ownhand.workroom.folder import Folder
from ownhand.workroom.pages import Wish, page_view, plot_files, replay_view, wish_from
from ownhand.workroom.room import Room
from ownhand.workroom.tables import tables


@dataclass(frozen=True)
class Card:
    """The page set for one row of a table."""

    done: Composition
    name: str
    row: int
    """Which row's, of those that can become a card, from 0."""

    rows: int
    """How many can."""

    faults: tuple[Fault, ...]
    """Those that cannot, and why."""


class PageAnswers:
    """Answers to what the page asks while a text is set.

    Parameters
    ----------
    room
        The hand's room.
    """

    def __init__(self, room: Room) -> None:
        self.room = room

    def desk_view(self, request: Request) -> Answer:
        """Return the page as it was left, the layouts, the plotter and the tables; makes the composer ready."""
        hand = self.room.hand
        draft = layouts.load_draft(hand)
        machine = layouts.load_machine_data(hand)
        composer = self.room.desk.ensemble().of("")
        return {
            "draft": draft,
            "layouts": layouts.layout_names(hand),
            "machine": machine,
            "tables": [p.name for p in tables(hand)],
            "drawings": drawing_names(hand),
            "hands": self._other_hands(),
            "x_height_mm": round(composer.written_x_height_mm, 2),
            "family": hand.record.family,
        }

    def _other_hands(self) -> list[dict[str, str]]:
        """Return the hands beside this one that have a font: what stands for each, and its name."""
        out = []
        for key, path in Folder(self.room.path.parent).hands().items():
            if path == self.room.path:
                continue
            with contextlib.suppress(OwnhandError):
                other = open_hand(path)
                if other.ufo.is_dir():
                    out.append({"id": key, "family": other.record.family})
        return out

    def sheet(self, place: Place) -> Answer:
        """Return the sheet of paper on which the page, or the card of one row, stands among others.

        Raises
        ------
        UsageError
            If each page has a paper of its own.
        """
        wish = wish_from(place, self.room.hand)
        order, row = runs.order_from(place, wish), place.of("row").whole(0)
        number = max(1, place.of("page").whole(1, 10_000))
        raise_faults(place.faults)
        impose = wish.settings.impose
        if impose is None:
            raise UsageError("the sheet", "each page has its own paper", "Put several on one first.")
        each = len(impose.places(wish.settings.size_mm))
        if not order.table:
            first = (number - 1) // each * each
            return {"svg": svg_text(sheet_of(self.room.desk.compose(wish).pages[first : first + each], impose))}
        jobs, _ = runs.planned(self.room.hand, order, self.room.font)
        first = min(row, len(jobs) - 1) // each * each
        cards = [self._first_page(wish, job) for job in jobs[first : first + each]]
        return {"svg": svg_text(sheet_of(cards, impose))} if any(cards) else {"svg": ""}

    def _first_page(self, wish: Wish, job: Job) -> PlotPage | None:
        """Return a row's card; None for one that cannot be set, whose place stays free."""
        try:
            return self.room.desk.compose(wish, job.text, job.seed).pages[0]
        except OwnhandError:
            return None

    async def take_drawing(self, request: Request) -> Answer:
        """Take a drawing that was dropped; one with nothing to draw in it is not kept."""
        name, hand = request.query_params.get("name", "drawing")[:200], self.room.hand
        before = drawing_names(hand)
        file = await drop.keep_drawing(hand, name, request.stream(), request.state.most_bytes)
        try:
            return await run_in_threadpool(drawing_view, hand, file.name)
        except BaseException:
            if file.name not in before:
                file.unlink(missing_ok=True)
            raise

    def drawing(self, request: Request) -> Answer:
        """Return what the page needs to know of a drawing that is kept."""
        return drawing_view(self.room.hand, request.query_params.get("name", ""))

    def set_page(self, place: Place) -> Answer:
        """Set the page, or the card of one row, and keep the request for the next time.

        Raises
        ------
        InputError
            If no row of the table can become a card.
        """
        wish = wish_from(place, self.room.hand)
        row = place.of("row").whole(0)
        order = runs.order_from(place, wish)
        if isinstance(place.value, dict) and place.of("keep").truth(True):
            layouts.save_draft(
                self.room.hand, {k: v for k, v in place.value.items() if k not in ("keep", "based_on", "number")}
            )
        if not order.table:
            return page_view(self.room.desk.compose(wish), wish)
        card = self._card(order, wish, row)
        return {
            **page_view(card.done, wish),
            "rows": card.rows,
            "faults": [str(f) for f in card.faults][:50],
            "row": card.row,
            "card": card.name,
        }

    def _card(self, order: runs.Order, wish: Wish, row: int) -> Card:
        jobs, faults = runs.planned(self.room.hand, order, self.room.font)
        at = min(row, len(jobs) - 1)
        done = self.room.desk.compose(wish, jobs[at].text, jobs[at].seed)
        return Card(done, jobs[at].name, at, len(jobs), tuple(faults))

    def _composed(self, place: Place) -> tuple[Composition, Wish]:
        wish = wish_from(place, self.room.hand)
        order, row = runs.order_from(place, wish), place.of("row").whole(0)
        raise_faults(place.faults)
        if not order.table:
            return self.room.desk.compose(wish), wish
        card = self._card(order, wish, row)
        return card.done, dataclasses.replace(wish, name=card.name)

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
        wish = wish_from(place, self.room.hand)
        return kept.download(f"{wish.name}.txt", "text/plain; charset=utf-8", wish.whole_text.encode())

    def save_layout(self, place: Place) -> Answer:
        """Keep the layout under a name."""
        name = place.of("layout_name").text("", 200)
        wish = wish_from(place, self.room.hand)
        file = layouts.save_layout(self.room.hand, name, dict(wish.layout))
        return {"name": file.stem, "layouts": layouts.layout_names(self.room.hand)}

    def load_layout(self, place: Place) -> Answer:
        """Return a layout that is kept, or the one in a text."""
        name, text = place.of("layout_name").text("", 200), place.of("text").text("", layouts.LONGEST)
        raise_faults(place.faults)
        data = (
            layouts.layout_from(text, self.room.hand, where=name) if text else layouts.load_layout(self.room.hand, name)
        )
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
        layouts.save_machine(self.room.hand, data)
        return {"machine": data}
