"""Text to characters: normal forms, graphemes, places where a word may break.

Normal form: NFC (Unicode Standard Annex 15). Graphemes: extended grapheme clusters (UAX 29), by `regex`. Breaks:
UAX 14, by `uniseg`, asked word by word and remembered, because it costs 0.1 ms a character.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache

import regex

from capture.errors import UsageError
from capture.labels import code_points

SOFT_HYPHEN = "\u00ad"
ZERO_WIDTH_SPACE = "\u200b"
NO_BREAK_SPACE = "\u00a0"
TAB = "\t"
PAGE_BREAK = "\f"
SPACE = " "

SPACES = {
    NO_BREAK_SPACE: 1.0,
    "\u2000": 1.0,
    "\u2001": 2.0,
    "\u2002": 1.0,
    "\u2003": 2.0,
    "\u2004": 0.8,
    "\u2005": 0.7,
    "\u2006": 0.5,
    "\u2007": 1.0,  # figure space
    "\u2008": 0.6,
    "\u2009": 0.6,  # thin space
    "\u200a": 0.3,
    "\u202f": 0.6,  # narrow no-break space
    "\u205f": 0.7,
    "\u3000": 2.0,
}
"""Spaces of other widths, in word gaps (common practice, no source)."""


_DROPPED = regex.compile(r"[\p{Cc}\p{Cf}\p{Cs}\p{Variation_Selector}--[\t\n\f\u00ad\u200b\u200c\u200d]]", regex.V1)
_GRAPHEMES = regex.compile(r"\X")


LONGEST_GRAPHEME = 64
"""Code points; Unicode's Stream-Safe Text Format (Standard Annex 15) has 30 marks in a row at most."""

REMEMBERED = 60
"""Characters of a word whose breaks are kept: words come again, what is longer is none."""

LOOKED_AT = 200
"""Graphemes of a word without spaces in which breaks are looked for at a time."""


def normal(text: str) -> str:
    r"""Return `text` in NFC with one kind of line end and without what nobody can write.

    Dropped: control characters, byte order marks, directional and variation marks. Kept: tabs, form feeds (a new page),
    soft hyphens, zero-width spaces.

    Raises
    ------
    UsageError
        If a letter bears more marks than any writing has.

    Examples
    --------
    >>> normal("cafe\u0301\r\nnoir\ufeff")
    'café\nnoir'
    """
    text = regex.sub(r"\r\n?|\u2028|\u0085|\v", "\n", text)
    text = text.replace("\u2029", "\n\n")
    text = unicodedata.normalize("NFC", _DROPPED.sub("", text))
    longest = max(map(len, _GRAPHEMES.findall(text)), default=0) if not text.isascii() else 0
    if longest > LONGEST_GRAPHEME:
        what = f"one character of it has {longest} code points, no writing puts more than {LONGEST_GRAPHEME} together"
        raise UsageError("text", what, "Take the marks away.")
    return text


def characters(text: str) -> list[str]:
    r"""Return the graphemes of a text that `normal` made.

    Examples
    --------
    >>> characters("ą́x")
    ['ą́', 'x']
    """
    return list(_GRAPHEMES.findall(text))


def character_name(char: str) -> str:
    """Return what to call a character in a message: itself, its number and its Unicode name."""
    names = " + ".join(unicodedata.name(c, "unnamed") for c in char)
    return f"'{char}' ({code_points(char)}, {names.lower()})"


def breaks_inside(word: str) -> tuple[int, ...]:
    """Return where a word may break (UAX 14), as indices into its graphemes; not its ends.

    Examples
    --------
    >>> breaks_inside("light-keeper")
    (6,)
    """
    if word.isalpha() and word.isascii():
        return ()
    if len(word) <= REMEMBERED:
        return _breaks_of_a_word(word)
    graphemes = _GRAPHEMES.findall(word)
    # time grows with the square of the length; between two stretches nothing breaks
    stretches = range(0, len(graphemes), LOOKED_AT)
    return tuple(at + k for k in stretches for at in _breaks("".join(graphemes[k : k + LOOKED_AT])))


def _breaks(word: str) -> tuple[int, ...]:
    from uniseg.linebreak import line_break_units  # here, because words of plain letters never need it

    at, out = 0, []
    for unit in line_break_units(word):
        at += len(_GRAPHEMES.findall(unit))
        out.append(at)
    return tuple(out[:-1])


_breaks_of_a_word = lru_cache(maxsize=65536)(_breaks)
