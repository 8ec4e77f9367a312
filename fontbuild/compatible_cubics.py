"""Cubic strokes for all variants of a letter at once, knot for knot at the same places of the letter.

All variants share one row of knots along the medoid's way. Each variant is its own least-squares Hermite spline over
that row, with one derivative at a smooth knot and two at a corner. Because knots and basis are shared, smoothness is
linear in the control points: any weighted mean of variants is as smooth as they are. The places of the samples along
the spline are improved by Gauss-Newton projection (Hoschek, "Intrinsic parametrization for approximation", Computer
Aided Geometric Design 5, 1988).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from fontbuild.dtw import STEPS, warps
from skeleton.geometry.arc_length import line_length, resample

TOLERANCE_MM = 0.03
"""How far the curve may lie from the traced line, root mean square; peaks may be twice that. About the noise of ink."""

OF_X_HEIGHT, TOLERANCE_STEP_MM = 0.01, 0.005
"""... in x-heights, where those are small: the fit took the sharper half of the turns of small writing for noise. Eight
joined hands with x-heights of 1.6 to 2.3 mm (UNIPEN train_r01_v07, donors cee and kar; Guyon et al., ICPR 1994), told
from their own words by pictures: .614 with 0.03 mm, .590 with 0.015 (standard error of the difference .010)."""

CORNER_DEG = 45.0
CORNER_ARM_MM = 0.25
"""A corner turns by more than `CORNER_DEG` between arms this long. The sharpest thirtieth of the turns of four writers'
letters (UNIPEN train_r01_v07, donors kai and art; Guyon et al., ICPR 1994; between steps of a quarter of a millimetre)
are .955 rad or more as written, .895 fitted with 60 degrees here and .941 with 45, in as many pieces."""

Floats = NDArray[np.float64]


def tolerance_of(x_height_mm: float) -> float:
    """Return how far curves may lie from the traced lines of a hand whose x-height is so large, both mm.

    In steps: one letter that is mended moves the x-height a little, and the others are to come out as they were.
    """
    return min(TOLERANCE_MM, TOLERANCE_STEP_MM * max(1, round(OF_X_HEIGHT * x_height_mm / TOLERANCE_STEP_MM)))


def _samples(stroke: Points) -> Points:
    return resample(stroke, int(np.clip(line_length(stroke) / 0.06, 24, 240)))


def turning(points: Points, *, arm_mm: float = CORNER_ARM_MM) -> Floats:
    """Return the turn, in degrees, at each of the equally spaced points, between arms of `arm_mm` (0 at the ends)."""
    step = line_length(points) / max(len(points) - 1, 1)
    arm = max(1, round(arm_mm / max(step, 1e-9)))
    out = np.zeros(len(points))
    if len(points) <= 2 * arm:
        return out
    before = points[arm:-arm] - points[: -2 * arm]
    after = points[2 * arm :] - points[arm:-arm]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    out[arm:-arm] = np.degrees(np.abs(np.arctan2(cross, (before * after).sum(axis=1))))
    return out


def corners(points: Points) -> list[int]:
    """Return the indices of corners in equally spaced points: peaks of the turn, sharper than the arms' own bend."""
    turn = turning(points)
    sharp = turning(points, arm_mm=CORNER_ARM_MM / 2)
    found: list[int] = []
    for i in np.argsort(-turn):
        if turn[i] < CORNER_DEG:
            break
        # A bow of the pen spreads its turn along the arms; a corner keeps nearly all of it within half an arm.
        near = slice(max(0, i - 3), i + 4)
        if sharp[near].max() > 0.75 * turn[i] and all(abs(i - j) > 4 for j in found):
            found.append(int(i))
    return sorted(found)


