"""One line of text in characters of a font, and where it may be broken."""

from __future__ import annotations

from dataclasses import dataclass

import regex

from ownhand.composer.text.characters import (
    NO_BREAK_SPACE,
    SOFT_HYPHEN,
    SPACE,
    SPACES,
    TAB,
    ZERO_WIDTH_SPACE,
    breaks_inside,
    characters,
)
from ownhand.composer.text.fitter import Fitter

_OPENING = regex.compile(r"[\p{Ps}\p{Pi}¿¡]+")

_CLOSING = regex.compile(r"[\p{Pe}\p{Pf}!?:;%]+[\p{P}]*")

_PARTS = regex.compile(r"[ \n\t\f\u200b]|[^ \n\t\f\u200b]+")

_GROUPED = regex.compile(r"(?<!\d)(?<!\d )\d{1,3}(?: \d{3}){1,4}(?! ?\d)")
"""A number in groups of three figures (SI Brochure, 9th edition, 5.4.4); more groups than any number has are a list."""


@dataclass(frozen=True)
class Break:
    """A place where a line may end."""

    end: int
    """Number of characters up to it that stay on the line; spaces before the break are left out."""

    start: int
    """First character of the next line."""

    hyphen: bool = False
    """A hyphen appears when the line ends here."""


@dataclass(frozen=True)
class Passage:
    """One line of the text as it was typed, in characters of the font."""

    chars: tuple[str, ...]
    """Characters of the font; SPACE for every space, TAB, and '' for what is missing and leaves a gap."""

    gaps: tuple[float, ...]
    """Width of each space, in word gaps; 0 for all that is no space."""

    breaks: tuple[Break, ...]
    words: tuple[tuple[int, int, str], ...]
    """Start, end and spelling of the runs between spaces, for hyphenation."""


def passage(line: str, fitter: Fitter) -> Passage:
    """Return one line of text that `normal` made, in characters of the font.

    Examples
    --------
    >>> passage("so so", Fitter("so ")).breaks
    (Break(end=2, start=3, hyphen=False),)
    """
    chars: list[str] = []
    gaps: list[float] = []
    breaks: list[Break] = []
    words: list[tuple[int, int, str]] = []
    # no line ends inside a number (common practice, no source; UAX 14 breaks at every plain space)
    parts = _PARTS.findall(_GROUPED.sub(lambda number: number[0].replace(SPACE, NO_BREAK_SPACE), line))
    for i, part in enumerate(parts):
        if part in (SPACE, TAB):
            chars.append(part)
            gaps.append(1.0 if part == SPACE else 0.0)
            if i + 1 < len(parts) and parts[i + 1] not in (SPACE, TAB) and _may_break(parts, i):
                end = len(chars)
                while end and chars[end - 1] == SPACE:
                    end -= 1
                breaks.append(Break(end, len(chars)))
        elif part == ZERO_WIDTH_SPACE:
            breaks.append(Break(len(chars), len(chars)))
        else:
            start = len(chars)
            _add_word(part, fitter, chars, gaps, breaks)
            words.append((start, len(chars), part))
    return Passage(tuple(chars), tuple(gaps), tuple(b for b in breaks if b.end), tuple(words))


def _may_break(parts: list[str], i: int) -> bool:
    """Whether a line may end at the space `parts[i]`: not after a lone opening mark, not before a lone closing one."""
    before = parts[i - 1] if i else ""
    return not (_OPENING.fullmatch(before) or _CLOSING.fullmatch(parts[i + 1]))


def _add_word(word: str, fitter: Fitter, chars: list[str], gaps: list[float], breaks: list[Break]) -> None:
    """Append a part without plain spaces, cut at soft hyphens and where UAX 14 allows."""
    for k, syllable in enumerate(word.split(SOFT_HYPHEN)):
        if k and chars:
            breaks.append(Break(len(chars), len(chars), hyphen=True))
        cuts = set(breaks_inside(syllable))
        for n, g in enumerate(characters(syllable)):
            if n in cuts:
                breaks.append(Break(len(chars), len(chars)))
            if g in SPACES:
                chars.append(SPACE)
                gaps.append(SPACES[g])
            elif g.strip("\u200c\u200d"):
                written = fitter.fit(g) or ("",)
                chars.extend(written)
                gaps.extend([0.0] * len(written))
