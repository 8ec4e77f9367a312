"""Legs of a narrow loop whose ink has run into one: laid where its two edges have them.

Where two passes of the pen left one broad line, a fit that starts from its middle may let them touch and change sides
again and again, like beads on a string. Each edge of the ink was made by one of the passes: it lies half a pen's width
within that edge, on one side all along.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.fitting.residual_ink import points_beside
from skeleton.geometry.arc_length import resample

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BESIDE_PEN_WIDTHS = 1.8
"""Pen widths between two passes up to which they are looked at; up to one pen width their ink has run into one."""

MIN_STRETCH_POINTS = 6
"""Points of two passes beside each other, a third of a pen width apart, from which they are looked at."""

CLOSED_PEN_WIDTHS = (0.12, 0.9)
"""Pen widths between two passes whose ink has run into one: less is a line gone over again."""

MAX_MISSING_POINTS = 8
"""Points in a row, where a line turns aside to the other, that may have nothing beside them."""

MIN_APART_POINTS = 7
"""Points along a stroke between two of it that may lie on different legs: the way round the tip of a loop."""

MIN_LEAD_POINTS = 3
"""Points of a stroke before and behind the legs of a loop."""

PARALLEL_COSINE = 0.75
"""Cosine between the directions of two passes from which they run beside each other."""

BROAD_PEN_WIDTHS = 0.06
"""Pen widths of the half distance of two passes from which the ink shows that there are two."""

EDGE_SHARE = 0.5
"""Share of full darkness at the edge of the ink."""

SIDE_SAMPLES_PER_PX = 4

BLOCK_POINTS = 64
"""Points that are compared with those near them at once."""


@dataclass(frozen=True, eq=False)
class Beside:
    """Two stretches of line beside each other."""

    one: Ints
    """Shape (n,): points of one pass, in the order of the pen."""

    other: Ints
    """Shape (n,): for each of them the point of the other pass, falling."""

    middle: Points
    """Shape (n, 2): half-way between them, at even steps."""

    across: Points
    """Shape (n, 2): unit vectors across the stretch."""

    side: Floats
    """Shape (n,): how far the one lies from the middle, in the direction of `across`, px."""


def any_beside(points: Points, stroke: Ints, pen: float) -> bool:
    """Tell whether any two passes lie beside each other, apart and in one blot; quick, for the many that do not."""
    low, high = CLOSED_PEN_WIDTHS[0] * pen, CLOSED_PEN_WIDTHS[1] * pen
    return points_beside(points, stroke, low, high, MIN_APART_POINTS, PARALLEL_COSINE) >= MIN_STRETCH_POINTS


def layings_apart(
    points: Points, half: Floats, stroke: Ints, dark: NDArray[np.float32], pen: float, full: float
) -> Iterator[tuple[Points, ...]]:
    """Yield, for each pair of passes that touch, the points with them laid apart on the edges of their ink.

    points, half, stroke: shape (n, 2), (n,), (n,), px of `dark`, as `refinement` has them; full: darkness of full ink.
    There are two of each pair: either pass may be on either edge.
    """
    for pair in _beside(points, stroke, pen):
        if not _tangled(pair, pen):
            continue
        low, high = _edges(pair, dark, pen, full)
        radius = 0.5 * float(np.median(half[pair.one]) + np.median(half[pair.other]))
        centre, apart = 0.5 * (low + high), np.maximum(0.5 * (high - low) - radius, 0.0)
        # where the ink is as broad as one pass the two may truly change sides
        a, b = _longest(apart > BROAD_PEN_WIDTHS * pen)
        if b - a < MIN_STRETCH_POINTS:
            continue
        yield tuple(_laid(points, pair, slice(a, b), centre, sign * apart) for sign in (1.0, -1.0))


def _longest(flags: NDArray[np.bool_]) -> tuple[int, int]:
    """Return where the longest row of flags begins and ends."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    if not len(edges):
        return 0, 0
    k = int(np.argmax(edges[1::2] - edges[::2]))
    return int(edges[2 * k]), int(edges[2 * k + 1])


