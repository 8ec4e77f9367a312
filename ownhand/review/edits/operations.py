"""What can be done to the strokes of an attempt: each a small function, strokes in, new strokes out.

Frame throughout: the cell's (mm, y up from the baseline). Strokes are numbered from 0 here, from 1 in what people read.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import gaussian_filter1d

from capture.units import Points
from skeleton.geometry.arc_length import arc_lengths, points_at
from skeleton.geometry.stroke import Stroke

Strokes = tuple[Stroke, ...]

STEP_MM = 0.08
"""Distance of the points of a redrawn stroke: under a quarter of a thin pen's line."""

SMOOTH_MM = 0.14
"""SD of the Gaussian that takes the tremble out of a redrawn stroke; a corner stays within a pen's width."""

DOT_MM = 0.25
"""A redrawn movement that stays within this is a dot."""

REACH_MM = 0.9
"""How far along the line a moved point takes its neighbours with it."""


class OperationError(ValueError):
    """The operation makes no sense on these strokes; the message says why, to a person."""


def _check(strokes: Sequence[Stroke], *numbers: int) -> None:
    for k in numbers:
        if not 0 <= k < len(strokes):
            raise OperationError(f"there is no stroke {k + 1}, the attempt has {len(strokes)}")


def turn(strokes: Strokes, k: int) -> Strokes:
    """Return the strokes with stroke `k` written from its other end."""
    _check(strokes, k)
    return (*strokes[:k], strokes[k].turned(), *strokes[k + 1 :])


def place(strokes: Strokes, k: int, to: int) -> Strokes:
    """Return the strokes with stroke `k` written as number `to`; the others keep their order."""
    _check(strokes, k, to)
    rest = [s for i, s in enumerate(strokes) if i != k]
    return (*rest[:to], strokes[k], *rest[to:])


def join(strokes: Strokes, first: int, second: int) -> Strokes:
    """Return the strokes with two of them made one movement.

    `first` keeps its direction; `second` is put to whichever end of it is nearest, turned round if that is nearer. The
    new stroke takes the earlier of the two places.

    Raises
    ------
    OperationError
        If both are the same stroke.
    """
    _check(strokes, first, second)
    if first == second:
        raise OperationError("a stroke cannot be joined to itself")
    a, b = strokes[first].points_mm, strokes[second].points_mm
    ways = [(a, b), (a, b[::-1]), (b, a), (b[::-1], a)]
    gaps = [float(np.hypot(*(one[-1] - other[0]))) for one, other in ways]
    one, other = ways[int(np.argmin(gaps))]
    if min(gaps) < 1e-6:
        other = other[1:]
    width = max(strokes[first].width_mm, strokes[second].width_mm)
    joined = Stroke(np.vstack([one, other]), width)
    rest = [s for i, s in enumerate(strokes) if i not in (first, second)]
    at = min(first, second)
    return (*rest[:at], joined, *rest[at:])


def nearest_on(points: Points, at: Points) -> tuple[int, float]:
    """Return the segment of a line that comes nearest to `at` (shape (2,)), and how far along it, 0 to 1."""
    if len(points) == 1:
        return 0, 0.0
    start, step = points[:-1], np.diff(points, axis=0)
    square = np.maximum((step**2).sum(axis=1), 1e-18)
    along = np.clip(((at - start) * step).sum(axis=1) / square, 0, 1)
    gap = np.hypot(*(start + along[:, None] * step - at).T)
    i = int(np.argmin(gap))
    return i, float(along[i])


def split(strokes: Strokes, k: int, at: Points) -> Strokes:
    """Return the strokes with stroke `k` cut in two at its point nearest to `at` (shape (2,)).

    Raises
    ------
    OperationError
        If the place is an end of the stroke.
    """
    _check(strokes, k)
    points, width = strokes[k].points_mm, strokes[k].width_mm
    i, along = nearest_on(points, np.asarray(at, float))
    if len(points) == 1 or (i == 0 and along <= 1e-9) or (i == len(points) - 2 and along >= 1 - 1e-9):
        raise OperationError("a stroke can only be split between its ends")
    cut = points[i] + along * (points[i + 1] - points[i])
    head = np.vstack([points[: i + 1], cut]) if along > 1e-9 else points[: i + 1]
    tail = np.vstack([cut, points[i + 1 :]]) if along < 1 - 1e-9 else points[i + 1 :]
    return (*strokes[:k], Stroke(head, width), Stroke(tail, width), *strokes[k + 1 :])


