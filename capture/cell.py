"""Whose ink is it: the connected strokes of a page dealt out to the cells, whole.

A stroke that leaves its box is followed; it belongs to the cell in which most of it lies. Only where two cells'
writing touches is ink cut, half-way between the boxes, and both cells are named.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from capture.connected_components import (
    FULL,
    Mask,
    darkness,
    find_folds,
    find_objects,
    find_rules,
    find_spots,
    grown,
    painted,
    print_zone,
    slices,
)
from capture.ink import PageInk
from capture.sheet import Box, Cell

_COARSE_PX_PER_MM = 12.0
"""Ownership is settled at no more than this; the ink itself is cut at the page's full resolution."""

COVERED = "something lies on it"
"""Finding: a finger, a pen, a hard shadow."""

_ZONE_MM = 10.0
"""Ink further than this from every box is nobody's, and no part of a longer stroke either."""

_REACH_MM = 2.5
"""Ink that touches no box belongs to the nearest one within this."""

_JOINED = 0.4
"""Of the ink of a usual attempt: so much of one connected spot in a second box is a second attempt that it touches."""

_OUTSIDE_MM = 0.3
"""Writing may pass its box by this much without being mentioned."""

_LEAST_STRAY = 1.3
"""Of the square of the pen's width: less ink in a spot outside every box is dust; an accent is longer than wide."""

_LEAST_LETTER_MM = 1.2
"""A letter or digit has at least this length of line in it; less is a speck."""

_TICK_LINE_MM = 1.3
_CROSSED_TICK_MM = 5.0
"""Length of line in the tick box that ticks it: on its own, or drawn by strokes that also write in a box."""


@dataclass(frozen=True, eq=False)
class CellInkMask:
    """The ink of one cell. Frame: the page ink's pixels divided by `factor`."""

    cell: Cell
    status: str
    """'written', 'blank' or 'spoiled'."""

    mask: Mask
    """Shape (h, w); empty in a blank cell."""

    origin: tuple[int, int]
    """Row and column of the mask's top left corner on the reduced grid."""

    kinds: tuple[str, ...] = ()
    """What a person should look at, in a few words each."""


@dataclass(frozen=True, eq=False)
class InkAssignment:
    """All ink of a page with its owners."""

    owner: NDArray[np.int32]
    """Shape (h, w), reduced grid: 1 + index of the cell, 0 where there is no cell's ink, -1 where ink is nobody's."""

    factor: float
    """Page ink pixels in a pixel of the grid."""

    cells: tuple[CellInkMask, ...]


