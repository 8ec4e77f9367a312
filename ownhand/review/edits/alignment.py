"""Walking along the mended strokes of one attempt while following the lines of another.

Each line is followed from one end to the other: the Viterbi path (Viterbi 1967; the elastic matching of on-line
characters, Tappert 1982) says at each point which stroke is being written there, how far along, and which way. Where
the path jumps, the line is cut. Lengths are in x-heights, y up.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.arc_length import arc_lengths, points_at

Floats = NDArray[np.float64]

SPACING = 0.08
"""x-heights between the points that are matched."""

TURN_COST = 0.6
"""For a point written straight against the model's direction. Squared distances, in x-heights, count 20."""

JUMP_COST = 2.5
"""For going on elsewhere in the model, which cuts the line: under three points in the wrong place."""

SHORTEST = 0.15
"""x-heights: a piece shorter than this is not cut off, it stays with its neighbour."""

CORNER_WITHIN = 0.32
"""x-heights: a pen lifts at a corner, so a cut goes to one that is this near."""

CORNER = np.radians(40)
"""Turn, over two points on each side, that makes a corner."""


@dataclass(frozen=True, eq=False)
class Model:
    """The mended strokes as one list of points to walk along."""

    points: Points
    """Shape (n, 2), mm, y up."""

    tangents: Points
    """Direction of writing at each point, length 1; shape (n, 2)."""

    stroke: NDArray[np.int64]
    """Number of the stroke of each point; shape (n,)."""

    share: Floats
    """How far along its stroke each point lies, 0 to 1; shape (n,)."""


@dataclass(frozen=True)
class Piece:
    """A part of a line that is written as one stroke of the model, or as a part of it."""

    stroke: int
    """Number of the model's stroke."""

    place: float
    """How far along that stroke its middle lies, 0 to 1."""

    way: int
    """1: the model's way, -1: against it."""

    start: float
    end: float
    """Where on the line it lies, as shares of the line's length."""


def evenly(points: Points) -> Points:
    """Return the line with a point about every `SPACING`; at least three, unless it is a dot.

    points: shape (n, 2); the unit is the x-height.
    """
    if len(points) == 1:
        return points
    along = arc_lengths(points)
    if along[-1] < 1e-9:
        return points[:1]
    even = np.linspace(0, along[-1], max(3, round(float(along[-1]) / SPACING) + 1))
    return points_at(points, even)


def _tangents(points: Points) -> Points:
    if len(points) == 1:
        return np.zeros((1, 2))
    t = np.gradient(points, axis=0)
    return np.asarray(t / np.maximum(np.hypot(*t.T), 1e-9)[:, None], float)


def model_of(strokes: Sequence[Points]) -> Model:
    """Return the strokes, in order, as what is walked along.

    strokes: each of shape (n, 2), in x-heights.
    """
    even = [evenly(p) for p in strokes]
    return Model(
        np.vstack(even),
        np.vstack([_tangents(p) for p in even]),
        np.concatenate([np.full(len(p), k) for k, p in enumerate(even)]),
        np.concatenate([np.linspace(0, 1, len(p)) if len(p) > 1 else np.zeros(1) for p in even]),
    )


def follow(line: Points, model: Model) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return, for each point of `line`, the model point it belongs to and the way it is written there, +1 or -1.

    line: shape (n, 2), in x-heights. Both results have shape (n,).
    """
    n = len(model.points)
    near = 20.0 * ((line[:, None] - model.points[None]) ** 2).sum(axis=2)
    agree = _tangents(line) @ model.tangents.T
    cost = np.concatenate([near + TURN_COST * (1 - agree), near + TURN_COST * (1 + agree)], axis=1)
    index = np.arange(n)
    step = index[None, :] - index[:, None]
    same = model.stroke[:, None] == model.stroke[None, :]
    forward = np.where(same & (step >= 0) & (step <= 3), 0.15 * np.abs(step - 1.0), JUMP_COST)
    hop = np.full((2 * n, 2 * n), JUMP_COST)
    hop[:n, :n] = forward
    hop[n:, n:] = forward.T
    best, back = cost[0], np.zeros((len(line), 2 * n), np.int64)
    for i in range(1, len(line)):
        total = best[:, None] + hop
        back[i] = total.argmin(axis=0)
        best = total[back[i], np.arange(2 * n)] + cost[i]
    path = np.zeros(len(line), np.int64)
    path[-1] = int(best.argmin())
    for i in range(len(line) - 1, 0, -1):
        path[i - 1] = back[i, path[i]]
    return path % n, np.where(path < n, 1, -1)


def pieces_of(line: Points, model: Model) -> list[Piece]:
    """Return the pieces that `line`, evenly sampled, falls into, from its one end to its other.

    line: shape (n, 2), in x-heights.
    """
    if len(line) == 1:
        gap = np.hypot(*(model.points - line[0]).T)
        dots = np.array([np.count_nonzero(model.stroke == k) == 1 for k in model.stroke])
        i = int(np.argmin(np.where(dots, gap, gap + 0.5)))
        return [Piece(int(model.stroke[i]), float(model.share[i]), 1, 0.0, 1.0)]
    at, way = follow(line, model)
    jump = (model.stroke[at[1:]] != model.stroke[at[:-1]]) | (way[1:] != way[:-1])
    jump |= np.abs(at[1:] - at[:-1]) > 3
    edges = [0, *(np.flatnonzero(jump) + 1).tolist(), len(line)]
    runs = list(itertools.pairwise(edges))
    # A piece too short to be a stroke of its own goes to the longer of its neighbours.
    while len(runs) > 1:
        k = min(range(len(runs)), key=lambda r: runs[r][1] - runs[r][0])
        if (runs[k][1] - runs[k][0]) * SPACING >= SHORTEST:
            break
        j = k - 1 if k == len(runs) - 1 or (k and np.diff(runs[k - 1])[0] >= np.diff(runs[k + 1])[0]) else k + 1
        lo, hi = min(j, k), max(j, k)
        big = runs[j]
        span = slice(*big)
        at[slice(*runs[k])] = at[big[0] if j > k else big[1] - 1]
        way[slice(*runs[k])] = way[span][0]
        runs[lo : hi + 1] = [(runs[lo][0], runs[hi][1])]
    last = len(line) - 1
    cuts = [0.0, *(_corner_near(line, b) / last for _, b in runs[:-1]), 1.0]
    middles = [(a + b - 1) // 2 for a, b in runs]
    return [
        Piece(int(model.stroke[at[m]]), float(model.share[at[m]]), int(way[m]), start, end)
        for m, start, end in zip(middles, cuts[:-1], cuts[1:], strict=True)
    ]


def _corner_near(line: Points, i: int) -> float:
    """Return the sharpest corner within `CORNER_WITHIN` of the border before point `i`, else that border itself."""
    reach = round(CORNER_WITHIN / SPACING)
    near = np.arange(max(2, i - reach), min(len(line) - 2, i + reach))
    if len(near):
        a, b = line[near] - line[near - 2], line[near + 2] - line[near]
        angle = np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], (a * b).sum(axis=1)))
        if angle.max() > CORNER:
            return float(near[int(np.argmax(angle))])
    return i - 0.5
