"""Sheets of a hand: what to ask for, planned, printed, and kept in its folder."""

from __future__ import annotations

import secrets
import shlex
import shutil
import tempfile
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from capture.copy_words import CopyWords, words_to_copy
from capture.drawing import Said
from capture.errors import OutputError, UsageError
from capture.files import SCRAP, make_folder, write_text
from capture.label_font import has_label
from capture.labels import code_points
from capture.languages import characters_for, characters_in
from capture.layout import lay_out
from capture.plan import plan_attempts
from capture.print_sheet import page_svg, write_pdf
from capture.sheet_file import save_sheet
from fontbuild.formats.ufo import load_ufo
from ownhand.composer.text.fitter import RIGHT_TO_LEFT
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import Hand, add_to_record, load_sheets, open_hand, open_or_create
from ownhand.hands.locking import locked

LEAST, LITERAL = 2, 4
"""Attempts at the rarest characters of languages, and at each character that is asked for by itself."""

NO_WRITING = " \u00a0\u202f"
"""Characters that need no ink."""


@dataclass(frozen=True)
class PrintedSheet:
    """What was printed."""

    id: str
    pdf: Path
    pages: int
    cells: int
    characters: int
    notices: tuple[str, ...]
    joined: CopyWords | None = None
    """Words that were asked for to see how the hand joins its letters."""


def print_sheet(
    path: Path,
    *,
    languages: Sequence[str] = (),
    characters: str = "",
    text: str = "",
    copy: str = "",
    joined: bool = False,
    missing: bool = False,
    paper: str = "A4",
    x_height_mm: float = 3.5,
    pages: int | None = None,
    least: int | None = None,
    family: str = "",
    writer: str = "",
    consent: str = "",
    use: str = "",
    left_handed: bool = False,
) -> PrintedSheet:
    """Plan a sheet for the hand at `path` and write it as sheet.json, PDF and SVG into a folder of its own.

    A hand that does not exist yet is begun, with `family`, `writer`, `consent`, `use` and `left_handed`; of one that
    exists, what its record leaves open is filled in with them.

    Parameters
    ----------
    languages, characters, text
        All that the languages are written with, these very characters, and all that a text needs.
    copy
        A text to copy on ruled lines, on pages of its own.
    joined
        Words to copy beside it, in which the pairs of letters that the languages and the text need are written.
    missing
        Leave out what the hand can write already.
    pages
        Most pages of cells; None: as many as it takes.
    least
        Attempts at the rarest characters, 2 if not given; common ones get more. Where only `characters` are asked for,
        attempts at each, 4 if not given.

    Raises
    ------
    UsageError
        If nothing is asked for, nothing is missing, or it does not fit.
    OutputError
        If it cannot be written, or another command is writing into the hand.
    """
    wanted = wanted_characters(languages, characters, text)
    if not wanted and not copy.strip():
        alone = "--missing" if missing else "--joined" if joined else ""
        more = f" as well: {alone} alone asks for nothing." if alone else "."
        remedy = f"Give --languages, --characters or --text{more}"
        raise UsageError("sheet", "nothing to write is asked for", remedy)
    joining = words_to_copy(languages, text) if joined else None
    ruled = text_to_copy(copy, joining)
    given = {"family": family, "writer": writer, "consent": consent, "use": use}
    given["handedness"] = "left" if left_handed else ""
    given = {key: value for key, value in given.items() if value}
    told: list[str] = []
    # planned and laid out before the hand is begun, so that a request that cannot be met leaves nothing behind
    with locked(path):
        known = open_hand(path) if (path / "hand.json").is_file() else None
        if missing and known is not None:
            have = characters_of(known)
            wanted = [c for c in wanted if c not in have]
            if not wanted and not joined and not copy.strip():
                raise UsageError("sheet", "the hand lacks nothing of what is asked for", "Ask for more languages.")
        counts = _plan(
            wanted,
            languages,
            literal=not (languages or text),
            pages=pages,
            least=least,
            paper=paper,
            x_height_mm=x_height_mm,
        )
        sheet = lay_out(
            counts,
            sheet_id=new_id(known),
            paper=paper,
            x_height_mm=x_height_mm,
            languages=tuple(languages),
            ruled_text=ruled or None,
        )
        if known is None:
            hand = open_or_create(path, year=date.today().year, **given)
        else:
            hand, told = add_to_record(known, given)
        make_folder(hand.sheets_folder)
        folder = hand.sheets_folder / sheet.id
        try:
            with tempfile.TemporaryDirectory(prefix=".sheet.", suffix=SCRAP, dir=hand.sheets_folder) as name:
                beside = Path(name) / sheet.id
                beside.mkdir()
                title, said = hand.record.family, Said(hand.record.use, hand.record.consent, hand.record.writer)
                write_pdf(sheet, beside / "sheet.pdf", title=title, said=said)
                for page in sheet.pages:
                    write_text(beside / f"page-{page.page}.svg", page_svg(sheet, page, title=title, said=said))
                save_sheet(sheet, beside / "sheet.json")
                shutil.move(beside, folder)
        except OSError as error:
            remedy = "Choose a place you may write to, with room on it."
            raise OutputError(str(folder), f"cannot be written ({error.strerror})", remedy) from None
    notices = told
    if not hand.record.consent:
        notices.append(
            "No consent is recorded yet: capture a hand only with its owner's consent "
            f"(ownhand record {shlex.quote(str(path))} --consent 'my own hand')."
        )
    if from_right := [c for c in counts if unicodedata.bidirectional(c[0]) in RIGHT_TO_LEFT]:
        some = " ".join(from_right[:5]) + (" …" if len(from_right) > 5 else "")
        notices.append(f"Of scripts written from right to left, which are not set so, only in the font: {some}")
    if numbered := [c for c in counts if not has_label(c)]:
        key = ", ".join(f"{code_points(c)} is {c}" for c in numbered)
        notices.append(f"The sheet's print has no shape for {len(numbered)} of them, write them by this key: {key}")
    if joining is not None and joining.strange:
        notices.append(f"No pairs of letters are known of: {', '.join(joining.strange)}")
    cells = sum(len(p.cells) for p in sheet.pages)
    return PrintedSheet(sheet.id, folder / "sheet.pdf", len(sheet.pages), cells, len(counts), tuple(notices), joining)