def _basis(u: Floats, knots: Floats, corner: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.intp], Floats]:
    """Return the design matrix, the piece of each sample, and the place 0 to 1 in it.

    Columns: positions at the knots, then derivatives: one for a smooth knot, left and right ones for a corner.
    """
    n = len(knots)
    piece = np.clip(np.searchsorted(knots, u, side="right") - 1, 0, n - 2)
    h = np.diff(knots)[piece]
    t = (u - knots[piece]) / h
    into, out_of = _derivative_columns(corner)
    matrix = np.zeros((len(u), n + int(out_of.max()) + 1))
    row = np.arange(len(u))
    matrix[row, piece] += (1 + 2 * t) * (1 - t) ** 2
    matrix[row, piece + 1] += t * t * (3 - 2 * t)
    matrix[row, n + out_of[piece]] += h * t * (1 - t) ** 2
    matrix[row, n + into[piece + 1]] += h * t * t * (t - 1)
    return matrix, piece, t


def _derivative_columns(corner: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return for each knot the columns of the derivative coming in and going out; the same one where it is smooth."""
    out_of = np.cumsum(1 + corner.astype(int)) - 1
    return out_of - corner, out_of


def _bezier(solution: Floats, knots: Floats, corner: NDArray[np.bool_]) -> Points:
    n = len(knots)
    into, out_of = _derivative_columns(corner)
    p, m = solution[:n], solution[n:]
    h = np.diff(knots)[:, None]
    out = np.empty((3 * (n - 1) + 1, 2))
    out[::3] = p
    out[1::3] = p[:-1] + h * m[out_of[:-1]] / 3
    out[2::3] = p[1:] - h * m[into[1:]] / 3
    return out


def _at(control: Points, piece: NDArray[np.intp], t: Floats) -> tuple[Points, Points, Points]:
    """Return place, first and second derivative by t."""
    a, b, c, d = (control[3 * piece + i] for i in range(4))
    t = t[:, None]
    place = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t**2 * c + t**3 * d
    first = 3 * ((1 - t) ** 2 * (b - a) + 2 * (1 - t) * t * (c - b) + t**2 * (d - c))
    second = 6 * ((1 - t) * (c - 2 * b + a) + t * (d - 2 * c + b))
    return place, first, second


def _fit_one(points: Points, u: Floats, knots: Floats, corner: NDArray[np.bool_]) -> tuple[Points, Floats, Floats]:
    """Return control points, improved places along the knots, and the distance left at each sample."""
    for _ in range(4):
        matrix, _, _ = _basis(u, knots, corner)
        weight = np.ones(len(u))
        weight[[0, -1]] = 30.0
        # A weak pull of every derivative towards the chord keeps pieces with few samples tame.
        n = len(knots)
        into, out_of = _derivative_columns(corner)
        pull = np.zeros((2 * (n - 1), matrix.shape[1]))
        piece = np.arange(n - 1)
        h = np.diff(knots)
        for rows, column in ((2 * piece, out_of[:-1]), (2 * piece + 1, into[1:])):
            pull[rows, n + column] = h
            pull[rows, piece + 1] = -1.0
            pull[rows, piece] = 1.0
        left = np.vstack([matrix * weight[:, None], 0.02 * pull])
        right = np.vstack([points * weight[:, None], np.zeros((len(pull), 2))])
        solution = np.asarray(np.linalg.lstsq(left, right, rcond=None)[0], float)
        control = _bezier(solution, knots, corner)
        _, at_piece, t = _basis(u, knots, corner)
        place, first, second = _at(control, at_piece, t)
        off = place - points
        slope = (first**2).sum(axis=1) + np.maximum((off * second).sum(axis=1), 0.0)
        step = (off * first).sum(axis=1) / np.maximum(slope, 1e-9)
        h_at = h[at_piece]
        u = np.clip(u - np.clip(step, -0.25, 0.25) * h_at, knots[0], knots[-1])
        u = np.maximum.accumulate(u)
        u[0], u[-1] = knots[0], knots[-1]
    _, at_piece, t = _basis(u, knots, corner)
    off = _at(control, at_piece, t)[0] - points
    control[0], control[-1] = points[0], points[-1]
    return control, u, np.hypot(off[:, 0], off[:, 1])


def _corresponding_corners(model: Points, others: Sequence[tuple[Points, Floats]]) -> tuple[list[int], list[Floats]]:
    """Return the medoid's corners that the others have too, and the others' places with those corners put together."""
    found = corners(model)
    kept: list[int] = []
    places = [u for _, u in others]
    spots = [(corners(points), u) for points, u in others]
    grid = np.linspace(0, 1, len(model))
    near = 1.5 * CORNER_ARM_MM / max(line_length(model), 1e-9)
    matches: list[list[int | None]] = []
    for c in found:
        row: list[int | None] = []
        for marks, u in spots:
            close = [m for m in marks if abs(u[m] - grid[c]) < max(near, 0.04)]
            row.append(min(close, key=lambda m: abs(u[m] - grid[c])) if close else None)
        if sum(m is not None for m in row) * 2 >= len(row):
            kept.append(c)
            matches.append(row)
    for k, u in enumerate(places):
        fixed = [(0.0, 0.0)]
        for c, row in zip(kept, matches, strict=True):
            m = row[k]
            if m is not None and u[m] > fixed[-1][0] + 0.02 and grid[c] > fixed[-1][1] + 0.02 and u[m] < 0.98:
                fixed.append((float(u[m]), float(grid[c])))
        fixed.append((1.0, 1.0))
        here, there = np.array(fixed).T
        places[k] = np.interp(u, here, there)
    return kept, places


def fit_compatible(strokes: Sequence[Points], *, medoid: int = 0, tolerance_mm: float = TOLERANCE_MM) -> list[Points]:
    """Return control points, the same number for every variant of a stroke, that correspond one to one.

    Parameters
    ----------
    strokes : sequence of ndarray of shape (n, 2)
        The same stroke as written in each variant, in mm, y up; all of more than one point, or all dots.
    medoid
        Index of the variant on which the others are warped.
    tolerance_mm
        Greatest root mean square distance of a piece from its line; a peak may reach twice that.

    Returns
    -------
    list of ndarray of shape (3 k + 1, 2)
        First and last control points are the ends of the strokes.
    """
    if any(line_length(s) <= 1e-6 for s in strokes):
        return [np.array(s[:1], float) for s in strokes]
    unit = max(line_length(strokes[medoid]) / 6, 0.5)  # brings directions and places to one scale for the warp
    samples = [_samples(s) for s in strokes]
    model = samples[medoid]
    centred = [(s - s.mean(axis=0)) / unit for s in strokes]
    others = [k for k in range(len(strokes)) if k != medoid]
    there = dict(zip(others, warps(centred[medoid], [centred[k] for k in others]), strict=True))
    places: list[Floats] = []
    for index, points in enumerate(samples):
        grid = np.linspace(0, 1, len(points))
        places.append(grid if index == medoid else np.interp(grid, there[index], np.linspace(0, 1, STEPS)))
    kept, places = _corresponding_corners(model, list(zip(samples, places, strict=True)))
    at_corner = [c / (len(model) - 1) for c in kept]
    knots = np.array([0.0, *at_corner, 1.0])
    corner = np.array([False, *([True] * len(kept)), False])
    most = int(np.clip(2 * max(line_length(s) for s in strokes), 4, 60)) + len(kept)
    while True:
        fits = [_fit_one(p, u, knots, corner) for p, u in zip(samples, places, strict=True)]
        worst = np.zeros(len(knots) - 1)
        for _, u, off in fits:
            piece = np.clip(np.searchsorted(knots, u, side="right") - 1, 0, len(knots) - 2)
            for k in range(len(worst)):
                mine = off[piece == k]
                if len(mine):
                    worst[k] = max(worst[k], np.sqrt((mine**2).mean()), mine.max() / 2)
        splittable = np.diff(knots) * line_length(model) > 0.25
        worst = np.where(splittable, worst, 0.0)
        bad = np.flatnonzero(worst > tolerance_mm)
        if len(bad) == 0 or len(knots) > most:
            return [control for control, _, _ in fits]
        added = (knots[bad] + knots[bad + 1]) / 2
        order = np.argsort(np.concatenate([knots, added]), kind="stable")
        knots = np.concatenate([knots, added])[order]
        corner = np.concatenate([corner, np.zeros(len(bad), bool)])[order]
