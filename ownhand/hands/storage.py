"""Keeping what was read in the hand's folder, cell by cell the better of old and new."""

from __future__ import annotations

import dataclasses
import hashlib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from pathlib import Path

import cv2

from capture.errors import HandFolderError, NotAScanError, WrongSheetError
from capture.files import make_folder, write_bytes
from capture.limits import MOST_CELLS, MOST_NAME_BYTES, is_sheet_id
from capture.read import LineInk, PageReading
from capture.safe_paths import path_inside
from capture.safe_text import printable
from capture.sheet import Page, Sheet
from capture.sheet_file import save_sheet
from fontbuild.text_spacing_statistics import copied_words, measure_rhythm
from ownhand.hands.captures import InkPicture, PageCapture, capture_file, load_capture, save_capture, scan_stamp
from ownhand.hands.cell_attempts import attempt_of, better
from ownhand.hands.copies import copied_line, first_copy
from ownhand.hands.hand import Hand, load_sheets
from ownhand.hands.line_letters import LineLetter, LinePlace, letters_of
from ownhand.hands.same_writer import unlike
from ownhand.pictures.contact_sheet import draw_contact
from ownhand.pictures.copy_contact import draw_copy
from skeleton.attempt import Attempt
from skeleton.result import Reading
from skeleton.words.line_reading import LineReading

CellKey = tuple[str, int, int, int]
"""Sheet id, page, row, column."""

TRUE_SCALE = 0.005
"""A printed size nearer than this to what was asked for is taken as right."""


def keep_sheets(hand: Hand, sheets: Mapping[str, Sheet]) -> list[str]:
    """Write the sheets that were rebuilt from paper; return what to tell about them.

    Raises
    ------
    WrongSheetError
        If a sheet's id cannot be a folder's name.
    """
    before = load_sheets(hand)
    notices = []
    for key, sheet in sheets.items():
        if key in before and len(before[key].pages) == len(sheet.pages):
            continue
        if not is_sheet_id(key):
            raise WrongSheetError(f"sheet '{key}'", "its id cannot be a folder's name", "Print it anew.")
        save_sheet(sheet, make_folder(path_inside(hand.sheets_folder, key)) / "sheet.json")
        notices.append(f"Sheet '{key}': sheet.json rebuilt from the paper, {len(sheet.pages)} page(s).")
    return notices


def keep_scan(hand: Hand, path: Path) -> str:
    """Copy a scan into the hand's folder; return the copy's name, which tells its content.

    Raises
    ------
    NotAScanError
        If it is there no more.
    OutputError
        If its copy cannot be written.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise NotAScanError(path.name, f"cannot be copied ({error.strerror})", "Put it where it can be read.") from None
    name = f"{_stem_of(path)}-{hashlib.sha256(data).hexdigest()[:8]}{printable(path.suffix.lower())[:8]}"
    copy = path_inside(hand.scans_folder, name)
    if not copy.exists():
        write_bytes(copy, data)
    return name


def _stem_of(path: Path) -> str:
    """Return a scan's name as far as every system takes it; its copy is told by its content."""
    stem = printable(path.stem).replace("\\", "-").replace("\n", "-").replace("\t", "-").lstrip(".")
    while len(stem.encode()) > MOST_NAME_BYTES:
        stem = stem[:-1]
    return stem or "scan"