def assign_ink(ink: PageInk, cells: Sequence[Cell], *, pen_mm: float, keep_out: Sequence[Box] = ()) -> InkAssignment:
    """Return whose ink each spot of ink on a page is.

    Parameters
    ----------
    ink
        The page's ink.
    cells
        Its cells.
    pen_mm
        Width of the pen: tells dust from dots.
    keep_out
        Page mm: where marks and codes are printed, and the pen is tried.
    """
    factor = max(1.0, ink.px_per_mm / _COARSE_PX_PER_MM)
    dark = darkness(ink, factor)
    ppm = ink.px_per_mm / factor
    boxes = painted([c.box_mm for c in cells], dark.shape, ppm)
    dark[painted([grown(c.box_mm, _ZONE_MM) for c in cells], dark.shape, ppm) == 0] = 0
    dark[painted(keep_out, dark.shape, ppm) > 0] = 0
    dark[find_folds(dark, ppm)] = 0
    covered = find_rules(dark, ppm) | find_objects(dark, ppm, pen_mm)
    dark[covered] = 0
    spots, count = find_spots(dark, print_zone(ink, factor) & (boxes == 0), ppm, pen_mm)
    ticks = painted([grown(c.tick_mm, 0.3) for c in cells], dark.shape, ppm)
    inked = np.flatnonzero(spots)
    number = spots.ravel()[inked]
    area = np.bincount(number, minlength=count).astype(float)
    in_box = _shared_area(number, boxes.ravel()[inked], count, len(cells))
    in_tick = _shared_area(number, ticks.ravel()[inked], count, len(cells))
    owners = np.zeros(count, np.int32)
    joined: list[tuple[int, int, int]] = []
    tick_spots = (in_tick.max(axis=1) > 0.3 * area) & (in_box.max(axis=1) < 0.5 * area)
    tick_spots[0] = False
    usual = _usual_area(in_box[1:], tick_spots[1:])
    places = ndimage.find_objects(spots, max_label=count - 1)
    for i in range(1, count):
        if tick_spots[i]:
            owners[i] = -1
            continue
        first = int(in_box[i].argmax())
        if in_box[i, first] == 0:
            stray = area[i] / ppm**2 < _LEAST_STRAY * pen_mm**2
            owners[i] = 0 if stray else _nearest(places[i - 1], cells, ppm)
            continue
        owners[i] = first + 1
        rest = in_box[i].copy()
        rest[first] = 0
        second = int(rest.argmax())
        if rest[second] > _JOINED * usual and _alone(in_box, i, second, rest[second]):
            joined.append((i, first, second))
    owner = np.zeros(spots.shape, np.int32)
    owner.ravel()[inked] = owners[number]
    touching: set[int] = set()
    for i, first, second in joined:
        touching |= {first, second}
        _cut(owner, spots, i, places[i - 1], cells, first, second, ppm)
    ticked = _ticked(spots, owner, tick_spots, cells, ppm, pen_mm)
    whose = np.maximum(owner.ravel()[inked], 0)
    amount = np.bincount(whose, weights=dark.ravel()[inked] / FULL, minlength=len(cells) + 1) / ppm**2
    largest = np.zeros(len(cells) + 1)
    each = np.bincount(number, weights=dark.ravel()[inked] / FULL, minlength=count) / ppm**2
    np.maximum.at(largest, np.maximum(owners, 0), each)
    hidden = set((np.unique(boxes[covered]) - 1).tolist())
    return InkAssignment(
        owner, factor, tuple(_owned(owner, amount[1:], largest[1:], cells, ppm, pen_mm, ticked, touching, hidden))
    )


def _shared_area(spot: NDArray[np.int32], place: NDArray[np.int16], count: int, cells: int) -> NDArray[np.float64]:
    """Return pixels of each spot in each place, given spot and place of each inked pixel; shape (count, cells)."""
    both = spot.astype(np.int64) * (cells + 1) + place
    return np.bincount(both, minlength=count * (cells + 1)).reshape(count, cells + 1)[:, 1:].astype(float)


def _usual_area(in_box: NDArray[np.float64], ticks: Mask) -> float:
    """Return the median ink of the cells that hold any, in pixels."""
    total = in_box[~ticks].sum(axis=0)
    return float(np.median(total[total > 0])) if (total > 0).any() else 1.0


def _nearest(place: tuple[slice, slice], cells: Sequence[Cell], ppm: float) -> int:
    """Return 1 + index of the cell nearest to a spot outside all boxes, -1 if none is in reach."""
    y = 0.5 * (place[0].start + place[0].stop) / ppm
    x = 0.5 * (place[1].start + place[1].stop) / ppm
    boxes = np.array([c.box_mm for c in cells])
    if not len(boxes):
        return -1
    off = _distance(boxes, x, y)
    i = int(off.argmin())
    return i + 1 if off[i] <= _REACH_MM else -1


def _distance(boxes: NDArray[np.float64], x: float, y: float) -> NDArray[np.float64]:
    dx = np.maximum(np.maximum(boxes[:, 0] - x, x - boxes[:, 0] - boxes[:, 2]), 0)
    dy = np.maximum(np.maximum(boxes[:, 1] - y, y - boxes[:, 1] - boxes[:, 3]), 0)
    return np.asarray(np.hypot(dx, dy))


def _alone(in_box: NDArray[np.float64], spot: int, cell: int, area: float) -> bool:
    """Return whether a cell has little other ink than what this spot brings into it: then that is its writing."""
    return float(in_box[:, cell].sum() - in_box[spot, cell]) < area


