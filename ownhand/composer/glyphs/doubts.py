"""Variants that are deformed: a gap in the bowl, a bar that lost its stem, a spike, a blot.

What the builder lets pass may still look broken in a line of text. A variant that is the only one of its form, and
that lies in more pieces, or has more spikes or blots, than any variant on which others agree, is left out while there
are others. Another form that is whole stays, and comes as often as it was written: it may be the writer's second one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from skeleton.geometry.arc_length import line_length, resample

Array = NDArray[np.float64]

STEP = 0.25
"""Pen widths between the points at which a line is looked at."""

SPIKE = (2.0, 5.5)
"""Pen widths of the way out and back of a spike; a stem written twice is longer."""

BACK = 0.4
"""Pen widths within which a line that comes back lies on itself: limbs at less than a fifth of a right angle."""

BLOT_WAY, BLOT_SIZE, BLOT_TURNS = 8.0, 2.5, 3 * np.pi
"""A blot: within a way of so many pen widths, in so small a room, a line turns by one and a half rounds or more."""

AGREEING = 2
"""Variants of one form that speak against one that stands alone."""


def broken(variants: Sequence[Glyph], forms: Sequence[Sequence[int]], pen_width: float) -> frozenset[int]:
    """Return which variants are kept out of the choice; those of a form that several share never are.

    Parameters
    ----------
    variants
        Of one character.
    forms
        Indices of variants that correspond point for point, form by form.
    pen_width
        Font units: lines no further apart than this touch.
    """
    alone = [form[0] for form in forms if len(form) == 1]
    agreed = [i for form in forms if len(form) >= AGREEING for i in form]
    if not alone or not agreed:
        return frozenset()
    out: set[int] = set()
    for count in (pieces, spikes, blots):
        most = max(count(variants[i], pen_width) for i in agreed)
        out |= {i for i in alone if count(variants[i], pen_width) > most}
    return frozenset(out)


def spikes(glyph: Glyph, pen_width: float) -> int:
    """Return how often a line goes out and comes back on itself within a short way."""
    step = STEP * pen_width
    found = 0
    for points in _evenly(glyph, step):
        tip = 1
        while tip < len(points) - 1:
            reach = _doubled(points, tip, BACK * pen_width)
            found += SPIKE[0] <= 2 * reach * STEP <= SPIKE[1]
            tip += max(1, reach)
    return found


def _doubled(points: Array, tip: int, within: float) -> int:
    """Return over how many points on either side of its tip a line lies on itself."""
    reach = 0
    while tip - reach > 0 and tip + reach < len(points) - 1:
        apart = float(np.hypot(*(points[tip - reach - 1] - points[tip + reach + 1])))
        if apart > within:
            break
        reach += 1
    return reach


def blots(glyph: Glyph, pen_width: float) -> int:
    """Return how often a line winds round and round within a few widths of the pen."""
    step = STEP * pen_width
    window = round(BLOT_WAY / STEP)
    found = 0
    for points in _evenly(glyph, step):
        way = np.diff(points, axis=0)
        angle = np.arctan2(way[:, 1], way[:, 0])
        turns = np.concatenate([[0.0], np.cumsum(np.abs((np.diff(angle) + np.pi) % (2 * np.pi) - np.pi))])
        i = 0
        while i < len(turns) - 1:
            j = min(i + window, len(turns) - 1)
            if turns[j] - turns[i] > BLOT_TURNS and np.ptp(points[i : j + 1], axis=0).max() < BLOT_SIZE * pen_width:
                found += 1
                i = j
            i += 1
    return found


def _evenly(glyph: Glyph, step: float) -> list[Array]:
    """Return the strokes as points `step` apart, those that are long enough to have a shape."""
    lines = [np.asarray(s, float) for s in sample_glyph(glyph)]
    return [resample(s, int(line_length(s) / step) + 2) for s in lines if line_length(s) > 4 * step]


def pieces(glyph: Glyph, pen_width: float) -> int:
    """Return in how many pieces the ink of a letter lies."""
    # loaded only where a font has such a variant: these take longer to load than a card to write
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    lines = [np.asarray(s, float) for s in sample_glyph(glyph)]
    if len(lines) < 2:
        return len(lines)
    owner = np.repeat(np.arange(len(lines)), [len(s) for s in lines])
    near = cKDTree(np.vstack(lines)).query_pairs(pen_width, output_type="ndarray")
    a, b = owner[near[:, 0]], owner[near[:, 1]]
    touching = coo_matrix((np.ones(len(a)), (a, b)), shape=(len(lines), len(lines)))
    return int(connected_components(touching, directed=False)[0])
