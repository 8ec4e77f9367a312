"""How alike two ways of writing are: elastic matching of strokes, along the pen's way.

Dynamic time warping after Sakoe and Chiba, "Dynamic programming algorithm optimization for spoken word recognition",
IEEE Trans. ASSP 26 (1978), symmetric form, with a small price on every step that is not shared; features are place
and direction, as is usual for on-line handwriting (Tappert, IBM J. Res. Dev. 26, 1982).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from fontbuild.geometry import tangents
from skeleton.geometry.arc_length import resample

STEPS = 40
"""Points to a stroke in elastic matching."""

DIRECTION_WEIGHT = 0.25
"""x-heights that a right angle between directions costs, over the square root of two."""

DETOUR = 0.01
"""Price, in x-heights, of a step that only one of the two strokes takes."""

Floats = NDArray[np.float64]


def features(stroke: Points) -> Floats:
    """Return shape (STEPS, 4): place and weighted direction along a stroke whose unit is the x-height."""
    p = resample(stroke, STEPS)
    return np.hstack([p, DIRECTION_WEIGHT * tangents(p)])


def _tables(a: Floats, b: Floats) -> Floats:
    """Return the accumulated costs, shape (B, N + 1, N + 1), of B pairs at once, by antidiagonals."""
    n = a.shape[1]
    local = np.sqrt(((a[:, :, None, :] - b[:, None, :, :]) ** 2).sum(axis=3))
    table = np.full((len(a), n + 1, n + 1), np.inf)
    table[:, 0, 0] = 0.0
    for d in range(2, 2 * n + 1):
        i = np.arange(max(1, d - n), min(n, d - 1) + 1)
        j = d - i
        both = table[:, i - 1, j - 1] + 2 * local[:, i - 1, j - 1]
        one = np.minimum(table[:, i - 1, j], table[:, i, j - 1]) + local[:, i - 1, j - 1] + DETOUR
        table[:, i, j] = np.minimum(both, one)
    return table


def stroke_distances(a: Floats, b: Floats) -> Floats:
    """Return the mean distance along the best warp of B pairs of strokes, shape (B,), in x-heights.

    Parameters
    ----------
    a, b : ndarray of shape (B, STEPS, 4)
        As `features` gives them.
    """
    return np.asarray(_tables(a, b)[:, -1, -1] / (2 * a.shape[1]), float)


def warp(a: Points, b: Points) -> Floats:
    """Return, for `STEPS` equal steps along `a`, the corresponding fractions (0 to 1) of the way along `b`.

    The fractions rise strictly, from 0 to 1.
    """
    return warps(a, [b])[0]


def warps(a: Points, others: Sequence[Points]) -> list[Floats]:
    """Return the warps of one stroke to several others; see `warp`.

    a, others: each of shape (n, 2), any unit, in writing direction.
    """
    if not others:
        return []
    one = np.repeat(features(a)[None], len(others), axis=0)
    return [_way(table) for table in _tables(one, np.stack([features(b) for b in others]))]


def _way(table: Floats) -> Floats:
    """Return the cheapest way back through a table of accumulated costs, as fractions along the second stroke."""
    i = j = STEPS
    sums, counts = np.zeros(STEPS), np.zeros(STEPS)
    rows = table.tolist()
    while True:
        sums[i - 1] += j - 1
        counts[i - 1] += 1
        if i == 1 and j == 1:
            break
        steps = ((rows[i - 1][j - 1], i - 1, j - 1), (rows[i - 1][j], i - 1, j), (rows[i][j - 1], i, j - 1))
        _, i, j = min(steps)
    at = sums / counts / (STEPS - 1)
    smooth = np.convolve(np.pad(np.diff(at), 2, mode="edge"), np.ones(5) / 5, mode="valid")
    steps_along = np.maximum(smooth, 0.2 / (STEPS - 1))
    return np.asarray(np.concatenate([[0.0], np.cumsum(steps_along) / steps_along.sum()]), float)


def like(strokes: Sequence[Points], model: Sequence[Points]) -> list[Points]:
    """Return `strokes` moved, and scaled a little in x and y, to lie on `model` as well as may be.

    strokes, model: each stroke of shape (n, 2), one unit for all.
    """
    mine, theirs = (np.vstack([resample(s, STEPS) for s in group]) for group in (strokes, model))
    spread, aim = mine.std(axis=0), theirs.std(axis=0)
    scale = np.where((spread > 0.1) & (aim > 0.1), np.clip(aim / np.maximum(spread, 1e-9), 0.75, 1.33), 1.0)
    return [(s - mine.mean(axis=0)) * scale + theirs.mean(axis=0) for s in strokes]


def pairwise(letters: Sequence[Sequence[Points]]) -> Floats:
    """Return shape (n, n): elastic distances, in x-heights, between letters of the same number of strokes.

    Stroke is compared with stroke in writing order, in the direction it was written, so that another order or
    direction counts as another way of writing. Longer strokes weigh more.
    """
    n = len(letters)
    out = np.zeros((n, n))
    rows, columns = np.triu_indices(n, 1)
    if len(rows) == 0:
        return out
    total, weight = np.zeros(len(rows)), np.zeros(len(rows))
    pairs = list(zip(rows.tolist(), columns.tolist(), strict=True))
    fitted = [like(letters[j], letters[i]) for i, j in pairs]
    for k in range(len(letters[0])):
        a = np.stack([features(letters[i][k]) for i, _ in pairs])
        b = np.stack([features(f[k]) for f in fitted])
        heavy = 0.15 + np.linalg.norm(np.diff(a[:, :, :2], axis=1), axis=2).sum(axis=1)
        total += heavy * stroke_distances(a, b)
        weight += heavy
    out[rows, columns] = out[columns, rows] = total / weight
    return out
