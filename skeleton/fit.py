"""Curves for strokes: as few smooth cubic pieces as the tolerance allows, true corners kept.

After Schneider, "An algorithm for automatically fitting digitized curves" (Graphics Gems, 1990): least squares for the
handles of one piece, a few rounds of re-measuring the parameters, a split where the error is worst. Two things differ:
a piece is first tried over the whole stretch between two corners and split into equal halves of error, and the
tangent where pieces meet comes from the points on both sides, so that pieces join smoothly (G1).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from capture.units import Points

Vector = NDArray[np.float64]


def find_corners(points: Points, *, reach: float, angle_deg: float = 50.0) -> list[int]:
    """Return the indices of the points where a polyline truly turns.

    Parameters
    ----------
    points
        Shape (n, 2).
    reach
        How far to look on either side, in the unit of the points; about the pen's width.
    angle_deg
        Turn from which a bend is a corner.

    Examples
    --------
    >>> find_corners(np.array([[0.0, 0], [1, 0], [2, 0], [2, 1], [2, 2]]), reach=1.0)
    [2]
    """
    p = np.asarray(points, float)
    n = len(p)
    if n < 3:
        return []
    s = _lengths(p)
    if s[-1] <= 0:
        return []
    inner = np.flatnonzero((s > 0.35 * reach) & (s < s[-1] - 0.35 * reach))
    if not len(inner):
        return []
    here = p[inner]
    before = here - _at(p, s, np.maximum(s[inner] - reach, 0))
    after = _at(p, s, np.minimum(s[inner] + reach, s[-1])) - here
    size = np.hypot(*before.T) * np.hypot(*after.T)
    cos = (before * after).sum(axis=1) / np.maximum(size, 1e-12)
    turn = np.degrees(np.arccos(np.clip(cos, -1, 1)))
    # a bow of radius r turns by about reach / r; a corner keeps its turn when looked at from half as far
    near_before = here - _at(p, s, np.maximum(s[inner] - 0.4 * reach, 0))
    near_after = _at(p, s, np.minimum(s[inner] + 0.4 * reach, s[-1])) - here
    near_size = np.hypot(*near_before.T) * np.hypot(*near_after.T)
    near = (near_before * near_after).sum(axis=1) / np.maximum(near_size, 1e-12)
    near_turn = np.degrees(np.arccos(np.clip(near, -1, 1)))
    out: list[int] = []
    for k in np.argsort(-turn, kind="stable"):
        if turn[k] < angle_deg:
            break
        if near_turn[k] < 0.6 * turn[k]:
            continue
        if all(abs(s[inner[k]] - s[m]) > reach for m in out):
            out.append(int(inner[k]))
    return sorted(out)


def fit_curve(
    points: Points, *, within_mm: float, corners: Sequence[int] | None = None, corner_reach_mm: float = 0.5
) -> Points:
    """Return cubic Bezier pieces that pass within a distance of every point.

    Parameters
    ----------
    points
        Shape (n, 2), any unit (mm by the names); n = 1 is a dot.
    within_mm
        Largest distance allowed between a point and the curve.
    corners
        Indices where pieces meet at an angle; None: found by `find_corners` with `corner_reach_mm`.

    Returns
    -------
    ndarray
        Shape (3k + 1, 2): on-curve points with two handles between each pair; a dot is returned as it is, k = 0.

    Raises
    ------
    ValueError
        If `points` does not have shape (n >= 1, 2) or `within_mm` is not positive.
    """
    p = np.asarray(points, float)
    if p.ndim != 2 or p.shape[1] != 2 or len(p) < 1:
        raise ValueError(f"points must have shape (n >= 1, 2), got {p.shape}")
    if not within_mm > 0:
        raise ValueError(f"within_mm must be positive, got {within_mm}")
    found = find_corners(p, reach=corner_reach_mm) if corners is None else sorted(corners)
    keep = np.append(True, np.hypot(*np.diff(p, axis=0).T) > 1e-9) if len(p) > 1 else np.ones(1, bool)
    if keep.sum() < 2:
        return p[:1].copy()
    number = np.cumsum(keep) - 1
    p = p[keep]
    stops = sorted({0, len(p) - 1, *(int(number[c]) for c in found if 0 < number[c] < len(p) - 1)})
    pieces: list[Points] = []
    for a, b in pairwise(stops):
        part = p[a : b + 1]
        pieces += _fit(part, _end_tangent(part), _end_tangent(part[::-1]), within_mm)
    return np.concatenate([pieces[0][:1], *(c[1:] for c in pieces)])


def sample_curve(curve: Points, step: float) -> Points:
    """Return points along Bezier pieces, about `step` apart, every on-curve point included.

    Parameters
    ----------
    curve
        Shape (3k + 1, 2), as `fit_curve` gives it.
    """
    c = np.asarray(curve, float)
    if len(c) < 4:
        return c.copy()
    out = [c[:1]]
    for i in range(0, len(c) - 1, 3):
        piece = c[i : i + 4]
        fine = _bezier(piece, np.linspace(0, 1, 33))
        s = _lengths(fine)
        n = max(1, int(np.ceil(s[-1] / step)))
        t = np.interp(np.linspace(0, s[-1], n + 1), s, np.linspace(0, 1, 33)) if s[-1] > 0 else np.linspace(0, 1, n + 1)
        out.append(_bezier(piece, t)[1:])
    return np.concatenate(out)


def _lengths(p: Points) -> Vector:
    d = np.diff(p, axis=0)
    return np.concatenate([[0.0], np.cumsum(np.sqrt((d * d).sum(axis=1)))])


def _at(p: Points, s: Vector, where: Vector) -> Points:
    return np.stack([np.interp(where, s, p[:, 0]), np.interp(where, s, p[:, 1])], axis=1)


def _unit(v: Vector) -> Vector:
    size = float(np.hypot(v[0], v[1]))
    return v / size if size > 0 else np.array([1.0, 0.0])


def _end_tangent(p: Points) -> Vector:
    """Return the direction in which a polyline leaves its first point, from a parabola through its beginning."""
    s = _lengths(p)
    reach = min(s[-1], max(0.12 * s[-1], s[min(4, len(s) - 1)]))
    q = _at(p, s, np.array([0.0, 0.5 * reach, reach]))
    return _unit(-3 * q[0] + 4 * q[1] - q[2])


def _fit(p: Points, leave: Vector, arrive: Vector, within: float, depth: int = 0) -> list[Points]:
    """Return pieces for points between two corners; `leave` and `arrive` point into the stretch from its ends."""
    if len(p) == 2 or depth > 24:
        third = float(np.hypot(*(p[-1] - p[0]))) / 3
        return [np.array([p[0], p[0] + third * leave, p[-1] + third * arrive, p[-1]])]
    s = _lengths(p)
    u = s / s[-1]
    worst, split = np.inf, len(p) // 2
    for _ in range(5):
        c = _least_squares(p, u, leave, arrive)
        d2 = ((_bezier(c, u) - p) ** 2).sum(axis=1)
        split = int(np.argmax(d2))
        worst = float(np.sqrt(d2[split]))
        if worst <= within:
            return [c]
        if worst > 6 * within:
            break
        u = _newton(c, p, u)
    split = min(max(split, 1), len(p) - 2)
    # a split near an end makes a crumb: draw it towards the middle
    if min(s[split], s[-1] - s[split]) < 0.15 * s[-1]:
        split = int(np.clip(np.searchsorted(s, 0.5 * s[-1]), 1, len(p) - 2))
    k = 1
    while k < 3 and split - k > 0 and split + k < len(p) - 1:
        k += 1
    across = _unit(p[split + k if split + k < len(p) else -1] - p[max(split - k, 0)])
    return _fit(p[: split + 1], leave, -across, within, depth + 1) + _fit(p[split:], across, arrive, within, depth + 1)


def _bezier(c: Points, t: Vector) -> Points:
    t = t[:, None]
    m = 1 - t
    out: Points = m**3 * c[0] + 3 * m**2 * t * c[1] + 3 * m * t**2 * c[2] + t**3 * c[3]
    return out


def _least_squares(p: Points, u: Vector, leave: Vector, arrive: Vector) -> Points:
    """Return the piece with given ends and tangents nearest to the points at the parameters `u`."""
    b0, b1, b2, b3 = (1 - u) ** 3, 3 * u * (1 - u) ** 2, 3 * u**2 * (1 - u), u**3
    a1, a2 = b1[:, None] * leave, b2[:, None] * arrive
    rest = p - (b0 + b1)[:, None] * p[0] - (b2 + b3)[:, None] * p[-1]
    c11, c12, c22 = float((a1 * a1).sum()), float((a1 * a2).sum()), float((a2 * a2).sum())
    x1, x2 = float((a1 * rest).sum()), float((a2 * rest).sum())
    det = c11 * c22 - c12 * c12
    chord = float(np.hypot(*(p[-1] - p[0])))
    length = float(_lengths(p)[-1])
    if abs(det) > 1e-12 * max(c11 * c22, 1e-300):
        h1, h2 = (x1 * c22 - x2 * c12) / det, (x2 * c11 - x1 * c12) / det
    else:
        h1 = h2 = chord / 3
    # handles that point backwards or run wild make loops; a third of the way is always tame
    low = 1e-3 * length
    if not (low < h1 < 1.5 * length and low < h2 < 1.5 * length):
        h1 = h2 = length / 3
    return np.array([p[0], p[0] + h1 * leave, p[-1] + h2 * arrive, p[-1]])


def _newton(c: Points, p: Points, u: Vector) -> Vector:
    """Return parameters nearer to the feet of the points on the piece (one Newton step), in order."""
    d = _bezier(c, u) - p
    first = 3 * np.diff(c, axis=0)
    second = 2 * np.diff(first, axis=0)
    t = u[:, None]
    d1 = (1 - t) ** 2 * first[0] + 2 * (1 - t) * t * first[1] + t**2 * first[2]
    d2 = (1 - t) * second[0] + t * second[1]
    bottom = (d1 * d1).sum(axis=1) + (d * d2).sum(axis=1)
    step = np.where(np.abs(bottom) > 1e-12, (d * d1).sum(axis=1) / np.where(bottom == 0, 1, bottom), 0)
    new = np.clip(u - step, 0, 1)
    new[0], new[-1] = 0.0, 1.0
    out: Vector = np.maximum.accumulate(new)
    return out
