"""How alike two ways of writing a character are, whatever their size and place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from capture.units import Points
from skeleton.matching.shape_kernels import pairwise_distance, shape_in_boxes, shape_of_walks, shapes_of_walks

SAMPLES = 16
"""Points of equal arc length by which strokes are compared."""

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


def shape_with_marks_aside(strokes: Sequence[Points], first: int) -> Shape:
    """Return the shape of strokes, those from `first` on marks: in the middle, wherever they stand."""
    every = np.ascontiguousarray(np.concatenate(list(strokes)), np.float64)
    starts = np.cumsum([0, *map(len, strokes)])
    aside = np.arange(len(every)) >= starts[first]
    boxes = np.stack([[part.min(axis=0), part.max(axis=0)] for part in (every[~aside], every[aside])])
    return Shape(*shape_in_boxes(np.arange(len(every), dtype=np.int32), starts, every, SAMPLES, aside, boxes))


def shape_along(walks: tuple[NDArray[np.int32], NDArray[np.int64]], here: Points) -> Shape:
    """Return the shape of walks (`skeleton.states.state_graph.Walks`) from point to point of `here`, (n, 2)."""
    return Shape(*shape_of_walks(*walks, here, SAMPLES))


def shapes_of_readings(
    pack: tuple[NDArray[np.int32], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]], here: Points
) -> list[Shape]:
    """Return the shapes of several readings.

    Parameters
    ----------
    pack
        The readings' walks, as `skeleton.states.state_graph.Pack`.
    here
        Shape (n, 2): the points that the walks go through.
    """
    strokes, lengths, at = shapes_of_walks(*pack, here, SAMPLES)
    return [Shape(strokes[a:b], lengths[a:b]) for a, b in pairwise(at.tolist())]


def stroke_distance(a: Shape, b: Shape) -> float:
    """Return the mean distance between strokes of the same number, in sizes of the character, at most `OTHER_COUNT`."""
    return float(stroke_distances([a], [b])[0, 0])


def stroke_distances(a: Sequence[Shape], b: Sequence[Shape]) -> NDArray[np.float64]:
    """Return the disagreement of every shape of `a` with every one of `b`, shape (len(a), len(b))."""
    out: NDArray[np.float64] = pairwise_distance(*_end_to_end(a), *_end_to_end(b), OTHER_COUNT)
    return out


def _end_to_end(shapes: Sequence[Shape]) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Return the strokes of all shapes, their lengths, and where each shape starts, with the end of the last."""
    starts = np.cumsum([0, *(len(s.lengths) for s in shapes)])
    return np.concatenate([s.strokes for s in shapes]), np.concatenate([s.lengths for s in shapes]), starts


def undirected_distance(a: Shape, b: Shape) -> float:
    """Return the disagreement of two shapes whose strokes may be in any order and direction, see `stroke_distance`."""
    if len(a.strokes) != len(b.strokes):
        return OTHER_COUNT
    p, q = a.strokes[:, None], b.strokes[None]
    each = np.minimum(*(np.hypot(*np.moveaxis(x - q, -1, 0)).mean(axis=-1) for x in (p, p[:, :, ::-1])))
    i, j = linear_sum_assignment(each)
    weight = 0.5 * (a.lengths[i] + b.lengths[j]) + 0.25 / len(i)
    return float(min((each[i, j] * weight).sum() / weight.sum(), OTHER_COUNT))