def turning(points: Points, stroke: Ints) -> float:
    """Return how much the lines turn in all, radians: beads and kinks turn much."""
    d = np.diff(points, axis=0)
    inner = (stroke[:-2] == stroke[2:]) & (np.hypot(*d[:-1].T) > 1e-9) & (np.hypot(*d[1:].T) > 1e-9)
    cross = d[:-1, 0] * d[1:, 1] - d[:-1, 1] * d[1:, 0]
    angle = np.arctan2(cross, (d[:-1] * d[1:]).sum(axis=1))
    return float(np.abs(angle[inner]).sum())


def _laid(points: Points, pair: Beside, broad: slice, centre: Floats, apart: Floats) -> Points:
    out = points.copy()
    one, other = pair.one[broad], pair.other[broad]
    out[one] = (pair.middle + (centre + apart)[:, None] * pair.across)[broad]
    opposite = (pair.middle + (centre - apart)[:, None] * pair.across)[broad]
    # the other pass may have more points or fewer: it is laid as evenly as the one
    first, last = int(other.min()), int(other.max())
    at = np.linspace(0, len(opposite) - 1, last - first + 1)
    opposite = opposite[::-1]
    for c in range(2):
        out[first : last + 1, c] = np.interp(at, np.arange(len(opposite)), opposite[:, c])
    return out


def _beside(points: Points, stroke: Ints, pen: float) -> Iterator[Beside]:
    """Yield the legs of loops that run beside each other."""
    n, reach = len(points), BESIDE_PEN_WIDTHS * pen
    heading = np.zeros((n, 2))
    for k in range(int(stroke[-1]) + 1):
        own = np.flatnonzero(stroke == k)
        if len(own) > 1:
            d = np.gradient(points[own], axis=0)
            heading[own] = d / np.maximum(np.hypot(*d.T), 1e-9)[:, None]
    partner = np.full(n, -1)
    for first in range(0, n, BLOCK_POINTS):
        # each with those near it: a table of all pairs of a texture's ten thousand points fills the memory
        some = np.arange(first, min(first + BLOCK_POINTS, n))
        low, high = (f(points[some], axis=0) for f in (np.min, np.max))
        near = np.flatnonzero(((points >= low - reach) & (points <= high + reach)).all(axis=1))
        apart = np.hypot(*(points[some, None] - points[None, near]).transpose(2, 0, 1))
        far = (stroke[some, None] != stroke[None, near]) | (near[None] - some[:, None] >= MIN_APART_POINTS)
        along = np.abs(heading[some] @ heading[near].T) > PARALLEL_COSINE
        # every pair once: the earlier point is the one
        there = far & along & (apart < reach) & (some[:, None] < near[None])
        partner[some] = np.where(there.any(axis=1), near[np.where(there, apart, np.inf).argmin(axis=1)], -1)
    for run in _runs(np.flatnonzero(partner >= 0), partner, stroke):
        one = np.arange(run[0], run[-1] + 1)
        other = np.round(np.interp(one, run, np.minimum.accumulate(partner[run]))).astype(np.int64)
        if len(one) >= MIN_STRETCH_POINTS and _is_loop(one, other, stroke):
            yield _pair(points, one, other)


def _is_loop(one: Ints, other: Ints, stroke: Ints) -> bool:
    """Tell whether the pen went along one stretch and back along the other, and came and went on.

    Where a stroke ends on another's side, or overlaps its own beginning, the ink does not tell which is which.
    """
    own = np.flatnonzero(stroke == stroke[one[0]])
    inside = one[0] - own[0] >= MIN_LEAD_POINTS and own[-1] - other.max() >= MIN_LEAD_POINTS
    return bool(stroke[other[0]] == stroke[one[0]] and other[-1] < other[0] and one[-1] < other.min() and inside)