def delete(strokes: Strokes, k: int) -> Strokes:
    """Return the strokes without stroke `k`.

    Raises
    ------
    OperationError
        If it is the last stroke.
    """
    _check(strokes, k)
    if len(strokes) == 1:
        raise OperationError("the last stroke cannot be deleted; set the attempt aside instead")
    return (*strokes[:k], *strokes[k + 1 :])


def move(strokes: Strokes, k: int, by: Points) -> Strokes:
    """Return the strokes with stroke `k` moved by `by` (shape (2,), mm)."""
    _check(strokes, k)
    s = strokes[k]
    moved = Stroke(s.points_mm + np.asarray(by, float), s.width_mm, s.widths_mm, s.closed)
    return (*strokes[:k], moved, *strokes[k + 1 :])


def bend(strokes: Strokes, k: int, point: int, to: Points, *, reach_mm: float = REACH_MM) -> Strokes:
    """Return the strokes with one point of stroke `k` moved to `to`, its neighbours following, ever less.

    The pull fades with the distance along the line as a raised cosine, nil at `reach_mm`.

    Raises
    ------
    OperationError
        If the stroke has no such point.
    """
    _check(strokes, k)
    s = strokes[k]
    if not 0 <= point < len(s.points_mm):
        raise OperationError(f"stroke {k + 1} has no point {point + 1}")
    along = arc_lengths(s.points_mm)
    away = np.abs(along - along[point])
    if s.closed:
        away = np.minimum(away, along[-1] - away)
    pull = np.where(away < reach_mm, 0.5 + 0.5 * np.cos(np.pi * away / reach_mm), 0.0)
    moved = s.points_mm + pull[:, None] * (np.asarray(to, float) - s.points_mm[point])
    return (*strokes[:k], Stroke(moved, s.width_mm, s.widths_mm, s.closed), *strokes[k + 1 :])


def drawn(samples: Points, *, width_mm: float = 0.0) -> Stroke:
    """Return the stroke that a pointer drew: evenly spaced, its tremble smoothed away, its two ends where they were."""
    points = np.asarray(samples, float)
    steps = np.hypot(*np.diff(points, axis=0).T) if len(points) > 1 else np.zeros(0)
    points = points[np.concatenate([[True], steps > 1e-6])]
    if float(np.ptp(points, axis=0).max()) < DOT_MM:
        return Stroke(points.mean(axis=0)[None], width_mm)
    along = arc_lengths(points)
    n = max(2, min(1500, round(float(along[-1]) / STEP_MM) + 1))
    even = np.linspace(0, along[-1], n)
    line = points_at(points, even)
    sigma = SMOOTH_MM / (float(along[-1]) / (n - 1))
    # Mirrored through the end point, the smoothed line still begins and ends where the pointer did.
    pad = min(n - 1, int(4 * sigma) + 1)
    before = 2 * line[0] - line[pad:0:-1]
    after = 2 * line[-1] - line[-2 : -pad - 2 : -1]
    smooth = gaussian_filter1d(np.vstack([before, line, after]), sigma, axis=0)[pad : pad + n]
    smooth[0], smooth[-1] = line[0], line[-1]
    return Stroke(smooth, width_mm)


def redraw(strokes: Strokes, k: int | None, samples: Points) -> Strokes:
    """Return the strokes with stroke `k` replaced by what a pointer drew; None: with that added as the last."""
    if k is None:
        width = strokes[-1].width_mm if strokes else 0.0
        return (*strokes, drawn(samples, width_mm=width))
    _check(strokes, k)
    return (*strokes[:k], drawn(samples, width_mm=strokes[k].width_mm), *strokes[k + 1 :])
