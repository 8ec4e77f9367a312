"""Centre lines drawn from pixels made true to the grey ink, all strokes of a character together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from capture.units import Points
from skeleton.graph import even_steps
from skeleton.ink_map import InkMap

STEP = 1 / 3
"""Pen widths between points: a bow of one pen width's radius strays 0.015 widths from its chords."""

ROUNDS = 12
THIRD = 1.0
"""Weight of squared third differences (px) against the ink, where a px of line weighs about 1."""

SECOND = 0.02
"""The same for second differences; no more than keeps points apart where nothing else does."""

CORNER = 0.6
"""Difference, px, from which the line may have a corner."""

STIFF = 300.0
"""How many times as stiff the line is in the first round."""

ROUNDS = 12
"""Most rounds of fitting."""

AGAIN = 8
"""Rounds for the other way round a narrow loop."""

NARROW = 1.1
"""Pen widths between the legs of a loop below which ink may hide which leg is which."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Refined:
    """A refined line. Frame: px of the working image."""

    line: Points
    """Shape (n, 2)."""

    width: Floats
    """Shape (n,): width of the pen along the line, px."""

    closed: bool = False
    """True when the line ends where it began; the first point is then repeated as the last."""


def refine(lines: Sequence[Points], ink: InkMap, *, to_ink: bool = True, smoothly: bool = True) -> list[Refined]:
    """Return the lines moved to where a round pen must have gone to leave this ink.

    The strokes of a character are fitted together (`skeleton.inking`), so that lines which cross, touch or run along
    each other share their ink, ends lie half a pen width inside it, and corners stay as sharp as the ink shows them.

    Parameters
    ----------
    lines
        Each of shape (n, 2), px of the working image; a dot has one point. They must lie within about half a pen
        width of the truth.
    to_ink
        With False the lines are smoothed but not moved to the ink.
    smoothly
        With False the lines follow the ink with all its noise.
    """
    if not lines:
        return []
    pen = ink.pen_px
    drawn = [even_steps(line, STEP * pen) if len(line) > 1 else np.array(line, float) for line in lines]
    if not to_ink:
        return [_closed(smooth(p, STIFF / 3) if smoothly else p, np.full(len(p), pen), pen) for p in drawn]
    stroke = np.repeat(np.arange(len(drawn)), [len(p) for p in drawn])
    points, width = _fit(np.concatenate(drawn), stroke, ink, smoothly=smoothly)
    return [_closed(points[stroke == i], width[stroke == i], pen) for i in range(len(drawn))]


def _closed(points: Points, width: Floats, pen: float) -> Refined:
    """Return the line, its ends made one where they all but meet."""
    if len(points) < 9 or np.hypot(*(points[-1] - points[0])) >= 0.25 * pen:
        return Refined(points, width)
    out = points.copy()
    out[0] = out[-1] = 0.5 * (points[0] + points[-1])
    return Refined(out, width, True)


def _fit(points: Points, stroke: NDArray[np.int64], ink: InkMap, *, smoothly: bool) -> tuple[Points, Floats]:
    """Return the points of all strokes fitted to the ink, and the width of the pen at each."""
    from skeleton.inking import fit, hairpins

    pen = ink.pen_px
    blur, full = _edge(ink)
    margin = pen + 3 * blur + 1
    x0, y0 = np.maximum(np.floor(points.min(axis=0) - margin), 0).astype(int)
    x1, y1 = np.ceil(points.max(axis=0) + margin).astype(int) + 1
    dark = np.ascontiguousarray(ink.darkness[y0:y1, x0:x1])
    third = THIRD if smoothly else 0.003 * THIRD

    origin = np.array([x0, y0], float)
    shape = np.array([third, SECOND if smoothly else 0.003 * SECOND, CORNER])

    def improve(p: Points, h: Floats, stiff: float, rounds: int) -> float:
        stiff = stiff if smoothly else 1.0
        return float(fit(dark, p, h, stroke, pen, blur, full, shape, stiff, rounds))

    p = points - origin
    h = np.full(len(p), 0.5 * pen)
    wanting = improve(p, h, STIFF, ROUNDS)
    # where a pen went out and back in one blot, either leg may be the left one: taken is what leaves less to explain
    for a, b in hairpins(p, stroke, NARROW * pen)[:4]:
        q, g = p.copy(), h.copy()
        q[a : b + 1], g[a : b + 1] = p[a : b + 1][::-1], h[a : b + 1][::-1]
        q[a] = q[b] = p[[a - 1, a, b, b + 1]].mean(axis=0)
        other = improve(q, g, STIFF / 10, AGAIN)
        if other < wanting:
            p, h, wanting = q, g, other
    return p + origin, 2 * h


def _edge(ink: InkMap) -> tuple[float, float]:
    """Return the blur of the ink's edge (standard deviation, px) and the darkness of full ink.

    An edge blurred by a Gaussian of width s is steepest, 1 / (s sqrt(2 pi)), where it crosses one half.
    """
    core = ink.darkness[ink.radius >= 0.4 * ink.pen_px]
    full = float(np.clip(np.median(core), 0.6, 1.1)) if len(core) else 0.95
    d = ink.darkness
    rim = ((ink.mask > 0) & (ink.radius < 1.2))[1:-1, 1:-1]
    if not rim.any():
        return 0.7, full
    slope = 0.5 * np.hypot(d[1:-1, 2:] - d[1:-1, :-2], d[2:, 1:-1] - d[:-2, 1:-1])[rim]
    blur = 0.4 * full / max(float(np.quantile(slope, 0.7)), 1e-3)
    # differences over two pixels blur by a box of that width: variance 1/3
    return float(np.clip(np.sqrt(max(blur * blur - 1 / 3, 0.0)), 0.5, 0.25 * ink.pen_px)), full


def smooth(line: Points, stiffness: float) -> Points:
    """Return the line of evenly spaced points that stays near `line` and changes its bend least (Whittaker 1923).

    Parameters
    ----------
    stiffness
        Weight of the squared third differences against the squared distances.
    """
    n = len(line)
    if n < 5:
        return line
    diag = np.array([-1.0, 3.0, -3.0, 1.0])
    band = np.zeros((4, n))
    for i in range(4):
        for j in range(i, 4):
            band[3 - (j - i), j : j + n - 3] += stiffness * diag[i] * diag[j]
    band[3] += 1.0
    out: Points = solveh_banded(band, line)
    return out
