"""One line of text in characters of a font, and where it may be broken."""

from __future__ import annotations

from dataclasses import dataclass

import regex

from ownhand.composer.text.characters import (
    SOFT_HYPHEN,
    SPACE,
    SPACES,
    TAB,
    ZERO_WIDTH_SPACE,
    breaks_inside,
    characters,
)
from ownhand.composer.text.fitter import Fitter
from ownhand.composer.text.kept_together import kept_breaks, kept_spaces, repeats_hyphens

_PARTS = regex.compile(r"[ \n\t\f\u200b]|[^ \n\t\f\u200b]+")


@dataclass(frozen=True)
class Break:
    """A place where a line may end."""

    end: int
    """Number of characters up to it that stay on the line; spaces before the break are left out."""

    start: int
    """First character of the next line."""

    hyphen: bool = False
    """A hyphen appears when the line ends here."""

    poor: bool = False
    """Only for a line that has no better place to end."""


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
    (Break(end=2, start=3, hyphen=False, poor=False),)
    """
    chars: list[str] = []
    gaps: list[float] = []
    breaks: list[Break] = []
    words: list[tuple[int, int, str]] = []
    kept, repeats = kept_spaces(line), repeats_hyphens(line)
    parts = list(_PARTS.finditer(line))
    for i, found in enumerate(parts):
        part = found[0]
        if part in (SPACE, TAB):
            chars.append(part)
            gaps.append(1.0 if part == SPACE else 0.0)
            if i + 1 < len(parts) and parts[i + 1][0] not in (SPACE, TAB):
                end = len(chars)
                while end and chars[end - 1] == SPACE:
                    end -= 1
                breaks.append(Break(end, len(chars), poor=found.start() in kept))
        elif part == ZERO_WIDTH_SPACE:
            breaks.append(Break(len(chars), len(chars)))
        else:
            start = len(chars)
            _add_word(part, fitter, chars, gaps, breaks, repeats=repeats)
            words.append((start, len(chars), part))
    return Passage(tuple(chars), tuple(gaps), tuple(b for b in breaks if b.end), tuple(words))


def _add_word(
    word: str, fitter: Fitter, chars: list[str], gaps: list[float], breaks: list[Break], *, repeats: bool
) -> None:
    """Append a part without plain spaces, cut at soft hyphens and where UAX 14 allows."""
    for k, syllable in enumerate(word.split(SOFT_HYPHEN)):
        if k and chars:
            breaks.append(Break(len(chars), len(chars), hyphen=True))
        graphemes = characters(syllable)
        cuts = breaks_inside(syllable)
        kept = kept_breaks(syllable, cuts, graphemes, repeats=repeats) if cuts else frozenset()
        places = frozenset(cuts)
        for n, g in enumerate(graphemes):
            if n in places:
                breaks.append(Break(len(chars), len(chars), poor=n in kept))
            if g in SPACES:
                chars.append(SPACE)
                gaps.append(SPACES[g])
            elif g.strip("\u200c\u200d"):
                written = fitter.fit(g) or ("",)
                chars.extend(written)
                gaps.extend([0.0] * len(written))
