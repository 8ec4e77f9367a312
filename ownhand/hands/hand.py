"""A hand: the folder that holds one person's sheets, scans, captures, decisions and font.

| in the folder                      | what it is                                                          |
| ---------------------------------- | ------------------------------------------------------------------- |
| `hand.json`                        | whose hand it is, and what was agreed                               |
| `sheets/<sheet id>/sheet.json`     | where everything is on the paper; beside it sheet.pdf, page-N.svg   |
| `scans/`                           | copies of what was read; the originals are never touched            |
| `captures/<sheet id>/page-01.json` | the attempts of a page; beside it ink/ and page-01-contact.png      |
| `decisions.json`                   | what the person decided in review                                   |
| `font/`                            | what `ownhand build` makes                                          |
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from capture.errors import HandFolderError, OutputError, UsageError
from capture.files import is_vacant, make_folder, write_json
from capture.sheet import Sheet
from capture.sheet_file import load_sheet
from fontbuild.text_spacing_statistics import CopiedWord
from ownhand.hands.locking import locked
from skeleton.attempt import Attempt, attempt_from_json, attempt_to_json

FORMAT = 1


@dataclass(frozen=True)
class HandRecord:
    """Whose hand it is, and what was agreed with its owner."""

    family: str
    """Name of the font family."""

    writer: str = ""
    consent: str = ""
    """How and when the owner of the hand agreed, in words: 'my own hand', 'agreed on paper, 3 May 2026'."""

    use: str = ""
    """What the hand may be used for; goes into the fonts' licence fields."""

    handedness: str = "right"
    """'right' or 'left': which habits the tracer expects."""

    year: int = 0


@dataclass(frozen=True)
class InkPicture:
    """Where the ink of an attempt is kept, and how it lies on its cell."""

    file: str
    """Path under the page's captures folder: 'ink/04.07.png'."""

    px_per_mm: float
    left_mm: float
    """x of the picture's left edge in the cell's frame."""

    top_mm: float
    """y of the picture's top edge in the cell's frame (y up from the baseline)."""


@dataclass(frozen=True)
class PageCapture:
    """All that was read from one page."""

    sheet: str
    page: int
    scan: str
    """Name of the copy under scans/."""

    verdict: Mapping[str, float | str]
    attempts: tuple[Attempt, ...]
    ink: Mapping[str, InkPicture]
    """By attempt id."""

    rhythm: Mapping[str, float] = field(default_factory=dict)
    """Habits of running text, from ruled lines, in x-heights and degrees (`fontbuild.text_spacing_statistics`)."""

    copied: tuple[CopiedWord, ...] = ()
    """Words found on ruled lines."""


@dataclass(frozen=True)
class Hand:
    """An opened hand folder."""

    path: Path
    record: HandRecord

    @property
    def sheets_folder(self) -> Path:
        """Where the printed sheets are described."""
        return self.path / "sheets"

    @property
    def scans_folder(self) -> Path:
        """Where copies of the scans are kept."""
        return self.path / "scans"

    @property
    def captures_folder(self) -> Path:
        """Where what was read is kept."""
        return self.path / "captures"

    @property
    def font_folder(self) -> Path:
        """Where the fonts are built."""
        return self.path / "font"

    @property
    def decisions_file(self) -> Path:
        """What the person decided in review."""
        return self.path / "decisions.json"

    @property
    def ufo(self) -> Path:
        """The font source that `ownhand build` makes."""
        return self.font_folder / f"{self.record.family}.ufo"


def _load_json(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        remedy = "Check the folder's permissions."
        raise HandFolderError(str(path), f"cannot be read ({error.strerror})", remedy) from None
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError) as error:
        remedy = "Restore it from a copy, or remove it and run the command that made it."
        raise HandFolderError(str(path), f"is not JSON ({error})", remedy) from None


def create_hand(path: Path, record: HandRecord) -> Hand:
    """Return a new hand in the folder `path`, which must be empty or not exist yet.

    Raises
    ------
    HandFolderError
        If the folder holds something else.
    OutputError
        If the folder cannot be made.
    """
    if path.exists() and not path.is_dir():
        raise HandFolderError(str(path), "is a file, a hand is a folder", "Give the name of a folder.")
    try:
        occupied = path.exists() and not is_vacant(path)
    except OSError as error:
        remedy = "Check the folder's permissions."
        raise OutputError(str(path), f"cannot be opened ({error.strerror})", remedy) from None
    if occupied:
        raise HandFolderError(
            str(path), "is not a hand (it has no hand.json) but holds other files", "Give an empty or new folder."
        )
    make_folder(path)
    hand = Hand(path, record)
    save_record(hand)
    return hand


def save_record(hand: Hand) -> None:
    """Write hand.json."""
    write_json(hand.path / "hand.json", {"format": FORMAT, **dataclasses.asdict(hand.record)})


