"""A sheet planned before one's eyes: every page as it will be printed, then printed by the command's own function."""

from __future__ import annotations

import threading
from functools import lru_cache
from typing import Any

from capture.copy_words import words_to_copy
from capture.errors import UsageError
from capture.language_database import all_languages
from capture.layout import lay_out
from capture.plan import plan_attempts
from capture.print_sheet import page_svg
from ownhand.commands.sheet import characters_of, print_sheet, text_to_copy, wanted_characters
from ownhand.hands.hand import Hand
from ownhand.validation import Place, raise_faults

SECONDS_A_CELL = 4.0
"""To look what is asked for, write it and go on: common practice, no source."""

SECONDS_A_COPIED_LETTER = 1.0
"""Running text, unhurried: common practice, no source."""

PAPERS = ("A4", "Letter", "A5")

_reading = threading.Lock()
"""The database of languages is read when it is first needed, which takes seconds: one reader, the others wait."""

_drawing = threading.Lock()
"""Labels are drawn with a font whose letters are loaded as they are first asked for: one at a time."""


@lru_cache(maxsize=1)
def language_names() -> list[dict[str, str]]:
    """Return all languages by name: code, English name, own name."""
    with _reading:
        known = all_languages()
    return sorted(({"code": k.code, "name": k.name, "own": k.autonym} for k in known), key=lambda k: k["name"])


def asked_from(place: Place) -> dict[str, Any]:
    """Return what a request asks of a sheet, as `commands.sheet.print_sheet` takes it."""
    codes = [item.text(None, 40) for item in place.of("languages").items(most=60)]
    asked = {
        "languages": codes,
        "characters": place.of("characters").text("", 4000),
        "text": place.of("text").text("", 200_000),
        "copy": place.of("copy").text("", 20_000),
        "joined": place.of("joined").truth(),
        "missing": place.of("missing").truth(),
        "paper": place.of("paper").text("A4", 40),
        "x_height_mm": place.of("x_height_mm").number(3.5, 0.5, 50.0) or 3.5,
        "pages": place.of("pages").whole(0, 60) or None,
        "least": max(1, place.of("least").whole(2, 50)),
    }
    raise_faults(place.faults)
    return asked


def preview(hand: Hand, place: Place) -> dict[str, Any]:
    """Return how the sheet would be: how many pages and cells, how long it takes to fill in, and page `show` drawn.

    Raises
    ------
    UsageError
        If nothing is asked for, or it does not fit.
    """
    asked = asked_from(place)
    show = place.of("show").whole(1, 60)
    raise_faults(place.faults)
    with _reading:
        wanted = wanted_characters(asked["languages"], asked["characters"], asked["text"])
        joining = words_to_copy(asked["languages"], asked["text"]) if asked["joined"] else None
    ruled = text_to_copy(asked["copy"], joining)
    if asked["missing"]:
        have = characters_of(hand)
        wanted = [c for c in wanted if c not in have]
        if not wanted and not ruled:
            raise UsageError("sheet", "the hand lacks nothing of what is asked for", "Ask for more, or for all of it.")
    if not wanted and not ruled:
        raise UsageError("sheet", "nothing to write is asked for", "Choose a language, or type a text to cover.")
    options = {key: asked[key] for key in ("pages", "least", "paper", "x_height_mm")}
    counts = plan_attempts(wanted, asked["languages"], **options) if wanted else {}
    sheet = lay_out(
        counts,
        sheet_id="preview",
        paper=asked["paper"],
        x_height_mm=asked["x_height_mm"],
        languages=tuple(asked["languages"]),
        ruled_text=ruled or None,
    )
    with _drawing:
        drawn = page_svg(sheet, sheet.pages[min(max(show, 1), len(sheet.pages)) - 1], title=hand.record.family)
    page = sheet.pages[min(max(show, 1), len(sheet.pages)) - 1]
    cells = sum(len(p.cells) for p in sheet.pages)
    copied = sum(not c.isspace() for c in ruled)
    return {
        "pages": len(sheet.pages),
        "cells": cells,
        "characters": len(counts),
        "minutes": max(1, round((cells * SECONDS_A_CELL + copied * SECONDS_A_COPIED_LETTER) / 60)),
        "shown": page.page,
        "size_mm": list(page.size_mm),
        "svg": drawn,
    }


def printed(hand: Hand, place: Place) -> dict[str, Any]:
    """Print the sheet into the hand's folder, as the command does."""
    asked = asked_from(place)
    with _drawing:
        made = print_sheet(hand.path, **asked)
    return {"sheet": made.id, "pages": made.pages, "cells": made.cells, "notices": list(made.notices)}
