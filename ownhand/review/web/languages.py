"""What the hand can write, language by language, and the sheet with what it lacks."""

from __future__ import annotations

import threading
from collections import Counter
from typing import Any

from starlette.responses import FileResponse, JSONResponse, Response

from capture.errors import UsageError
from capture.languages import characters_for, coverage
from capture.limits import is_sheet_id
from capture.safe_paths import path_inside
from fontbuild.font import Font
from ownhand.commands.sheet import NO_WRITING, print_sheet
from ownhand.review.session.review_session import ReviewSession
from ownhand.review.web.access import refusal
from ownhand.validation import Place, raise_faults

_reading = threading.Lock()
"""The database is read when it is first needed, which takes seconds: one reader, the others wait."""

SHORT = {"complete": "complete", "complete with built accents": "built", "incomplete": "missing"}


def has(font: Font) -> set[str]:
    """Return the characters that the font writes."""
    return {char for char, variants in font.glyphs.items() if any(g.strokes for g in variants)}


def languages_view(font: Font) -> dict[str, Any]:
    """Return every language of the database that shares a letter with the hand, and how it stands."""
    with _reading:
        found = coverage(has(font))
    several = Counter(c.language.name for c in found)
    return {
        "languages": [
            {
                "code": c.language.code,
                "name": f"{c.language.name} ({c.language.script})" if several[c.language.name] > 1 else c.language.name,
                "state": SHORT[c.status],
                "built": len(c.built),
                "missing": list(c.missing),
            }
            for c in found
        ]
    }


def print_missing(book: ReviewSession, font: Font, place: Place) -> dict[str, Any]:
    """Print the sheet with what the asked-for languages need, that is neither there nor can be built.

    The request: `languages`, a list of ISO 639-3 codes.

    Raises
    ------
    UsageError
        If a language is not known, or nothing is missing.
    """
    codes = [item.text(None, 40) for item in place.of("languages").items(most=400)]
    raise_faults(place.faults)
    if not codes:
        raise UsageError("sheet", "no language is chosen", "Tick at least one.")
    have = has(font)
    built = {char for c in coverage(have, codes) for char in c.built}
    wanted = [c for c in characters_for(codes) if c not in have | built and c not in NO_WRITING]
    if not wanted:
        raise UsageError("sheet", "the hand lacks nothing of what is asked for", "Choose another language.")
    sizes = Counter(a.x_height_mm for a in book.attempts.values())
    made = print_sheet(book.hand.path, characters="".join(wanted), x_height_mm=sizes.most_common(1)[0][0])
    return {
        "sheet": made.id,
        "pages": made.pages,
        "characters": made.characters,
        "notices": list(made.notices),
        "command": f"ownhand read {book.hand.path} SCANS",
    }


def printed_file(book: ReviewSession, sheet: str) -> Response:
    """Return the PDF of a sheet of the hand."""
    missing = JSONResponse(refusal(sheet[:40], "there is no such sheet"), 404)
    if not is_sheet_id(sheet):
        return missing
    file = path_inside(book.hand.sheets_folder, sheet, "sheet.pdf")
    if not file.is_file():
        return missing
    return FileResponse(file, media_type="application/pdf", filename=f"{sheet}.pdf")
