"""Lines of writing keep out of each other's ink: who comes to a tail of the line above writes round it.

People shorten what they are about to run through. So where a tail would meet the letter under it, the tail is
shortened below its line and the letter above its x-height, as little as is needed and never beyond what still reads.
Where that is not enough, the line below goes lower, and those after it with it. On printed lines, and in a box that is
full, none can: those that still meet are counted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fontbuild.geometry import sample_stroke
from ownhand.composer.glyphs.variant_bank import Index
from ownhand.composer.plot.plot_page import flatten
from ownhand.composer.variation.handwriting_statistics import Array

CLEAR = 1.3
"""Pen widths between the lines of ink that must not touch."""

SHORTEST_TAIL, SHORTEST_STEM = 0.45, 0.65
"""Share of a tail, and of what stands over the x-height, that is left at least."""

TOUCHING = 0.8
"""Pen widths between the middles of two lines of ink that are seen to touch."""

SAMPLES = 6
"""Points to a cubic piece when it is asked where ink lies."""

COLUMN = 0.1
"""x-heights: width of the columns in which heights are compared."""


@dataclass(frozen=True, eq=False)
class Inked:
    """Letters with their lines; arrays of shape (letters,) but for the first two."""

    points_mm: Array
    """Shape (n, 2): control points of all strokes, one after another; y down."""

    sizes: Index
    """Shape (strokes,): points of each."""

    first: Index
    """First stroke of each letter, one more at the end."""

    line: Index
    base_mm: Array
    """y of the line that each letter stands on."""


def keep_lines_apart(inked: Inked, *, x_height_mm: float, pen_mm: float) -> Array:
    """Return the control points with tails and stems shortened where lines would run through each other."""
    points = inked.points_mm
    m = len(inked.line)
    if m < 2 or inked.line[0] == inked.line[-1]:
        return points
    starts = np.concatenate([[0], np.cumsum(inked.sizes)])
    begins = starts[inked.first]
    low, high = (f.reduceat(points, begins[:-1]) for f in (np.minimum, np.maximum))
    room = CLEAR * pen_mm
    out = points
    for a, b in _near(inked.line, low, high, room):
        if out is points:
            out = points.copy()
        over, under = slice(begins[a], begins[a + 1]), slice(begins[b], begins[b + 1])
        step = COLUMN * x_height_mm
        bottom = _profile(out, starts[inked.first[a] : inked.first[a + 1] + 1], step, room, largest=True)
        top = _profile(out, starts[inked.first[b] : inked.first[b + 1] + 1], step, room, largest=False)
        shared = bottom.keys() & top.keys()
        # what lies beyond the middle between two lines only; an ascender of the line above is none of its tails
        meets = [(bottom[k] + room - top[k], bottom[k], top[k]) for k in shared if bottom[k] > inked.base_mm[a]]
        if not meets or (most := max(meets))[0] <= 0:
            continue
        overlap, tail_end, stem_end = most
        tail = max(tail_end - inked.base_mm[a], 1e-9)
        shoulder = inked.base_mm[b] - x_height_mm
        stem = max(shoulder - stem_end, 0.0)
        spare = np.array([(1 - SHORTEST_TAIL) * tail, (1 - SHORTEST_STEM) * stem])
        taken = spare * min(1.0, overlap / max(float(spare.sum()), 1e-9))
        y = out[over, 1]
        out[over, 1] = np.where(
            y > inked.base_mm[a], inked.base_mm[a] + (y - inked.base_mm[a]) * (1 - taken[0] / tail), y
        )
        if stem > 0:
            y = out[under, 1]
            out[under, 1] = np.where(y < shoulder, shoulder + (y - shoulder) * (1 - taken[1] / stem), y)
    return out


def _near(line: Index, low: Array, high: Array, room: float) -> list[tuple[int, int]]:
    """Return pairs of letters, or strokes, of consecutive lines whose boxes come nearer than `room`."""
    pairs: list[tuple[int, int]] = []
    bounds = np.flatnonzero(np.diff(line, prepend=-1, append=-1))
    for at, until, end in zip(bounds[:-2].tolist(), bounds[1:-1].tolist(), bounds[2:].tolist(), strict=True):
        down = high[at:until, 1] + room
        ceiling, floor = low[until:end, 1].min(), down.max()
        if floor <= ceiling:
            continue
        a, b = at + np.flatnonzero(down > ceiling), until + np.flatnonzero(low[until:end, 1] < floor)
        meets = (high[a, 1] + room)[:, None] > low[b, 1]
        meets &= (low[a, 0] - room)[:, None] < high[b, 0]
        meets &= (high[a, 0] + room)[:, None] > low[b, 0]
        over, under = np.nonzero(meets)
        pairs += zip(a[over].tolist(), b[under].tolist(), strict=True)
    return pairs


def _profile(points: Array, starts: Index, step: float, reach: float, *, largest: bool) -> dict[int, float]:
    """Return by column the lowest (largest y) or highest ink of a letter, as far as `reach` to both sides of it."""
    strokes = zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True)
    ink = np.concatenate([sample_stroke(points[a:b], per_piece=SAMPLES) for a, b in strokes])
    wide = int(np.ceil(reach / step))
    found: dict[int, float] = {}
    for k, y in zip(np.floor(ink[:, 0] / step).astype(int).tolist(), ink[:, 1].tolist(), strict=True):
        for column in range(k - wide, k + wide + 1) if largest else (k,):
            old = found.get(column, y)
            found[column] = max(old, y) if largest else min(old, y)
    return found


def lowered(points_mm: Array, sizes: Index, line: Index, column: Index, *, pen_mm: float, bottom_mm: float) -> Array:
    """Return the control points with lines moved down that come nearer to the one above than a pen's width.

    The lines below in the same column are moved with it; none beyond `bottom_mm`, so that lines may still meet in a
    column that is full.

    Parameters
    ----------
    points_mm, sizes
        As in `Inked`.
    line
        Shape (strokes,): from 0, in the order of writing.
    column
        Shape (lines,): which column each line stands in; y begins anew in each.
    bottom_mm
        y of the lowest place for the middle of the pen's line.
    """
    n = len(column)
    if n < 2 or not len(points_mm):
        return points_mm
    starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    shown = _may_matter(points_mm, starts, line, pen_mm)
    if not shown.any():
        return points_mm
    few = np.concatenate([[0], np.cumsum(sizes[shown])]).astype(np.int64)
    flat = flatten(points_mm[np.repeat(shown, sizes)], few, within_mm=pen_mm / 10)
    top, bottom = _line_profiles(*flat, line[shown], n, step=pen_mm / 2)
    wider = np.pad(bottom, ((0, 0), (2, 2)), constant_values=-np.inf)
    bottom = np.lib.stride_tricks.sliding_window_view(wider, 5, axis=1).max(axis=-1)
    lowest = bottom.max(axis=1)
    down = np.zeros(n)
    for k in range(1, n):
        if column[k] != column[k - 1]:
            continue
        overlap = float((bottom[k - 1] + down[k - 1] + pen_mm - top[k] - down[k]).max())
        if overlap <= 0:
            continue
        below = slice(k, k + int((column[k:] == column[k]).sum()))
        free = float((bottom_mm - lowest[below] - down[below]).min())
        down[below] += max(0.0, min(overlap + (CLEAR - 1) * pen_mm, free))
    if not down.any():
        return points_mm
    out = points_mm.copy()
    out[:, 1] += np.repeat(down[line], sizes)
    return out


def meeting(points_mm: Array, sizes: Index, line: Index, column: Index, *, pen_mm: float) -> int:
    """Return how many lines are touched by ink of the line above; the parameters are those of `lowered`."""
    if len(column) < 2 or not len(points_mm):
        return 0
    starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    shown = _may_matter(points_mm, starts, line, pen_mm)
    if not shown.any():
        return 0
    few = np.concatenate([[0], np.cumsum(sizes[shown])]).astype(np.int64)
    flat = flatten(points_mm[np.repeat(shown, sizes)], few, within_mm=pen_mm / 10)
    top, bottom = _line_profiles(*flat, line[shown], len(column), step=pen_mm / 2)
    deep = (bottom[:-1] + TOUCHING * pen_mm - top[1:]).max(axis=1)
    return int(((deep > 0) & (column[1:] == column[:-1])).sum())


def _may_matter(points: Array, starts: Index, line: Index, pen_mm: float) -> NDArray[np.bool_]:
    """Return which strokes `lowered` has to look at, shape (strokes,): none where no line comes near the next.

    Besides those that come near, the strokes that may hold the lowest ink of a line, which says how far it can go
    down, and the leftmost ink, from which columns are counted. Control points hold the curve between them.
    """
    low, high = (f.reduceat(points, starts[:-1]) for f in (np.minimum, np.maximum))
    out = np.zeros(len(line), bool)
    # ink is spread over two columns of half a pen to both sides
    out[np.array(_near(line, low, high, 2 * pen_mm), np.int64).reshape(-1)] = True
    if not out.any():
        return out
    # strokes begin and end on the ink; a rounding error must leave none out
    first, last = points[starts[:-1]], points[starts[1:] - 1]
    lowest = np.full(int(line.max()) + 1, -np.inf)
    np.maximum.at(lowest, line, np.maximum(first[:, 1], last[:, 1]))
    left = min(first[:, 0].min(), last[:, 0].min())
    return np.asarray(out | (high[:, 1] > lowest[line] - 1e-6) | (low[:, 0] < left + 1e-6))


def _line_profiles(points: Array, starts: Index, line: Index, lines: int, *, step: float) -> tuple[Array, Array]:
    """Return the least and the greatest y of each line in columns `step` wide, shape (lines, columns).

    Columns without ink hold inf and -inf. The polylines are those of `flatten`.
    """
    of = np.repeat(line, np.diff(starts))
    to = np.minimum(np.arange(len(points)) + 1, np.repeat(starts[1:], np.diff(starts)) - 1)
    n = np.maximum(1, np.ceil(np.abs(points[to, 0] - points[:, 0]) / step)).astype(np.int64)
    share = (np.arange(int(n.sum())) - np.repeat(np.cumsum(n) - n, n)) / np.repeat(n, n)
    ink = np.repeat(points, n, axis=0) + share[:, None] * np.repeat(points[to] - points, n, axis=0)
    at = np.repeat(of, n), np.floor((ink[:, 0] - points[:, 0].min()) / step).astype(np.int64)
    shape = lines, int(at[1].max()) + 1
    top, bottom = np.full(shape, np.inf), np.full(shape, -np.inf)
    np.minimum.at(top, at, ink[:, 1])
    np.maximum.at(bottom, at, ink[:, 1])
    return top, bottom
