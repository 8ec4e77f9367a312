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
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from capture.errors import HandFolderError, OutputError, SheetFileError, UsageError
from capture.files import is_vacant, make_folder, write_json
from capture.limits import is_plain
from capture.safe_paths import path_inside
from capture.sheet import Sheet
from ownhand.hands.locking import locked
from ownhand.hands.record_checks import MOST_SAID, check_record, family_of, is_family
from ownhand.validation import FaultsError, read_json

FORMAT = 1
HANDEDNESS = ("right", "left")


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
        return path_inside(self.font_folder, f"{self.record.family}.ufo")


def create_hand(path: Path, record: HandRecord) -> Hand:
    """Return a new hand in the folder `path`, which must be empty or not exist yet.

    Raises
    ------
    HandFolderError
        If the folder holds something else, or its name has more than one line.
    OutputError
        If the folder cannot be made.
    """
    if len(path.name.splitlines()) > 1:
        raise HandFolderError(ascii(path.name), "a name of more than one line", "Give another name.")
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
    try:
        there = file.is_file()
        leading_out = _leading_out(path) if there else None
    except OSError as error:
        raise HandFolderError(str(path), f"cannot be read ({error.strerror})", "Check its permissions.") from None
    if leading_out is not None:
        what = "is a link to a folder outside the hand, in which nothing is read or written"
        raise HandFolderError(str(leading_out), what, "Put the folder itself there, or move the whole hand.")
    if not there:
        if path.is_file():
            raise HandFolderError(str(path), "is a file, a hand is a folder", "Give the name of a folder.")
        what = "has no hand.json, so it is not a hand" if path.is_dir() else "is not there"
        raise HandFolderError(str(path), what, f"Begin one with: ownhand sheet {shlex.quote(str(path))} --languages en")
    try:
        data = read_json(file)
    except FaultsError as error:
        raise HandFolderError(str(file), str(error), "Restore it from a copy.") from None
    known = {f.name: f.type for f in dataclasses.fields(HandRecord)}
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise HandFolderError(str(file), f"format: expected {FORMAT}", "It was written by another version of ownhand.")
    for name, kind in known.items():
        value = data.get(name, 0 if kind == "int" else "")
        if kind == "int" and (isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 9999):
            raise HandFolderError(str(file), f"{name}: expected a number from 0 to 9999", "Mend it.")
        if kind != "int" and (not isinstance(value, str) or not is_plain(value, MOST_SAID)):
            what = f"{name}: expected text of {MOST_SAID} characters at most, without control characters"
            raise HandFolderError(str(file), what, "Mend it.")
    if data.get("handedness", HANDEDNESS[0]) not in HANDEDNESS:
        raise HandFolderError(str(file), f"handedness: expected one of {', '.join(HANDEDNESS)}", "Mend it.")
    if not is_family(data.get("family", "")):
        raise HandFolderError(str(file), "family: expected a short name that a file can have", "Mend it.")
    return Hand(path, HandRecord(**{name: data[name] for name in known if name in data}))


def _leading_out(path: Path) -> Path | None:
    """Return the first folder in a hand that is a link out of it, None if there is none: hands come from others too."""
    inside = path.resolve()
    links = sorted(p for p in path.iterdir() if p.is_symlink() and p.is_dir())
    return next((p for p in links if not p.resolve().is_relative_to(inside)), None)


def change_record(path: Path, changes: Mapping[str, Any]) -> Hand:
    """Return the hand in `path` with some entries of its record changed, and written; changes: by field of the record.

    Raises
    ------
    UsageError
        If the family's name cannot be a file's.
    HandFolderError
        If there is no hand.
    OutputError
        If another command is writing into it.
    """
    hand = open_hand(path)
    if changes:
        check_record(changes)
        with locked(path):
            hand = Hand(path, dataclasses.replace(open_hand(path).record, **changes))
            save_record(hand)
    return hand


def open_or_create(path: Path, **record: Any) -> Hand:
    """Return the hand in `path`; one that does not exist yet is begun with `record` (see `HandRecord`).

    Raises
    ------
    UsageError
        If the family's name cannot be a file's.
    """
    if (path / "hand.json").is_file():
        return open_hand(path)
    family = record.pop("family", "") or family_of(path)
    check_record({"family": family, **record})
    return create_hand(path, HandRecord(family, **record))


def add_to_record(hand: Hand, given: Mapping[str, Any]) -> tuple[Hand, list[str]]:
    """Return the hand with what its record leaves open filled in as `given`, written, and what to tell about it.

    Raises
    ------
    UsageError
        If the record says something else already.
    """
    record = dataclasses.asdict(hand.record)
    changes = {key: value for key, value in given.items() if record[key] != value}
    for key, value in changes.items():
        if record[key] and key != "handedness":
            raise UsageError(
                f"--{key}",
                f"'{value}', but the record of {hand.path} says '{record[key]}'",
                f"Leave it out, or change the record: ownhand record {shlex.quote(str(hand.path))} --{key} …",
            )
    if not changes:
        return hand, []
    check_record(changes)
    hand = Hand(hand.path, dataclasses.replace(hand.record, **changes))
    save_record(hand)
    return hand, ["Added to the hand's record: " + ", ".join(f"{key} '{value}'" for key, value in changes.items())]


def load_sheets(hand: Hand) -> dict[str, Sheet]:
    """Return the hand's sheets by their id.

    Raises
    ------
    SheetFileError
        If one of the files does not hold together.
    """
    files = sorted(hand.sheets_folder.glob("*/sheet.json")) if hand.sheets_folder.is_dir() else []
    sheets: dict[str, Sheet] = {}
    for file in files:
        from capture.sheet_file import load_sheet  # here, because a font is written with far more often

        sheet = load_sheet(path_inside(hand.sheets_folder, file.parent.name, file.name))
        if sheet.id != file.parent.name:
            what = f"id: expected '{file.parent.name}', the folder's name, found '{sheet.id}'"
            raise SheetFileError(str(file), what, "Name the folder by the sheet's id.")
        sheets[sheet.id] = sheet
    return sheets