def _runs(beside: Ints, partner: Ints, stroke: Ints) -> Iterator[Ints]:
    """Yield points in a row whose partners are in a row too, but for a few."""
    begin = 0
    for k in range(1, len(beside) + 1):
        if k < len(beside):
            i, j = beside[k - 1], beside[k]
            whole = stroke[i] == stroke[j] and stroke[partner[i]] == stroke[partner[j]]
            step = int(j - i)
            moved = int(partner[j] - partner[i])
            so_far = int(partner[i] - partner[beside[begin]])
            turned = moved * np.sign(so_far) < -2 and abs(so_far) > 2
            if whole and step <= MAX_MISSING_POINTS and abs(moved) <= step + 3 and not turned:
                continue
        yield beside[begin:k]
        begin = k


def _pair(points: Points, one: Ints, other: Ints) -> Beside:
    between = 0.5 * (points[one] + points[other])
    middle = resample(_evened(_evened(between)), len(one))
    d = np.gradient(middle, axis=0)
    d /= np.maximum(np.hypot(*d.T), 1e-9)[:, None]
    across = np.stack([-d[:, 1], d[:, 0]], axis=1)
    return Beside(one, other, middle, across, 0.5 * ((points[one] - points[other]) * across).sum(axis=1))


def _evened(line: Points) -> Points:
    """Return a line smoothed over five points, its ends where they were."""
    wide = np.concatenate([2 * line[:1] - line[2:0:-1], line, 2 * line[-1:] - line[-2:-4:-1]])
    return np.stack([np.convolve(wide[:, c], np.full(5, 0.2), "valid") for c in range(2)], axis=1)


def _tangled(pair: Beside, pen: float) -> bool:
    """Tell whether two passes change sides, or come together and part again."""
    side = pair.side
    inner = np.abs(side[1:-1])
    if not len(inner) or np.abs(side).max() < 0.04 * pen:
        return False
    changed = bool((side.max() > 0.04 * pen) and (side.min() < -0.04 * pen))
    pinched = any(
        inner[k] < 0.35 * min(np.abs(side[: k + 2]).max(), np.abs(side[k + 1 :]).max()) for k in range(len(inner))
    )
    return changed or pinched


def _edges(pair: Beside, dark: NDArray[np.float32], pen: float, full: float) -> tuple[Floats, Floats]:
    """Return how far from the middle the outer edges of the ink lie, each of shape (n,), px, in `across`."""
    reach = (0.5 * BESIDE_PEN_WIDTHS + 0.9) * pen
    at = np.linspace(-reach, reach, 2 * int(SIDE_SAMPLES_PER_PX * reach) + 1)
    place = pair.middle[:, None] + at[None, :, None] * pair.across[:, None]
    seen = cv2.remap(dark, place[..., 0].astype(np.float32), place[..., 1].astype(np.float32), cv2.INTER_LINEAR)
    inked = seen > EDGE_SHARE * full
    size = np.abs(pair.side)
    low, high = np.empty(len(size)), np.empty(len(size))
    for k in range(len(size)):
        # outward from where the passes were taken to be: what lies beyond the paper beside them is other ink
        left, right = np.searchsorted(at, -size[k]), np.searchsorted(at, size[k], side="right") - 1
        while left > 0 and inked[k, left - 1]:
            left -= 1
        while right < len(at) - 1 and inked[k, right + 1]:
            right += 1
        low[k], high[k] = at[left], at[right]
    return _steady(low), _steady(high)


def _steady(values: Floats) -> Floats:
    """Return values by the median of five, and evened: a ragged row of the edge is no edge."""
    wide = np.pad(values, 2, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(wide, 5), axis=1)
    return np.asarray(np.convolve(np.pad(middle, 1, mode="edge"), np.full(3, 1 / 3), "valid"))
