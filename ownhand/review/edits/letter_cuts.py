"""Letters of one word, cut apart in another place: what belongs to a neighbour is passed on to it.

Frames: every letter's own cell (mm, y up from its baseline). Where a cell stands on the page its picture tells.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from capture.limits import is_count
from capture.units import Points
from ownhand.hands.captures import InkPicture
from ownhand.review.edits.operations import OperationError, Strokes
from skeleton.geometry.stroke import Stroke

BESIDE = {"before": -1, "next": 1}
"""Names of the neighbours, and how much further along the line they stand."""

MEETS_MM = 0.25
"""What is passed on becomes one stroke with a neighbour's that begins or ends so near: on a line that slopes every
letter is kept level on a baseline of its own, so that the two ends of one line part by up to this."""


def neighbour_of(key: str, to: str) -> str:
    """Return the id that the letter before or next to an attempt has, if there is one.

    Examples
    --------
    >>> neighbour_of("letter-1/1/3.7", "next")
    'letter-1/1/3.8'
    """
    place, _, column = key.rpartition(".")
    return f"{place}.{int(column) + BESIDE[to]}" if place and is_count(column) else ""


def moved_frame(one: InkPicture | None, other: InkPicture | None) -> Points | None:
    """Return what is added to a point in one letter's cell so that it lies in the other's, shape (2,).

    None where it is not known how they stand to each other: they were written in cells, or read before this was kept.
    """
    if one is None or other is None or one.place_mm is None or other.place_mm is None:
        return None
    (x, y), (x_other, y_other) = one.place_mm, other.place_mm
    return np.array([x - x_other, y_other - y])


def passed_on(strokes: Strokes, k: int, receiving: Strokes, by: Points) -> tuple[Strokes, Strokes]:
    """Return the strokes of both letters after stroke `k` of the one was passed on to the other.

    Where it ends as one of the other's begins, or begins as that ends, they become one stroke. Otherwise it is written
    first if it lies left of all that is there, else last.

    Raises
    ------
    OperationError
        If there is no such stroke, or no other would stay.
    """
    if not 0 <= k < len(strokes):
        raise OperationError(f"there is no stroke {k + 1}, the attempt has {len(strokes)}")
    if len(strokes) == 1:
        raise OperationError("the last stroke cannot be passed on; set the attempt aside instead")
    given = dataclasses.replace(strokes[k], points_mm=strokes[k].points_mm + by)
    left = (*strokes[:k], *strokes[k + 1 :])
    near = [(_apart(given, own), i, _one(given, own)) for i, own in enumerate(receiving)]
    near += [(_apart(own, given), i, _one(own, given)) for i, own in enumerate(receiving)]
    gap, i, one = min(near, key=lambda found: found[0])
    if gap <= MEETS_MM:
        return left, (*receiving[:i], one, *receiving[i + 1 :])
    middle = float(given.points_mm[:, 0].mean())
    first = all(middle < float(s.points_mm[:, 0].mean()) for s in receiving)
    return left, ((given, *receiving) if first else (*receiving, given))


def meeting(first: Strokes, second: Strokes) -> tuple[int, int] | None:
    """Return the numbers of the stroke of the one that runs on, and of the other's that it becomes; None without any.

    Both in one frame, mm. Of several that meet, the two that come nearest.
    """
    near = [(_apart(a, b), k, i) for k, a in enumerate(first) for i, b in enumerate(second)]
    gap, k, i = min(near, default=(np.inf, 0, 0))
    return (k, i) if gap <= MEETS_MM else None


def _apart(one: Stroke, other: Stroke) -> float:
    """Return how far the end of the one is from the beginning of the other, mm."""
    return float(np.hypot(*(one.points_mm[-1] - other.points_mm[0])))


def _one(first: Stroke, second: Stroke) -> Stroke:
    return Stroke(run_on(first.points_mm, second.points_mm), max(first.width_mm, second.width_mm))


def run_on(one: Points, other: Points) -> Points:
    """Return two lines that nearly meet as one, (n, 2): the end of the one and the begin of the other half-way between.

    Examples
    --------
    >>> run_on(np.array([[0.0, 0.0], [1.0, 0.0]]), np.array([[1.0, 0.2], [2.0, 0.2]])).tolist()
    [[0.0, 0.0], [1.0, 0.1], [2.0, 0.2]]
    """
    return np.vstack([one[:-1], (one[-1] + other[0]) / 2, other[1:]])
