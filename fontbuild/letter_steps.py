"""How far letters of joined words stand from each other: from the middle of one's ink to the middle of the next one's.

Where one joined letter was cut from the next differs from word to word, and with it their boxes; their middles hardly
move. So the pairs that were written together tell how far apart the hand sets two letters, and the composer sets those
so that were not written beside each other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.joins import ENTRY, EXIT, next_in_word

LEAST_PAIRS = 20
"""Fewer than these tell nothing."""

MEET = 0.15
"""x-heights between the heights of exit and entry from which the two were not where letters met."""

STRAY = 2.5
"""Robust standard deviations from which a pair counts no more."""

USUAL, DIFFER = 1.2, 0.35
"""Share of the letters' spreads in their step, and its standard deviation from hand to hand, in ten writers (UNIPEN
train_r01_v07, donors kai and art; Guyon et al., ICPR 1994)."""


def middle_and_spread(strokes: Sequence[NDArray[np.float64]]) -> tuple[float, float]:
    """Return the mean and the standard deviation of x along the ink of sampled strokes, each of shape (n, 2)."""
    steps = [np.hypot(*np.diff(s, axis=0).T) for s in strokes if len(s) > 1]
    if not steps or sum(float(d.sum()) for d in steps) <= 0:
        return float(np.mean(np.concatenate(strokes)[:, 0])), 0.0
    length = np.concatenate(steps)
    x = np.concatenate([(s[1:, 0] + s[:-1, 0]) / 2 for s in strokes if len(s) > 1])
    middle = float(np.average(x, weights=length))
    return middle, float(np.sqrt(np.average((x - middle) ** 2, weights=length)))


def letter_steps(
    glyphs: Mapping[str, Sequence[Glyph]], in_words: Mapping[str, Sequence[Glyph]], *, x_height: float
) -> dict[str, float]:
    """Return how the steps between letters that were written together follow from their spreads.

    `step` + `step_share` times the spreads of both is the step, `step_sd` what is left, font units. Empty where too
    few were.

    Parameters
    ----------
    glyphs, in_words
        With the anchors of their joins.
    """
    known = {g.source: g for of in (glyphs, in_words) for group in of.values() for g in group if g.source and g.anchors}
    rows = []
    for key, one in known.items():
        two = known.get(next_in_word(key))
        if two is None or EXIT not in one.anchors or ENTRY not in two.anchors:
            continue
        if abs(one.anchors[EXIT][1] - two.anchors[ENTRY][1]) > MEET * x_height:
            continue
        (here, spread), (there, other) = (middle_and_spread(sample_glyph(g, per_piece=6)) for g in (one, two))
        rows.append((one.anchors[EXIT][0] - here + there - two.anchors[ENTRY][0], spread + other))
    return {name: round(v, 4 if name == "step_share" else 2) for name, v in steps_of(rows).items()}


def steps_of(rows: Sequence[tuple[float, float]]) -> dict[str, float]:
    """Return what `letter_steps` does of pairs' steps and the sums of their letters' spreads, in their unit."""
    if len(rows) < LEAST_PAIRS:
        return {}
    step, spreads = np.array(rows).T
    kept = np.ones(len(step), bool)
    for _ in range(3):
        x, y = spreads[kept] - spreads[kept].mean(), step[kept] - USUAL * spreads[kept]
        prior = float(np.var(y)) / DIFFER**2
        share = USUAL + float(x @ (y - y.mean())) / (float(x @ x) + prior)
        base = float(np.median(step[kept] - share * spreads[kept]))
        off = step - base - share * spreads
        sd = 1.4826 * float(np.median(np.abs(off)))
        kept = np.abs(off) <= STRAY * sd
    sd = float(np.std(off[kept]))
    return {"step": base, "step_share": share, "step_sd": sd}
