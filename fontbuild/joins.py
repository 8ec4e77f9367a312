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

from capture.limits import is_count
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

LIKELIER = 0.03
"""x-heights of height by which the end farthest to the right, and the first stroke, are likelier than others to be
where two letters meet."""


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


def next_in_word(key: str) -> str:
    """Return the id of the letter of running text that stands after another one in its line, '' for other ids.

    Examples
    --------
    >>> next_in_word("letter-1/1/3.7")
    'letter-1/1/3.8'
    """
    place, _, column = key.rpartition(".")
    return f"{place}.{int(column) + 1}" if is_count(column) else ""


def joining(attempts: Iterable[Attempt]) -> dict[str, float]:
    """Return how often the pen stays down between letters, by pair, by first letter and in all; see `JOINS`.

    Told by letters of running text that stand beside each other in a word. Where a hand joins now and lifts then, the
    share says so. Empty where no neighbours were read.
    """
    known = {key: name for key, name in ((a.id, a) for a in attempts if a.allograph in IN_TEXT)}
    seen: Counter[str] = Counter()
    joined: Counter[str] = Counter()
    for key, a in known.items():
        after = known.get(next_in_word(key))
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
    glyphs: Mapping[str, Sequence[Glyph]],
    in_words: Mapping[str, Sequence[Glyph]],
    ways: Mapping[str, str],
    *,
    x_height: float,
) -> tuple[dict[str, tuple[Glyph, ...]], dict[str, tuple[Glyph, ...]]]:
    """Return letters with the anchors of their joins, and standing where those meet.

    Parameters
    ----------
    in_words
        Letters that stand in words alone, see `fontbuild.font.Font`.
    ways
        By the id of the attempt that a glyph was written in: one of `WAYS`; others stay as they are.
    """
    known = {name: key for key, name in WAYS.items()}
    every = [g for letters in (glyphs, in_words) for group in letters.values() for g in group]
    joined = {g.source: g for g in every if ways.get(g.source) in known}
    leaves: dict[str, int] = {}
    begins: dict[str, int] = {}
    for key, g in joined.items():
        after = joined.get(next_in_word(key))
        if after is not None and known[ways[key]][1] and known[ways[after.source]][0]:
            leaves[key], begins[after.source] = _where_they_meet(g, after, x_height)

    def done(g: Glyph) -> Glyph:
        if g.source not in joined:
            return g
        return _attached(g, known[ways[g.source]], leaves.get(g.source), begins.get(g.source), x_height)

    one, other = ({c: tuple(map(done, group)) for c, group in letters.items()} for letters in (glyphs, in_words))
    return one, other


def _lines(glyph: Glyph, x_height: float) -> list[int]:
    """Return which strokes are no dots."""
    return [k for k, s in enumerate(glyph.strokes) if np.ptp(s, axis=0).max() > SMALL * x_height]


def _usual_end(glyph: Glyph, lines: Sequence[int]) -> int:
    """Return the stroke that ends farthest to the right: there the pen goes out, if nothing else tells."""
    return max(lines, key=lambda k: float(glyph.strokes[k][-1, 0]))


def _where_they_meet(one: Glyph, other: Glyph, x_height: float) -> tuple[int, int]:
    """Return the stroke of a letter that runs on into the next one, and that stroke of the next one.

    Both were cut at one point, so they end and begin at one height. A bar may reach farther to the right than the
    stem that went on, and a short piece may be where they met.
    """
    ends, begins = list(range(len(one.strokes))), list(range(len(other.strokes)))
    usual, first = _usual_end(one, _lines(one, x_height) or ends), (_lines(other, x_height) or begins)[0]

    def off(pair: tuple[int, int]) -> float:
        i, j = pair
        away = abs(float(one.strokes[i][-1, 1] - other.strokes[j][0, 1])) / x_height
        return away + LIKELIER * ((i != usual) + (j != first))

    return min(((i, j) for i in ends for j in begins), key=off)


def _attached(glyph: Glyph, way: tuple[bool, bool], leaves: int | None, begins: int | None, x_height: float) -> Glyph:
    lines = _lines(glyph, x_height)
    if not lines:
        return glyph
    before, after = way
    first = lines[0] if begins is None else begins
    if before:
        glyph = moved(glyph, -round(float(glyph.strokes[first][0, 0]), 2))
    anchors = dict(glyph.anchors)
    if before:
        anchors[ENTRY] = _point(glyph.strokes[first][0])
    if after:
        last = _usual_end(glyph, lines) if leaves is None else leaves
        anchors[EXIT] = _point(glyph.strokes[last][-1])
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
