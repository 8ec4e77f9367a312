"""Text to characters that the font has: normal forms, graphemes, replacements, places where a line may break.

Normal form: NFC (Unicode Standard Annex 15). Graphemes: extended grapheme clusters (UAX 29), by `regex`. Breaks:
UAX 14, by `uniseg`, asked word by word and remembered, because it costs 0.1 ms a character.
"""

from __future__ import annotations

import shlex
import unicodedata
from collections import Counter
from collections.abc import Callable, Container
from dataclasses import dataclass
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

STAND_INS: dict[str, tuple[str, ...]] = {
    "‘": ("'", "’"),
    "’": ("'", "‘"),
    "‚": (",", "'"),
    "‛": ("‘", "'"),
    "ʼ": ("’", "'"),
    "“": ('"', "”", "''"),
    "”": ('"', "“", "''"),
    "„": ('"', ",,", "“"),
    "‟": ("“", '"'),
    "«": ("„", "“", '"'),
    "»": ("“", "”", '"'),
    "‹": ("‘", "'"),
    "›": ("’", "'"),
    "'": ("’", "‘"),
    '"': ("”", "“", "''"),
    "–": ("—", "-"),
    "—": ("–", "-"),
    "―": ("—", "–", "-"),
    "‐": ("-",),
    "‑": ("-",),
    "‒": ("–", "-"),
    "−": ("–", "-"),
    "-": ("‐", "–"),
    "…": ("...",),
    "′": ("'", "’"),
    "″": ('"', "”"),
    "•": ("·", "–", "-"),
    "·": ("•", "."),
    "×": ("x",),
    "⁄": ("/",),
    "ﬁ": ("fi",),
    "ﬂ": ("fl",),
    "ﬀ": ("ff",),
    "ﬃ": ("ffi",),
    "ﬄ": ("ffl",),
    "ẞ": ("SS",),
}
"""What may stand for a mark that the font lacks, in order of preference; every use is reported."""

_DROPPED = regex.compile(r"[\p{Cc}\p{Cf}\p{Cs}\p{Variation_Selector}--[\t\n\f\u00ad\u200b\u200c\u200d]]", regex.V1)
_OPENING = regex.compile(r"[\p{Ps}\p{Pi}¿¡]+")
_CLOSING = regex.compile(r"[\p{Pe}\p{Pf}!?:;%]+[\p{P}]*")
_PARTS = regex.compile(r"[ \n\t\f\u200b]|[^ \n\t\f\u200b]+")
_GRAPHEMES = regex.compile(r"\X")
_GROUPED = regex.compile(r"(?<!\d)(?<!\d )\d{1,3}(?: \d{3}){1,4}(?! ?\d)")
"""A number in groups of three figures (SI Brochure, 9th edition, 5.4.4); more groups than any number has are a list."""


LONGEST_GRAPHEME = 64
"""Code points; Unicode's Stream-Safe Text Format (Standard Annex 15) has 30 marks in a row at most."""

REMEMBERED = 60
"""Characters of a word whose breaks are kept: words come again, what is longer is none."""

LOOKED_AT = 200
"""Graphemes of a word without spaces in which breaks are looked for at a time."""


@dataclass(frozen=True)
class Notice:
    """Something about the text or the page that its maker should know; never a reason to stop."""

    kind: str
    """'missing', 'replaced', 'composed', 'direction', 'smaller', 'broken word', 'squeezed', 'meeting', 'unfilled' or
    'no box'."""

    subject: str
    detail: str
    count: int = 1
    size_mm: float | None = None
    """Of what was written 'smaller': its x-height."""

    def __str__(self) -> str:
        times = f" ({self.count} times)" if self.count > 1 else ""
        return f"{self.subject}: {self.detail}{times}"


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

MOST_COMPOSED = 300
"""Different letters of one text that may be put together of others; no language has as many."""

RIGHT_TO_LEFT = frozenset({"R", "AL"})
"""Bidirectional classes of letters that run from right to left (UAX #9)."""

MOST_NAMED = 50
"""Missing characters that a message tells to add together; where there are more, each alone."""


class Fitter:
    """Finds, for each grapheme, the characters of one font that write it.

    Parameters
    ----------
    has
        The characters of the font.
    make
        Called with a letter and its marks that the font lacks: makes the letter of the font's own parts, and tells
        whether it could; the font has it from then on.

    Attributes
    ----------
    missing
        Characters that the font lacks and nothing stands for, with their counts.
    replaced
        Pairs (asked for, written), with their counts.
    composed
        Letters put together of the font's own base and marks, with their counts.
    from_right
        Characters of scripts written from right to left, with their counts: they are set as they come.
    """

    def __init__(self, has: Container[str], make: Callable[[str], bool] | None = None) -> None:
        self._has = has
        self._make = make
        self.missing: Counter[str] = Counter()
        self.replaced: Counter[tuple[str, str]] = Counter()
        self.composed: Counter[str] = Counter()
        self.from_right: Counter[str] = Counter()

    def fit(self, char: str) -> tuple[str, ...]:
        """Return the font's characters for a grapheme; empty when there are none (counted in `missing`).

        Raises
        ------
        UsageError
            If more letters would have to be put together than any language has.
        """
        if unicodedata.bidirectional(char[0]) in RIGHT_TO_LEFT:
            self.from_right[char] += 1
        if char in self._has:
            return (char,)
        bare = char.replace("\u200c", "").replace("\u200d", "")
        if not bare:
            return ()
        if bare in self._has:
            return (bare,)
        if self._make is not None and _marked(bare):
            if len(self.composed) >= MOST_COMPOSED and bare not in self.composed:
                what = f"more than {MOST_COMPOSED} different letters of it would have to be put together of others"
                raise UsageError("text", what, "Split the text, or take marks away.")
            if self._make(bare):
                self.composed[bare] += 1
                return (bare,)
        options = (*STAND_INS.get(bare, ()), unicodedata.normalize("NFC", unicodedata.normalize("NFKC", bare)))
        for option in options:
            if option != bare and option and all(c in self._has for c in characters(option)):
                self.replaced[bare, option] += 1
                return tuple(characters(option))
        self.missing[bare] += 1
        return ()

    def notices(self) -> list[Notice]:
        """Return what was replaced and what was missing, the most frequent first."""
        out = [
            Notice("replaced", character_name(asked), f"the hand lacks it, written as '{written}'", n)
            for (asked, written), n in self.replaced.most_common()
        ]
        out += [
            Notice("composed", character_name(char), "put together of the hand's own letter and marks", n)
            for char, n in self.composed.most_common()
        ]
        if self.from_right:
            (first, _), *_ = self.from_right.most_common(1)
            why = "of a script written from right to left: its words stand the wrong way round"
            out.append(Notice("direction", character_name(first), why, self.from_right.total()))
        every = "".join(sorted(self.missing)) if len(self.missing) <= MOST_NAMED else ""
        out += [
            Notice(
                "missing",
                character_name(char),
                "the hand lacks it, a gap is left; add it with: ownhand sheet HAND --characters "
                + shlex.quote(every or char),
                n,
            )
            for char, n in self.missing.most_common()
        ]
        return out


def _marked(char: str) -> bool:
    return any(unicodedata.combining(c) for c in unicodedata.normalize("NFD", char))


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
