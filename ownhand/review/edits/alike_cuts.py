"""A cut between two letters moved once, and where it would lie in the same pair written alike elsewhere.

Where a stroke of one letter runs on as a stroke of the next, both are one line. That of the pair which was mended is
laid along that of another pair (dynamic time warping, Sakoe & Chiba 1978, with free ends), by height and direction
first, then by place; where its cut comes to lie, the other is cut. The other pair's own points are kept.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from capture.units import Points
from ownhand.review.edits.alignment import SPACING, TURN_COST, Floats
from ownhand.review.edits.letter_cuts import meeting, run_on
from ownhand.review.edits.operations import Strokes
from skeleton.geometry.arc_length import arc_lengths, points_at
from skeleton.geometry.stroke import Stroke

AROUND = 2.5
"""x-heights of line on either side of the mended cut that are compared: where a line is passed twice, less of it would
tell nothing."""

FURTHER = 2.0
"""x-heights by which the cut of the other pair may lie elsewhere."""

WORST_FIT = 0.16
"""x-heights: mean distance between the lines from which the pairs are not written alike."""

MOVES = 0.12
"""x-heights by which a cut lies elsewhere for it to be worth moving."""

LEAST_LEFT = 0.15
"""x-heights of line that every letter keeps of the stroke that is cut."""

ALREADY = "is cut there already"


@dataclass(frozen=True, eq=False)
class Pair:
    """Two letters of a word; one frame for both: the first's cell (mm, y up)."""

    first: Strokes
    second: Strokes
    x_height_mm: float

    @property
    def line(self) -> tuple[int, int, Points, float] | None:
        """The strokes that are one line, by number, its points (n, 2), mm, and how far along it is cut, mm.

        None where no stroke of the first runs on into the second.
        """
        met = meeting(self.first, self.second)
        if met is None:
            return None
        k, i = met
        one = self.first[k].points_mm
        line = run_on(one, self.second[i].points_mm)
        return k, i, line, float(arc_lengths(line[: len(one)])[-1])


@dataclass(frozen=True, eq=False)
class AlikeCut:
    """What cutting a pair as another one is cut would make of it; the old strokes where it does not fit."""

    first: Strokes
    second: Strokes
    """In the first letter's cell frame, as `Pair` has them."""

    fits: bool
    why: str
    """In words: what would change, or why it does not fit."""

    @property
    def changes(self) -> bool:
        """True when there is something to apply."""
        return self.fits and self.why != ALREADY


def cut_alike(model: Pair, other: Pair) -> AlikeCut:
    """Return the letters of `other` cut apart where those of `model` are."""
    of_model, of_other = model.line, other.line
    if of_model is None or of_other is None:
        return _not(other, "has no line that runs through both letters")
    _, _, pattern, cut = of_model
    k, i, line, now = of_other
    pattern, cut = pattern / model.x_height_mm, cut / model.x_height_mm
    line, now = line / other.x_height_mm, now / other.x_height_mm
    whole = float(arc_lengths(line)[-1])
    near = _evenly(pattern, cut - AROUND, cut + AROUND)
    far = _evenly(line, now - AROUND - FURTHER, now + AROUND + FURTHER)
    at, distance = _laid(points_at(pattern, near), points_at(line, far))
    if distance > WORST_FIT:
        return _not(other, "is written too differently")
    new = float(np.interp(cut, near, far[at]))
    if not LEAST_LEFT <= new <= whole - LEAST_LEFT:
        return _not(other, "would leave a letter without this stroke")
    if abs(new - now) < MOVES:
        return AlikeCut(other.first, other.second, True, ALREADY)
    words = "the first letter keeps {}, the second {}".format(*(("more", "less") if new > now else ("less", "more")))
    left, right = _parted(line * other.x_height_mm, new * other.x_height_mm)
    return AlikeCut(
        _with(other.first, k, left), _with(other.second, i, right), True, words
    )  # fmt: skip


def _not(other: Pair, why: str) -> AlikeCut:
    return AlikeCut(other.first, other.second, False, why)


def _evenly(line: Points, low: float, high: float) -> Floats:
    """Return lengths along a line, about `SPACING` apart, from `low` to `high` or its ends."""
    low, high = max(low, 0.0), min(high, float(arc_lengths(line)[-1]))
    return np.linspace(low, high, max(3, round((high - low) / SPACING) + 1))


def _laid(pattern: Points, line: Points) -> tuple[np.ndarray, float]:
    """Return the point of `line` that belongs to each of `pattern`, and their mean distance; x-heights.

    Where the letters stand in their cells does not count: the line is moved sideways on to the pattern.
    """
    ways = [np.gradient(p, axis=0) for p in (pattern, line)]
    one, other = (w / np.maximum(np.hypot(*w.T), 1e-9)[:, None] for w in ways)
    turned = TURN_COST * (1.0 - one @ other.T)
    up = 20.0 * (pattern[:, None, 1] - line[None, :, 1]) ** 2
    at = _warped(up + turned)
    for _ in range(2):
        aside = float(np.median(pattern[:, 0] - line[at, 0]))
        at = _warped(up + turned + 20.0 * (pattern[:, None, 0] - line[None, :, 0] - aside) ** 2)
    off = pattern - line[at] - [float(np.median(pattern[:, 0] - line[at, 0])), 0.0]
    return at, float(np.hypot(*off.T).mean())


def _warped(cost: Floats) -> np.ndarray:
    """Return the column of each row on the cheapest way down that never goes back; it may begin and end anywhere."""
    n, m = cost.shape
    step = np.abs(np.arange(4) - 1.0) * 0.15
    best, back = cost[0].copy(), np.zeros((n, m), int)
    for r in range(1, n):
        ways = np.full((4, m), np.inf)
        for w in range(4):
            ways[w, w:] = best[: m - w] + step[w]
        back[r] = ways.argmin(axis=0)
        best = ways.min(axis=0) + cost[r]
    at = np.zeros(n, int)
    at[-1] = int(best.argmin())
    for r in range(n - 1, 0, -1):
        at[r - 1] = at[r] - back[r, at[r]]
    return at


def _parted(line: Points, where: float) -> tuple[Points, Points]:
    along = arc_lengths(line)
    cut = points_at(line, np.array([where]))
    return np.vstack([line[along < where - 1e-9], cut]), np.vstack([cut, line[along > where + 1e-9]])


def _with(strokes: Strokes, k: int, points: Points) -> Strokes:
    return (*strokes[:k], Stroke(points, strokes[k].width_mm), *strokes[k + 1 :])


def moved(strokes: Strokes, by: Points) -> Strokes:
    """Return strokes moved by (x, y) mm, into another cell's frame."""
    return tuple(dataclasses.replace(s, points_mm=s.points_mm + by) for s in strokes)