def open_hand(path: Path) -> Hand:
    """Return the hand in the folder `path`.

    Raises
    ------
    HandFolderError
        If there is none, or its record does not hold together.
    """
    file = path / "hand.json"
    if not file.is_file():
        what = "has no hand.json, so it is not a hand" if path.is_dir() else "is not there"
        raise HandFolderError(str(path), what, f"Begin one with: ownhand sheet {path} --languages en")
    data = _load_json(file)
    known = {f.name: f.type for f in dataclasses.fields(HandRecord)}
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise HandFolderError(str(file), f"format: expected {FORMAT}", "It was written by another version of ownhand.")
    for name, kind in known.items():
        if name in data and not isinstance(data[name], int if kind == "int" else str):
            raise HandFolderError(str(file), f"{name}: expected {'a number' if kind == 'int' else 'text'}", "Mend it.")
    if not _is_family(data.get("family", "")):
        raise HandFolderError(str(file), "family: expected a name without slashes", "Mend it.")
    return Hand(path, HandRecord(**{name: data[name] for name in known if name in data}))


def change_record(path: Path, changes: Mapping[str, Any]) -> Hand:
    """Return the hand in `path` with some entries of its record changed, and written."""
    hand = open_hand(path)
    if changes:
        if "family" in changes and not _is_family(changes["family"]):
            raise UsageError("--family", f"'{changes['family']}' cannot be a file's name", "Use letters and spaces.")
        with locked(path):
            hand = Hand(path, dataclasses.replace(open_hand(path).record, **changes))
            save_record(hand)
    return hand


def _is_family(name: str) -> bool:
    return bool(name.strip()) and "/" not in name and "\\" not in name and not name.startswith(".")


def open_or_create(path: Path, **record: Any) -> Hand:
    """Return the hand in `path`; one that does not exist yet is begun with `record` (see `HandRecord`)."""
    if (path / "hand.json").is_file():
        return open_hand(path)
    family = record.pop("family", "") or path.resolve().name
    if not _is_family(family):
        raise UsageError("--family", f"'{family}' cannot be a file's name", "Use letters and spaces.")
    return create_hand(path, HandRecord(family, **record))


def load_sheets(hand: Hand) -> dict[str, Sheet]:
    """Return the hand's sheets by their id.

    Raises
    ------
    SheetFileError
        If one of the files does not hold together.
    """
    files = sorted(hand.sheets_folder.glob("*/sheet.json")) if hand.sheets_folder.is_dir() else []
    sheets = [load_sheet(f) for f in files]
    return {s.id: s for s in sheets}


def capture_file(hand: Hand, sheet: str, page: int) -> Path:
    """Return where a page's attempts are kept."""
    return hand.captures_folder / sheet / f"page-{page:02d}.json"


def save_capture(hand: Hand, capture: PageCapture) -> None:
    """Write what was read from a page; the ink pictures are written by the caller, before."""
    write_json(
        capture_file(hand, capture.sheet, capture.page),
        {
            "format": FORMAT,
            "sheet": capture.sheet,
            "page": capture.page,
            "scan": capture.scan,
            "verdict": dict(capture.verdict),
            "attempts": [attempt_to_json(a) for a in capture.attempts],
            "ink": {key: dataclasses.asdict(value) for key, value in capture.ink.items()},
            "rhythm": dict(capture.rhythm),
            "copied": [{"text": w.text, "box": [round(v, 4) for v in w.box]} for w in capture.copied],
        },
    )


def load_captures(hand: Hand) -> tuple[PageCapture, ...]:
    """Return all that was read so far, by sheet and page.

    Raises
    ------
    HandFolderError
        If a file does not hold together; the message says which and where.
    """
    files = sorted(hand.captures_folder.glob("*/page-*.json")) if hand.captures_folder.is_dir() else []
    return tuple(load_capture(file) for file in files)


def load_capture(file: Path) -> PageCapture:
    """Return what was read from one page.

    Raises
    ------
    HandFolderError
        If the file does not hold together.
    """
    data = _load_json(file)
    place = "format"
    try:
        if data["format"] != FORMAT:
            raise ValueError(f"expected {FORMAT}")
        attempts = []
        for i, item in enumerate(data["attempts"]):
            place = f"attempts[{i}]"
            attempts.append(attempt_from_json(item))
        place = "ink"
        ink = {key: InkPicture(**value) for key, value in data["ink"].items()}
        place = "rhythm"
        rhythm = {str(key): float(value) for key, value in data.get("rhythm", {}).items()}
        copied = []
        for i, item in enumerate(data.get("copied", [])):
            place = f"copied[{i}]"
            left, bottom, right, top = (float(v) for v in item["box"])
            copied.append(CopiedWord(str(item["text"]), (left, bottom, right, top)))
        place = "verdict"
        return PageCapture(
            data["sheet"], data["page"], data["scan"], data["verdict"], tuple(attempts), ink, rhythm, tuple(copied)
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise HandFolderError(str(file), f"{place}: {error}", "Read the page's scan again to make it anew.") from None
