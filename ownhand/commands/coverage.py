"""Which languages a hand can write."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from capture.languages import coverage, language
from ownhand.hands.font_of_hand import font_of
from ownhand.hands.hand import load_sheets, open_hand

COLUMNS = ("language", "code", "state", "built from base and mark", "missing")


def coverage_rows(path: Path, languages: Sequence[str] = ()) -> list[list[str]]:
    """Return a row for each language, for `COLUMNS`: of those named, or of all that share a letter with the font.

    The languages of the hand's own sheets come first.

    Raises
    ------
    UsageError
        If a language is not known.
    """
    font = font_of(path)
    built = {char for char, glyphs in font.glyphs.items() if glyphs and all(_is_built(g.source) for g in glyphs)}
    rows = []
    for c in coverage(font.glyphs, languages or None):
        made = [char for char in c.language.base if char in built] + list(c.built)
        state = "incomplete" if c.missing else "complete with built accents" if made else "complete"
        name = f"{c.language.name} ({c.language.autonym})" if c.language.autonym else c.language.name
        rows.append([name, c.language.code, state, " ".join(made), " ".join(c.missing)])
    own = _own_languages(path)
    order = {"complete": 0, "complete with built accents": 1, "incomplete": 2}
    return sorted(rows, key=lambda row: (row[1] not in own, order[row[2]], len(row[4]), row[0]))


def _own_languages(path: Path) -> set[str]:
    """Return the codes of the languages for which the hand's sheets were printed."""
    if not (path / "hand.json").is_file():
        return set()
    return {language(asked).code for sheet in load_sheets(open_hand(path)).values() for asked in sheet.languages}


def _is_built(source: str) -> bool:
    return source.startswith("built")
