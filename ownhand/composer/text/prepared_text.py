"""A text made ready: its passages, list marks and letters, before any line is broken."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Container
from dataclasses import dataclass

from ownhand.composer.text.characters import (
    PAGE_BREAK,
    SOFT_HYPHEN,
    SPACE,
    SPACES,
    TAB,
    ZERO_WIDTH_SPACE,
    characters,
    normal,
)
from ownhand.composer.text.fitter import Fitter
from ownhand.composer.text.passage import Break, passage

_BULLET = re.compile(r"^( *)([-*•–])[ \t]+(?=\S)")
_NUMBER = re.compile(r"^( *)(\d{1,3}[.)]|[a-z]\))[ \t]+(?=\S)")
_ALIGNED = re.compile(r"^~(left|right|cent(?:re|er)|justified) +(?=\S)")
"""A line that begins so stands as it says, whatever the rest of its box does."""

BULLETS = ("•", "–", "-", "—", "*", "·")
LONG_WORD = 16
"""Letters of a word that may have to be broken although no language is given."""

HYPHENS = ("-", "‐", "–")


@dataclass(frozen=True)
class Part:
    """One line of the text as typed; indices count the characters of the manuscript."""

    start: int
    end: int
    breaks: tuple[Break, ...]
    words: tuple[tuple[int, int, str], ...]
    mark: tuple[int, int] | None = None
    """Characters of its list mark, which come just before `start`."""

    depth: int = 0
    """How deep the list lies in others."""

    new_page: bool = False
    align: str = ""
    """'left', 'right', 'centre' or 'justified'; '' as its box."""

    @property
    def empty(self) -> bool:
        """True for a blank line."""
        return self.start == self.end and self.mark is None


@dataclass(frozen=True)
class PreparedText:
    """All characters of a text, and its lines as typed."""

    chars: tuple[str, ...]
    gaps: tuple[float, ...]
    parts: tuple[Part, ...]
    hyphens: tuple[int, int]
    """Range of the characters kept in reserve as hyphens, at the end."""


def tables_of(prepared: PreparedText) -> list[list[tuple[int, int]]]:
    """Return the lines that have tabs, those under each other together: start and end of each."""
    tables: list[list[tuple[int, int]]] = []
    within = False
    for part in prepared.parts:
        has = TAB in prepared.chars[part.start : part.end]
        if has and not within:
            tables.append([])
        if has:
            tables[-1].append((part.start, part.end))
        within = has
    return tables


def count_missing(text: str, fitter: Fitter, has: Container[str], *, lists: bool) -> None:
    """Count in `fitter` what a text needs and the font lacks, as `prepare_text` would, without setting it."""
    counts: Counter[str] = Counter()
    for line in normal(text).replace(PAGE_BREAK, "\n").split("\n"):
        if aligned := _ALIGNED.match(line):
            counts.update(characters(line[aligned.end() :]))
            continue
        found = _BULLET.match(line) if lists else None
        if found and any(b in has for b in BULLETS):
            line = line[found.end() :]
        counts.update(characters(line))
    skipped = {SPACE, TAB, SOFT_HYPHEN, ZERO_WIDTH_SPACE, *SPACES}
    for char, n in counts.items():
        if char in skipped or fitter.fit(char):
            continue
        bare = char.replace("\u200c", "").replace("\u200d", "")
        if bare:
            fitter.missing[bare] += n - 1


def prepare_text(text: str, fitter: Fitter, has: Container[str], *, lists: bool, divides: bool) -> PreparedText:
    """Return a text as characters of the font.

    `divides`: hyphens will be wanted at line ends; a few are kept in reserve at any rate where the text has soft ones.
    """
    chars: list[str] = []
    gaps: list[float] = []
    parts: list[Part] = []

    def add(line: str) -> tuple[int, int, tuple[Break, ...], tuple[tuple[int, int, str], ...]]:
        start = len(chars)
        p = passage(line, fitter)
        chars.extend(p.chars)
        gaps.extend(p.gaps)
        breaks = tuple(Break(b.end + start, b.start + start, b.hyphen, b.poor) for b in p.breaks)
        words = tuple((a + start, b + start, word) for a, b, word in p.words)
        return start, len(chars), breaks, words

    clean = normal(text)
    for n, page in enumerate(clean.split(PAGE_BREAK)):
        for k, raw in enumerate(page.strip("\n").split("\n") if n else page.rstrip("\n").split("\n")):
            line = raw.rstrip(" ")
            new_page = n > 0 and k == 0
            aligned = _ALIGNED.match(line)
            if aligned:
                line = line[aligned.end() :]
                parts.append(Part(*add(line), None, 0, new_page, aligned[1].replace("center", "centre")))
                continue
            found = (_BULLET.match(line) or _NUMBER.match(line)) if lists else None
            if found:
                sign = found[2] if found[2][0].isalnum() else next((b for b in BULLETS if b in has), found[2])
                mark = add(sign)[:2]
                parts.append(Part(*add(line[found.end() :]), mark, len(found[1]) // 2, new_page))
            else:
                parts.append(Part(*add(line), None, 0, new_page))
    hyphen = next((h for h in HYPHENS if h in has), "")
    wanted = divides or any(b.hyphen for p in parts for b in p.breaks)
    wanted = wanted or any(b - a >= LONG_WORD for p in parts for a, b, _ in p.words)
    reserve = 1 + len(chars) // 40 if hyphen and wanted else 0
    first = len(chars)
    for _ in range(reserve):
        chars += [SPACE, hyphen]
        gaps += [1.0, 0.0]
    return PreparedText(tuple(chars), tuple(gaps), tuple(parts), (first, len(chars)))