def keep_page(
    hand: Hand,
    reading: PageReading,
    scan: str,
    traced: Mapping[CellKey, Reading],
    written: Sequence[LineReading] = (),
    *,
    same_writer: bool = False,
) -> tuple[PageCapture, Path]:
    """Write what was read from a page, cell by cell and letter by letter the better of old and new.

    Returned are the page as captured, and where `write_contact` is to draw its contact sheet.

    Parameters
    ----------
    written
        The page's ruled lines as read, one for each of `reading.lines`.

    Raises
    ------
    WrongSheetError
        If the page was read before from other paper, written with another pen or by somebody else, unless
        `same_writer` says that this is as it should be.
    """
    sheet, number = reading.sheet, reading.page.page
    file = capture_file(hand, sheet.id, number)
    folder = file.parent
    old = _captured_before(file)
    before = {a.id: a for a in old.attempts} if old else {}
    stamp = scan_stamp(scan)
    scale = printed_scale(reading)
    read = [
        attempt_of(
            cell, traced.get((sheet.id, number, cell.row, cell.column)), sheet=sheet.id, page=number, scale=scale
        )
        for cell in reading.cells
    ]
    lettered = list(_lettered(reading, written, scale))
    first = old if old is not None else first_copy(hand, sheet.id, number)
    every = [*read, *(letter.attempt for letter, _ in lettered)]
    as_first = [dataclasses.replace(a, id=first.sheet + a.id[len(sheet.id) :]) for a in every] if first else every
    if first is not None and first.scan != scan and not same_writer and (why := unlike(first.attempts, as_first)):
        raise WrongSheetError(
            f"page {number} of sheet '{sheet.id}'",
            f"{why}: is this another person's copy of the sheet?",
            "Read it into a hand of its own; if it is the same person's, add --same-writer.",
        )
    attempts, pictures = [], {}

    def keep(kept: Attempt) -> None:
        attempts.append(kept)
        if old is not None and kept.id in old.ink:
            pictures[kept.id] = old.ink[kept.id]

    def kept_as(new: Attempt) -> bool:
        """Whether the attempt stays as it was captured before."""
        kept = before.get(new.id)
        if kept is None or not better(kept, new):
            attempts.append(new)
            return False
        keep(kept)
        return True

    for cell, new in zip(reading.cells, read, strict=True):
        if kept_as(new) or not cell.grey.size:
            continue
        name = f"ink/{number:02d}-{cell.row:02d}.{cell.column:02d}-{stamp}.png"
        _, data = cv2.imencode(".png", cell.grey)
        write_bytes(folder / name, data.tobytes())
        pictures[new.id] = InkPicture(
            name,
            cell.px_per_mm / scale,
            round((cell.left_mm - cell.cell.box_mm[0]) * scale, 4),
            round((cell.cell.baseline_mm - cell.top_mm) * scale, 4),
        )
    for letter, px_per_mm in lettered:
        if len(attempts) < MOST_CELLS and not kept_as(letter.attempt):
            pictures[letter.attempt.id] = keep_letter(folder, number, f"-{stamp}", letter, px_per_mm / scale)
    # letters of words that were read before, and cannot be read on this scan
    now = {a.id for a in every}
    unread = [a for a in before.values() if a.id not in now] if reading.page.ruled else []
    for kept in unread[: max(0, MOST_CELLS - len(attempts))]:
        keep(kept)
    verdict = {k: v for k, v in dataclasses.asdict(reading.verdict).items() if v is not None}
    lines = [copied_line(ink) for ink in reading.lines]
    rhythm = measure_rhythm(lines, x_height_mm=reading.sheet.x_height_mm) if lines else {}
    copied = tuple(copied_words(lines, x_height_mm=reading.sheet.x_height_mm))
    if old is not None and len(old.copied) > len(copied):
        rhythm, copied = dict(old.rhythm), old.copied
    capture = PageCapture(sheet.id, number, scan, verdict, tuple(attempts), pictures, rhythm, copied)
    save_capture(hand, capture)
    named = {p.file for p in pictures.values()}
    for left in folder.glob(f"ink/{number:02d}-*.png"):
        if f"ink/{left.name}" not in named:
            left.unlink(missing_ok=True)
    return capture, folder / f"page-{number:02d}-contact.png"


def _lettered(reading: PageReading, written: Sequence[LineReading], scale: float) -> Iterator[tuple[LineLetter, float]]:
    """Yield the letters of a page's ruled lines, each with the pixels to a millimetre of its line's picture."""
    counts: Counter[str] = Counter()
    page = f"{reading.sheet.id}/{reading.page.page}"
    for ink, line in zip(reading.lines, written, strict=False):
        row = 1 + reading.page.ruled.index(ink.line)
        place = LinePlace(
            page, reading.page.page, row, reading.sheet.x_height_mm * scale, scale, ink.left_mm, ink.top_mm
        )
        for letter in letters_of(line, ink.grey, ink.px_per_mm, place, counts):
            yield letter, ink.px_per_mm


def keep_letter(folder: Path, page: int, stamp: str, letter: LineLetter, px_per_mm: float) -> InkPicture:
    """Write the picture of a letter of running text into a page's folder; return where it lies.

    Parameters
    ----------
    px_per_mm
        Of the picture, true millimetres.
    """
    row, _, column = letter.attempt.id.rsplit("/", 1)[-1].partition(".")
    name = f"ink/{page:02d}-{int(row):02d}.{int(column):02d}{stamp}.png"
    _, data = cv2.imencode(".png", letter.grey)
    write_bytes(folder / name, data.tobytes())
    return InkPicture(name, px_per_mm, letter.left_mm, letter.top_mm, letter.place_mm)


def write_contact(
    page: Page,
    capture: PageCapture,
    lines: Sequence[LineInk],
    written: Sequence[LineReading],
    x_height_mm: float,
    contact: Path,
) -> Path:
    """Draw and write the contact sheet of a captured page into the folder of its ink; return where it is.

    lines: the page's ruled lines with writing on them, and how they were read; `x_height_mm`: their sheet's.
    """
    if page.ruled:
        copied = list(zip_longest(lines, map(copied_line, lines), written))
        return draw_copy(page, capture.sheet, copied, x_height_mm=x_height_mm).save_png(contact)
    return draw_contact(page, capture, contact.parent).save_png(contact)


def _captured_before(file: Path) -> PageCapture | None:
    """Return what was read from the page before; a file that does not hold together is put aside, not lost."""
    if not file.exists():
        return None
    try:
        return load_capture(file)
    except HandFolderError:
        file.replace(file.with_suffix(".json.damaged"))
        return None


def printed_scale(reading: PageReading) -> float:
    """Return the printed size over the size asked for, 1 where it is right or cannot be told."""
    scale = reading.verdict.print_scale or 1.0
    return scale if abs(scale - 1) > TRUE_SCALE else 1.0
