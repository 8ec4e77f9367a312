"""Smooth lines through a few points, with corners where the pen turns.

Centripetal Catmull-Rom splines (Catmull & Rom 1974, A class of local interpolating splines; Yuksel, Schaefer & Keyser
2011, Parameterization and applications of Catmull-Rom curves): they pass through every point and, with this
parameter, never loop or cusp between two of them.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from capture.units import Points

STEP_X_HEIGHTS = 0.05
"""Distance of the samples along a line, in x-heights."""

_FINE = np.linspace(0.0, 1.0, 13)[1:]


def spline(knots: ArrayLike, *, closed: bool = False) -> Points:
    """Return a dense centripetal Catmull-Rom curve through `knots`, shape (n, 2).

    Parameters
    ----------
    knots
        Shape (n >= 1, 2). Two knots give a straight line.
    closed
        True if the curve returns to its first knot smoothly; the last knot must then repeat the first.
    """
    from skeleton.ductus.curve_kernels import spline_through

    p = np.asarray(knots, float)
    if len(p) < 3:
        return p
    before, after = (p[-2], p[1]) if closed else (2 * p[0] - p[1], 2 * p[-1] - p[-2])
    every: Points = spline_through(np.concatenate([before[None], p, after[None]]), _FINE)
    return every


def evenly(line: ArrayLike, *, step: float = STEP_X_HEIGHTS) -> Points:
    """Return points of `line` about `step` apart along it, both ends kept."""
    from skeleton.ductus.curve_kernels import in_even_steps

    every: Points = in_even_steps(np.ascontiguousarray(line, float), step)
    return every


def arc(cx: float, cy: float, rx: float, ry: float, start: float, end: float) -> Points:
    """Return knots on an ellipse, about 30 degrees apart, from angle `start` to `end`.

    Degrees from the positive x axis, counter-clockwise; `end` < `start` runs clockwise.
    """
    a = np.radians(np.linspace(start, end, max(2, round(abs(end - start) / 30) + 1)))
    return np.column_stack([cx + rx * np.cos(a), cy + ry * np.sin(a)])


def pen_line(knots: ArrayLike, corners: ArrayLike) -> Points:
    """Return the sampled line of one stroke: smooth through `knots`, broken at those marked in `corners`.

    Parameters
    ----------
    knots
        Shape (n >= 1, 2).
    corners
        Shape (n,), true where the pen turns sharply. The ends need no mark; a line that ends where it began is closed
        smoothly unless its first or last knot is marked.
    """
    p, sharp = np.asarray(knots, float), np.asarray(corners, bool)
    if len(p) == 1:
        return p.copy()
    inner = [i for i in range(1, len(p) - 1) if sharp[i]]
    closed = not inner and len(p) > 3 and not (sharp[0] or sharp[-1]) and bool(np.abs(p[0] - p[-1]).max() < 1e-6)
    breaks = [0, *inner, len(p) - 1]
    runs = [evenly(spline(p[a : b + 1], closed=closed)) for a, b in pairwise(breaks)]
    return runs[0] if len(runs) == 1 else np.vstack([runs[0], *(r[1:] for r in runs[1:])])
