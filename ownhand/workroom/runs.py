"""A card for each row of a table: looked through like a stack, written by the command's own run, and kept up to date.

A run's folder `runs/<name>/` holds what `commands.write --table` makes, and `order.json`: what it was made from.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from capture.errors import HandFolderError, InputError, OutputError, UsageError
from capture.files import make_folder, write_json
from capture.safe_paths import path_inside
from fontbuild.font import Font
from ownhand.commands.additions import fonts_of
from ownhand.composer.formats import FORMATS, SUFFIXES
from ownhand.composer.merge.mail_merge import run_table
from ownhand.composer.merge.ranges import ranges
from ownhand.composer.merge.run_folder import RECORD
from ownhand.composer.merge.run_plan import Fault, gathered, plan, safe_name
from ownhand.composer.merge.template import parse_template
from ownhand.composer.merge.workers import Job, Run
from ownhand.composer.plot.machine import machine_from
from ownhand.composer.settings.settings_data import settings_from
from ownhand.hands.font_of_hand import font_of
from ownhand.hands.hand import Hand, open_hand
from ownhand.validation import FaultsError, Place, raise_faults, read_json
from ownhand.workroom.drawings import with_drawings_read
from ownhand.workroom.pages import Wish
from ownhand.workroom.tables import table_file, table_of
from ownhand.workroom.zips import zipped

ORDER = "order.json"
OVERVIEW = "overview"
"""Folder with the pictures of all cards in small."""

FORMAT = 1


@dataclasses.dataclass(frozen=True)
class Order:
    """What a run is made from."""

    table: str
    """Name of the file under `tables/`."""

    name_field: str
    template: str
    layout: dict[str, Any]
    machine: dict[str, Any] | None
    formats: tuple[str, ...]
    seed: int
    hands: dict[str, str] = dataclasses.field(default_factory=dict)
    """Folders' names of further hands, beside this one's, by the names that boxes and curves call them."""

    one_file: bool = False
    """All cards in one G-code program, with a pause before each next sheet of paper."""

    strict: bool = False
    """Nothing is written if the hand lacks a character of any row."""

    encoding: str = ""
    """Of the table; '': as it is told by the file."""

    sheet: str = ""
    """Of a workbook; '': the first that is not hidden."""


def runs_folder(hand: Hand) -> Path:
    """Return where the runs are."""
    return hand.path / "runs"


def order_from(place: Place, wish: Wish) -> Order:
    """Return what a request asks for beside the wish for the page.

    The request: `table`, `name_field`, `formats`, `one_file`, `strict`, `encoding`, `sheet`.
    """
    table = place.of("table").text("", 200)
    name_field = place.of("name_field").text("", 200)
    formats = tuple(item.choice("svg", FORMATS) for item in place.of("formats").items(most=len(FORMATS)))
    one_file, strict = place.of("one_file").truth(), place.of("strict").truth()
    encoding, sheet = place.of("encoding").text("", 40), place.of("sheet").text("", 200)
    raise_faults(place.faults)
    machine = dict(wish.machine_data) if wish.machine_data is not None else None
    kinds = ("gcode",) if one_file else formats or ("svg",)
    hands = {name: path.name for name, path in wish.hands.items()}
    return Order(
        table, name_field, wish.whole_text, dict(wish.layout), machine, kinds, wish.seed, hands, one_file, strict,
        encoding, sheet,
    )  # fmt: skip


def planned(hand: Hand, order: Order, font: Font) -> tuple[list[Job], list[Fault]]:
    """Return a job for each row, with the text and seed that the run gives it, and the rows that cannot become one.

    Raises
    ------
    InputError
        If no row of the table can become a card.
    """
    template = parse_template(order.template, where="the text")
    table = table_of(hand, order.table, font, encoding=order.encoding, sheet=order.sheet)
    run = run_of(hand, order)
    jobs, faults = plan(table, template, run, font, name_field=order.name_field, seed=order.seed)
    if not jobs:
        first = "; ".join(str(fault) for fault in faults[:3])
        raise InputError(order.table, "no row of it can become a card", first or "Look at its faults.")
    return jobs, faults


def run_of(hand: Hand, order: Order) -> Run:
    """Return what the run makes of every row."""
    layout, _ = with_drawings_read(dict(order.layout), hand)
    machine = machine_from(order.machine, where="the plotter") if order.machine is not None else None
    others = fonts_of({name: path_inside(hand.path.parent, folder) for name, folder in order.hands.items()})
    settings = settings_from(layout, where="the layout")
    return Run(settings, formats=order.formats, machine=machine, others=others, one_file=order.one_file)


def begin(hand: Hand, order: Order, name: str) -> str:
    """Write down what a run is made from; return the name it is kept under."""
    kept = safe_name(name) or "cards"
    table_file(hand, order.table)
    folder = make_folder(runs_folder(hand) / kept)
    write_json(folder / ORDER, {"format": FORMAT, **dataclasses.asdict(order)})
    return kept


def order_of(hand: Hand, name: str) -> Order:
    """Return what a run was made from.

    Raises
    ------
    HandFolderError
        If there is no such run, or its file does not hold together.
    """
    file = runs_folder(hand) / name / ORDER
    if safe_name(name) != name or not file.is_file():
        raise HandFolderError(name[:80], "is not one of the hand's runs", "Look at the list of them.")
    try:
        data = read_json(file)
        if data.pop("format") != FORMAT:
            raise ValueError
        return Order(**{**data, "formats": tuple(data["formats"])})
    except (FaultsError, KeyError, TypeError, ValueError, AttributeError):
        raise HandFolderError(str(file), "does not hold together", "Write the cards again from the page.") from None


def write_run(
    path: Path, name: str, *, force: bool, progress: Callable[[str, int, int], None] | None = None
) -> dict[str, Any]:
    """Write the files of a run, as the command does; those that are there and up to date are left alone."""
    hand = open_hand(path)
    order = order_of(hand, name)
    template = parse_template(order.template, where="the text")
    font = font_of(path)
    done = run_table(
        font,
        table_of(hand, order.table, font, encoding=order.encoding, sheet=order.sheet),
        template,
        runs_folder(hand) / name,
        run_of(hand, order),
        name_field=order.name_field,
        seed=order.seed,
        force=force,
        strict=order.strict,
        progress=progress,
    )
    return {
        "name": name,
        "refused": order.strict and bool(done.missing),
        "written": done.written,
        "skipped": done.skipped,
        "pages": done.pages,
        "faults": [str(f) for f in done.faults][:200],
        "notices": done.told(),
        "missing": [
            {"char": lack.char, "count": lack.count, "lines": ranges(lack.lines), "hand": lack.hand}
            for lack in done.missing
        ],
        "left_over": list(done.left_over),
    }


def overview_files(hand: Hand, name: str) -> list[Path]:
    """Return the pictures of all cards in small, page by page."""
    folder = runs_folder(hand) / name / OVERVIEW
    return sorted(folder.glob("[!.]*.png"), key=lambda p: (len(p.stem), p.stem)) if safe_name(name) == name else []


def draw_overview(path: Path, name: str, *, progress: Callable[[str, int, int], None] | None = None) -> dict[str, Any]:
    """Draw all cards of a run in small, as the command does before any is written."""
    from ownhand.commands.overview import THUMBNAIL_DPI, write_overview

    hand = open_hand(path)
    order, font = order_of(hand, name), font_of(path)
    folder = runs_folder(hand) / name
    seen = run_table(
        font,
        table_of(hand, order.table, font, encoding=order.encoding, sheet=order.sheet),
        parse_template(order.template, where="the text"),
        folder,
        dataclasses.replace(run_of(hand, order), thumbnail_dpi=THUMBNAIL_DPI),
        name_field=order.name_field,
        seed=order.seed,
        check=True,
        progress=progress,
    )
    for old in overview_files(hand, name):
        old.unlink(missing_ok=True)
    files = write_overview(seen.thumbnails, make_folder(folder / OVERVIEW) / "cards.png", force=True)
    return {
        "name": name,
        "pictures": len(files),
        "cards": len(seen.thumbnails),
        "faults": [str(f) for f in seen.faults],
    }


def stale_rows(hand: Hand, name: str, font: Font) -> int:
    """Return how many files of a run are not what it would make now: of another text, layout or font, or not there."""
    order = order_of(hand, name)
    jobs, _ = planned(hand, order, font)
    folder = runs_folder(hand) / name
    try:
        made = json.loads((folder / RECORD).read_text("utf-8"))["files"]
    except (OSError, ValueError, KeyError, TypeError):
        made = {}
    first = SUFFIXES[order.formats[0]]
    files = gathered(jobs, run_of(hand, order))
    return sum(made.get(job.name) != job.digest or not (folder / (job.name + first)).is_file() for job in files)


def runs_view(hand: Hand, font: Font | None) -> list[dict[str, Any]]:
    """Return the hand's runs, each with how many of its files are stale (where the font is known)."""
    out = []
    for file in sorted(runs_folder(hand).glob(f"*/{ORDER}")):
        name = file.parent.name
        try:
            order = order_of(hand, name)
            # cards that were only looked at in small were never written: nothing of them is out of date
            stale = stale_rows(hand, name, font) if font is not None and run_files(hand, name) else 0
        except (InputError, HandFolderError, UsageError) as error:
            out.append({"name": name, "files": len(run_files(hand, name)), "stale": 0, "broken": str(error)})
            continue
        entry = {"name": name, "files": len(run_files(hand, name)), "stale": stale, "table": order.table}
        out.append({**entry, "formats": list(order.formats)})
    return out


def run_files(hand: Hand, name: str) -> list[Path]:
    """Return the plotter files of a run, by name."""
    kinds = set(SUFFIXES.values())
    return sorted(p for p in (runs_folder(hand) / name).glob("[!.]*") if p.suffix in kinds and p.is_file())


def run_zip(hand: Hand, name: str) -> bytes:
    """Return all files of a run as a ZIP.

    Raises
    ------
    OutputError
        If nothing was written yet.
    """
    order_of(hand, name)
    files = run_files(hand, name)
    if not files:
        raise OutputError(name, "holds no files yet", "Let the cards be written first.")
    return zipped((p.name, p.read_bytes()) for p in files)