def _cut(
    owner: NDArray[np.int32],
    spots: NDArray[np.int32],
    spot: int,
    place: tuple[slice, slice],
    cells: Sequence[Cell],
    first: int,
    second: int,
    ppm: float,
) -> None:
    """Give each pixel of a spot to the nearer of two boxes."""
    rows, columns = np.nonzero(spots[place] == spot)
    y, x = (rows + place[0].start + 0.5) / ppm, (columns + place[1].start + 0.5) / ppm
    off = []
    for i in (first, second):
        x0, y0, w, h = cells[i].box_mm
        off.append(
            np.hypot(np.maximum(np.abs(x - x0 - w / 2) - w / 2, 0), np.maximum(np.abs(y - y0 - h / 2) - h / 2, 0))
        )
    owner[place][rows, columns] = np.where(off[0] <= off[1], first + 1, second + 1)


def _ticked(
    spots: NDArray[np.int32],
    owner: NDArray[np.int32],
    tick_spots: Mask,
    cells: Sequence[Cell],
    ppm: float,
    pen_mm: float,
) -> list[tuple[bool, bool]]:
    """Return for each cell whether its tick box is ticked, and whether that is in doubt."""
    out = []
    width = max(pen_mm, 1.2 / ppm)
    for cell in cells:
        here = spots[slices(cell.tick_mm, ppm)]
        own = float((tick_spots[here] & (here > 0)).sum()) / ppm**2 / width
        other = float((~tick_spots[here] & (here > 0)).sum()) / ppm**2 / width
        ticked = own >= _TICK_LINE_MM or other >= _CROSSED_TICK_MM
        out.append((ticked, not ticked and (own > 0.5 * _TICK_LINE_MM or other > 0.6 * _CROSSED_TICK_MM)))
    return out


def _owned(
    owner: NDArray[np.int32],
    amount: NDArray[np.float64],
    largest: NDArray[np.float64],
    cells: Sequence[Cell],
    ppm: float,
    pen_mm: float,
    ticked: Sequence[tuple[bool, bool]],
    touching: set[int],
    hidden: set[int],
) -> list[CellInkMask]:
    places = ndimage.find_objects(np.maximum(owner, 0), max_label=len(cells))
    out = []
    for i, (cell, place) in enumerate(zip(cells, places, strict=True)):
        kinds = []
        if ticked[i][1]:
            kinds.append("box brushed, taken as not ticked")
        if i in hidden:
            kinds.append(COVERED)
        mask = np.zeros((0, 0), bool) if place is None else owner[place] == i + 1
        origin = (0, 0) if place is None else (place[0].start, place[1].start)
        area = float(amount[i])
        speck = _is_speck(cell.char, area, float(largest[i]), pen_mm)
        if speck and area > 0 and not ticked[i][0]:
            kinds.append("only a speck, taken as blank")
        if speck:
            mask, origin = np.zeros((0, 0), bool), (0, 0)
        else:
            if i in touching:
                kinds.append("touches a neighbour")
            if _outside_mm(place, cell, ppm) > _OUTSIDE_MM:
                kinds.append("outside its box")
        status = "spoiled" if ticked[i][0] else "blank" if speck else "written"
        out.append(CellInkMask(cell, status, mask, origin, tuple(kinds)))
    return out


def _is_speck(char: str, area_mm2: float, largest_mm2: float, pen_mm: float) -> bool:
    """Return whether the ink in a cell, all of it and its largest spot, is too little for an attempt at `char`."""
    if unicodedata.category(char[0])[0] in "LN":
        return area_mm2 < _LEAST_LETTER_MM * pen_mm
    return largest_mm2 < 0.5 * pen_mm**2  # a dot has 0.8; two grains of dust are none


def _outside_mm(place: tuple[slice, slice], cell: Cell, ppm: float) -> float:
    x, y, w, h = cell.box_mm
    rows, columns = place
    return float(
        max(x - columns.start / ppm, columns.stop / ppm - x - w, y - rows.start / ppm, rows.stop / ppm - y - h)
    )
