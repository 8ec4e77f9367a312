"""What a font has for the graphemes of a text: characters, stand-ins, letters put together; and what it lacks."""

from __future__ import annotations

import shlex
import unicodedata
from collections import Counter
from collections.abc import Callable, Container
from dataclasses import dataclass

from capture.errors import UsageError
from ownhand.composer.text.characters import character_name, characters

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
        plain = unicodedata.normalize("NFC", unicodedata.normalize("NFKC", bare))
        # a fraction is taken apart into figures and a stroke of its own (U+2044), which few hands have
        options = (*STAND_INS.get(bare, ()), plain, plain.replace("⁄", "/"))
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
