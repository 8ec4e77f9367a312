"""How alike two ways of writing a character are, whatever their size and place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from capture.units import Points
from skeleton.choice_kernels import how_unlike, shape_in_boxes, shape_of_walks

SAMPLES = 16
ALIKE = 0.1
"""Disagreement, in sizes of the character, from which two readings have nothing to say for each other."""

OTHER_COUNT = 0.3
"""Disagreement of readings with different numbers of strokes, in sizes of the character."""


@dataclass(frozen=True, eq=False)
class Shape:
    """Strokes at equal arc lengths, laid into a box of size 1."""

    strokes: NDArray[np.float64]
    """Shape (strokes, SAMPLES, 2), in writing order and direction."""

    lengths: NDArray[np.float64]
    """Shape (strokes,): share of the whole length."""


def shape_of(strokes: Sequence[Points]) -> Shape:
    """Return the shape of strokes given in any unit, y down."""
    every = np.ascontiguousarray(np.concatenate(list(strokes)), np.float64)
    starts = np.cumsum([0, *map(len, strokes)])
    return shape_along((np.arange(len(every), dtype=np.int32), starts), every)


def shape_apart(strokes: Sequence[Points], first: int) -> Shape:
    """Return the shape of strokes, those from `first` on marks: in the middle, wherever they stand."""
    every = np.ascontiguousarray(np.concatenate(list(strokes)), np.float64)
    starts = np.cumsum([0, *map(len, strokes)])
    aside = np.arange(len(every)) >= starts[first]
    boxes = np.stack([[part.min(axis=0), part.max(axis=0)] for part in (every[~aside], every[aside])])
    return Shape(*shape_in_boxes(np.arange(len(every), dtype=np.int32), starts, every, SAMPLES, aside, boxes))


def shape_along(walks: tuple[NDArray[np.int32], NDArray[np.int64]], here: Points) -> Shape:
    """Return the shape of walks (`skeleton.walk.Walks`) from point to point of `here`, (n, 2)."""
    return Shape(*shape_of_walks(*walks, here, SAMPLES))


def disagreement(a: Shape, b: Shape) -> float:
    """Return the mean distance between strokes of the same number, in sizes of the character, at most `OTHER_COUNT`."""
    return float(disagreements([a], [b])[0, 0])


def disagreements(a: Sequence[Shape], b: Sequence[Shape]) -> NDArray[np.float64]:
    """Return the disagreement of every shape of `a` with every one of `b`, shape (len(a), len(b))."""
    out: NDArray[np.float64] = how_unlike(*_end_to_end(a), *_end_to_end(b), OTHER_COUNT)
    return out


def _end_to_end(shapes: Sequence[Shape]) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Return the strokes of all shapes, their lengths, and where each shape starts, with the end of the last."""
    starts = np.cumsum([0, *(len(s.lengths) for s in shapes)])
    return np.concatenate([s.strokes for s in shapes]), np.concatenate([s.lengths for s in shapes]), starts


def unlike_in_ink(a: Shape, b: Shape) -> float:
    """Return the disagreement of two shapes whose strokes may be in any order and direction, see `disagreement`."""
    if len(a.strokes) != len(b.strokes):
        return OTHER_COUNT
    p, q = a.strokes[:, None], b.strokes[None]
    each = np.minimum(*(np.hypot(*np.moveaxis(x - q, -1, 0)).mean(axis=-1) for x in (p, p[:, :, ::-1])))
    i, j = linear_sum_assignment(each)
    weight = 0.5 * (a.lengths[i] + b.lengths[j]) + 0.25 / len(i)
    return float(min((each[i, j] * weight).sum() / weight.sum(), OTHER_COUNT))


def in_the_middle(shape: Callable[[int], Shape], odds: NDArray[np.float64]) -> int:
    """Return which of several readings is expected to be most like what was written (least Bayes risk).

    Readings that differ in the length of a hook share the odds of one way of writing; the likeliest single reading may
    be of another way. `shape` gives the shape of a reading; the unlikely ones are not asked for.
    """
    likely = np.flatnonzero(odds > 1e-3 * odds.max()).tolist()
    if len(likely) < 3:
        return int(np.argmax(odds))
    some = [shape(i) for i in likely]
    alike = np.maximum(1 - disagreements(some, some) / ALIKE, 0) @ odds[likely]
    return int(likely[int(np.argmax(alike))])