def wanted_characters(languages: Sequence[str], characters: str, text: str) -> list[str]:
    """Return what is asked for, each character once, NFC: by language first, then literally, then by text."""
    wanted = characters_for(languages) if languages else []
    wanted += characters_in(characters) if characters else []
    wanted += characters_in(text) if text else []
    return [c for c in dict.fromkeys(wanted) if c not in NO_WRITING]


def text_to_copy(copy: str, joining: CopyWords | None) -> str:
    """Return what goes on ruled lines: a text of one's own, and words that show how the hand joins its letters."""
    return " ".join(part for part in (copy.strip(), joining.text if joining else "") if part)


def characters_of(hand: Hand) -> set[str]:
    """Return what the hand can write: all of its font, or what was captured where none was built yet."""
    if hand.ufo.exists():
        return {char for char, variants in load_ufo(hand.ufo).glyphs.items() if any(g.strokes for g in variants)}
    return {a.char for c in load_captures(hand) for a in c.attempts if a.status == "written" and a.strokes}


def new_id(hand: Hand | None) -> str:
    """Return an id that no other sheet has: short enough to be read aloud, random so that two hands never share one."""
    known = set(load_sheets(hand)) if hand else set()
    while (name := f"s{len(known) + 1}-{secrets.token_hex(3)}") in known:
        continue
    return name


def _plan(
    wanted: Sequence[str],
    languages: Sequence[str],
    *,
    literal: bool,
    pages: int | None,
    least: int | None,
    paper: str,
    x_height_mm: float,
) -> dict[str, int]:
    if not wanted:
        return {}
    if literal and pages is None:
        return dict.fromkeys(wanted, least or LITERAL)
    return plan_attempts(wanted, languages, pages=pages, least=least or LEAST, paper=paper, x_height_mm=x_height_mm)
