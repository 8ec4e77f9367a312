"""The white where a hand that joins lifts its pen inside a word, so that words come out as wide as it writes them.

A joined pair stands where its line takes it, and two letters that were written alone stand by their white. What is
left is the gap beside a letter that was written joined, and where it is known what the hand leaves where it lifts, that
to which a line leads on: the words' widths tell it, as far as such gaps are in them
(empirical Bayes: Efron and Morris, "Stein's estimation rule and its competitors", J. Amer. Statist. Assoc. 68, 1973).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fontbuild.geometry import glyph_bounds
from fontbuild.glyph import Glyph
from fontbuild.joins import ENTRY, EXIT, LIFTED, STEP, WAYS, stays_down
from fontbuild.spacing import STRAY

SPREAD = 0.12
"""x-heights: standard deviation of this gap from hand to hand; ours, no source."""


@dataclass(frozen=True)
class _Form:
    """Mean figures of a character's glyphs that were joined alike, font units."""

    width: float
    before: float
    """From the pen's origin, the entry if there is one, to the left of its box."""

    after: float
    """From the right of its box to where the next letter's origin stands."""

    written: bool
    """False where no glyph was joined in this way, and the figures are those of all."""


def lifted_gap(
    glyphs: Mapping[str, Sequence[Glyph]],
    words: Sequence[tuple[str, float]],
    kerning: Mapping[tuple[str, str], float],
    rhythm: Mapping[str, float],
    *,
    x_height: float,
) -> float:
    """Return the gap between the boxes of letters' lines where the pen is lifted beside a joined letter.

    Font units, as everything here.

    Parameters
    ----------
    glyphs
        By character, with the anchors of their joins.
    words
        Words and their width from the first to the last line.
    rhythm
        How often the pen stays down (`fontbuild.joins.JOINS`). Where it holds what the hand leaves where it lifts
        (`fontbuild.letters_on_lines`), the gap is that of letters to which a line leads on.
    """
    forms = {c: _forms(group, x_height) for c, group in glyphs.items() if any(g.strokes for g in group)}
    rows = []
    for word, wide in words:
        if len(word) < 2 or not all(c in forms for c in word):
            continue
        known, lifted = _expected(word, forms, kerning, rhythm)
        rows.append((wide - known, lifted, len(word) - 1))
    if not rows:
        return LIFTED * x_height
    left, lifted, gaps = np.array(rows).T
    # each gap scatters by as much, so a word's width does by the root of its gaps
    x, y = lifted / np.sqrt(gaps), (left - LIFTED * x_height * lifted) / np.sqrt(gaps)
    middle = float(np.median(y))
    most = STRAY * 1.4826 * float(np.median(np.abs(y - middle)))
    y = np.clip(y, middle - most, middle + most)
    noise = max(float(np.var(y)), 1e-9)
    more = float(x @ y) / (float(x @ x) + noise / (SPREAD * x_height) ** 2)
    return LIFTED * x_height + more


def _forms(group: Sequence[Glyph], x_height: float) -> dict[tuple[bool, bool], _Form]:
    """Return the forms by whether they were joined before and after; of a way that is missing, the mean of all."""
    rows: dict[tuple[bool, bool], list[tuple[float, float, float]]] = {}
    for g in (g for g in group if g.strokes):
        left, _, right, _ = glyph_bounds(g)
        ahead = max(g.anchors[EXIT][0], STEP * x_height) if EXIT in g.anchors else g.advance
        rows.setdefault((ENTRY in g.anchors, EXIT in g.anchors), []).append((right - left, left, ahead - right))
    every = [row for own in rows.values() for row in own]
    out = {}
    for way in (*WAYS, (False, False)):
        width, before, after = np.mean(rows.get(way, every), axis=0).tolist()
        out[way] = _Form(width, before, after, way in rows)
    return out


def _expected(
    word: str,
    forms: Mapping[str, Mapping[tuple[bool, bool], _Form]],
    kerning: Mapping[tuple[str, str], float],
    rhythm: Mapping[str, float],
) -> tuple[float, float]:
    """Return how wide a word is on the average without its lifted gaps, and how many of these it has."""
    stays = [0.0, *(stays_down(rhythm, a, b) for a, b in pairwise(word)), 0.0]
    known = lifted = 0.0
    for k, char in enumerate(word):
        for way, form in forms[char].items():
            known += _chance(stays[k], way[0]) * _chance(stays[k + 1], way[1]) * form.width
    for k, pair in enumerate(pairwise(word)):
        for (before, held, after), chance in _ways_of(stays[k : k + 3]):
            one, two = forms[pair[0]][before, held], forms[pair[1]][held, after]
            if held and one.written and two.written:
                known += chance * (one.after + two.before)
            elif (before or after) and not held and "pen_up_gap" in rhythm:
                known += chance * rhythm["pen_up_gap"]
            elif before or held or after:
                lifted += chance
            else:
                known += chance * (one.after + kerning.get(pair, 0.0) + two.before)
    return known, lifted


def _ways_of(stays: Sequence[float]) -> list[tuple[tuple[bool, bool, bool], float]]:
    """Return every way in which the pen stays down, or not, before, between and after two letters, with its chance."""
    ways = [(a, b, c) for a in (False, True) for b in (False, True) for c in (False, True)]
    return [(way, float(np.prod([_chance(p, on) for p, on in zip(stays, way, strict=True)]))) for way in ways]


def _chance(share: float, on: bool) -> float:
    return share if on else 1.0 - share
