"""Letters that were written joined: where the pen comes in and goes out, and how such letters stand beside each other.

A letter cut out of a joined word begins where the letter before it ended. Its place along the line is therefore not a
matter of white space: its `entry` stands at the pen's origin, its advance is where its `exit` is, so that the next
letter goes on there. Both are anchors of that name, from which OpenType's cursive attachment is made (OpenType 1.9,
GPOS lookup type 3).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from capture.units import Points
from fontbuild.geometry import moved
from fontbuild.glyph import Glyph
from skeleton.attempt import Attempt

ENTRY, EXIT = "entry", "exit"

WAYS = {(True, False): "joined before", (False, True): "joined after", (True, True): "joined"}
"""Name of the form of a letter that is joined to the one before it, to the one after it, or to both."""

APART = "apart"
"""Name of the form of a letter of running text that is joined to neither."""

IN_TEXT = frozenset((*WAYS.values(), APART))
"""Forms of letters that were written in running text, not each by itself in a cell."""

LIFTED = 0.16
"""x-heights of white between the boxes of letters where a hand that joins lifts its pen inside a word, if its copied
words do not tell."""

STEP = 0.6
"""x-heights from a letter's beginning to the next one's at least where the pen stays down: letters cut too short stand
no closer, their join is drawn over what is missing."""

SMALL = 0.25
"""x-heights up to which a stroke is a dot, wherever it was written."""


def way_of(before: bool, after: bool) -> str:
    """Return the name under which an attempt from running text keeps what it was joined to."""
    return WAYS.get((before, after), APART)


JOINS = "joins "
"""Beginning of the names under which a font's rhythm keeps how often the pen stays down between two letters: of a pair
('joins th'), after a letter ('joins t'), and in all ('joins '); 0 in all where it was read that a hand prints."""

LEAST_LETTERS = 30
"""Letters of running text from which on a hand that hardly joins them is known to print."""

TRUST = 2.0
"""A pair that was seen so often counts as much as what its first letter does elsewhere."""


def joining(attempts: Iterable[Attempt]) -> dict[str, float]:
    """Return how often the pen stays down between letters, by pair, by first letter and in all; see `JOINS`.

    Told by letters of running text that stand beside each other in a word. Where a hand joins now and lifts then, the
    share says so. Empty where no neighbours were read.
    """
    known = {key: name for key, name in ((a.id, a) for a in attempts if a.allograph in IN_TEXT)}
    seen: Counter[str] = Counter()
    joined: Counter[str] = Counter()
    for key, a in known.items():
        place, _, column = key.rpartition(".")
        after = known.get(f"{place}.{int(column) + 1}") if column.isdigit() else None
        if after is None or not (a.char.isalpha() and after.char.isalpha()):
            continue
        stays = a.allograph in (WAYS[False, True], WAYS[True, True])
        for name in ("", a.char, a.char + after.char):
            seen[name] += 1
            joined[name] += stays
    out: dict[str, float] = {}
    for name in sorted(seen, key=len):
        wider = out[JOINS + name[:-1]] if name and JOINS + name[:-1] in out else out.get(JOINS, 0.0)
        trust = TRUST if name else 0.0
        out[JOINS + name] = round((joined[name] + trust * wider) / (seen[name] + trust), 4)
    return out


def printing(attempts: Iterable[Attempt]) -> dict[str, float]:
    """Return that a hand never joins, as `joining` would say it; empty where too little running text was read."""
    return {JOINS: 0.0} if sum(a.allograph in IN_TEXT for a in attempts) >= LEAST_LETTERS else {}


def stays_down(rhythm: Mapping[str, float], first: str, second: str) -> float:
    """Return how likely the pen stays down between two letters, as `joining` tells; 0 where nothing is known."""
    for name in (first + second, first, ""):
        if JOINS + name in rhythm:
            return rhythm[JOINS + name]
    return 0.0


def attached(
    glyphs: Mapping[str, Sequence[Glyph]], ways: Mapping[str, str], *, x_height: float
) -> dict[str, tuple[Glyph, ...]]:
    """Return letters with the anchors of their joins, and standing where those meet.

    Parameters
    ----------
    ways
        By the id of the attempt that a glyph was written in: one of `WAYS`; others stay as they are.
    """
    return {
        char: tuple(_attached(g, ways.get(g.source, ""), x_height) for g in group) for char, group in glyphs.items()
    }


def _attached(glyph: Glyph, way: str, x_height: float) -> Glyph:
    known = {name: key for key, name in WAYS.items()}
    lines = [s for s in glyph.strokes if np.ptp(s, axis=0).max() > SMALL * x_height]
    if way not in known or not lines:
        return glyph
    before, after = known[way]
    if before:
        glyph = moved(glyph, -round(float(lines[0][0, 0]), 2))
        lines = [s for s in glyph.strokes if np.ptp(s, axis=0).max() > SMALL * x_height]
    anchors = dict(glyph.anchors)
    if before:
        anchors[ENTRY] = _point(lines[0][0])
    if after:
        anchors[EXIT] = _point(max((s[-1] for s in lines), key=lambda p: float(p[0])))
        glyph = replace(glyph, advance=anchors[EXIT][0])
    return replace(glyph, anchors=anchors)


def without_joined(
    kerning: Mapping[tuple[str, str], float], glyphs: Mapping[str, Sequence[Glyph]]
) -> dict[tuple[str, str], float]:
    """Return kerning without the pairs that are joined: what holds them together is the line between."""

    def usual(char: str, anchor: str) -> bool:
        return bool(glyphs.get(char)) and anchor in glyphs[char][0].anchors

    return {(a, b): k for (a, b), k in kerning.items() if not (usual(a, EXIT) and usual(b, ENTRY))}


def _point(p: Points) -> tuple[float, float]:
    return round(float(p[0]), 2), round(float(p[1]), 2)
