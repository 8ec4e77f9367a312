"""Connected spots of ink on a page: dust, remains of print and things that lie on the paper are sorted out."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.ink import FULL_INK_GREY, PageInk
from capture.scan_image import Pixels
from capture.sheet import Box

FULL = 255 - FULL_INK_GREY
"""How dark a pixel is that a full stroke covers: 255 less its grey."""

_SEED = round(0.42 * FULL)
_GROW = round(0.22 * FULL)
"""Darkness: a connected spot needs one pixel over the first, and reaches as far as the second."""

_OBJECT_MM = 2.0
"""Half the width of a spot that no pen makes: a finger, a pen, the edge of the table."""

_LEAST_DOT = 0.4
"""Of the square of the pen's width: less ink in one spot is dust."""

_CRUMB_MM = 0.35
"""How close a crumb lies to the rest of its stroke."""

_FOLD_MM = 25.0
_FOLD = round(0.75 * FULL)
"""A line longer than this and less dark than this was made by no pen."""

_MOST_CRUMB = 4.0
"""Of the square of the pen's width: more faint ink in one piece is a fold or the like."""

Mask = NDArray[np.bool_]


def darkness(ink: PageInk, factor: float) -> Pixels:
    """Return how dark each pixel of the reduced grid is, 0 for paper, `FULL` under a stroke; (h, w) / factor."""
    return np.asarray(cv2.bitwise_not(reduced(ink.grey, factor)), np.uint8)


def reduced(image: Pixels, factor: float) -> Pixels:
    """Return the image `factor` times smaller, each pixel the mean of what it covers.

    image: shape (h, w), grey.
    """
    if factor == 1:
        return image
    h, w = (round(n / factor) for n in image.shape)
    return np.asarray(cv2.resize(image, (w, h), interpolation=cv2.INTER_AREA), np.uint8)


def find_folds(dark: Pixels, ppm: float) -> Mask:
    """Return where long straight lines run that are fainter than strokes: folds, and the edges of other sheets.

    dark: shape (h, w), 0 to 255 of ink; ppm: its px per mm. The mask has the same shape.
    """
    inked = (dark > _GROW).view(np.uint8)
    length = round(_FOLD_MM * ppm)
    across = cv2.morphologyEx(inked, cv2.MORPH_OPEN, np.ones((1, length), np.uint8))
    down = cv2.morphologyEx(inked, cv2.MORPH_OPEN, np.ones((length, 1), np.uint8))
    near = cv2.dilate(np.maximum(across, down), np.ones((5, 5), np.uint8)) > 0
    return np.asarray(near & (dark < _FOLD))


def find_rules(dark: Pixels, ppm: float) -> Mask:
    """Return where straight lines as dark as strokes run on and on: a sharp fold, a rule that was drawn over cells.

    dark: shape (h, w); ppm: px per mm, as for `find_folds`.
    """
    inked = (dark >= _FOLD).view(np.uint8)
    length = round(_FOLD_MM * ppm)
    across = cv2.morphologyEx(inked, cv2.MORPH_OPEN, np.ones((1, length), np.uint8))
    down = cv2.morphologyEx(inked, cv2.MORPH_OPEN, np.ones((length, 1), np.uint8))
    return np.asarray(cv2.dilate(np.maximum(across, down), np.ones((5, 5), np.uint8)) > 0)


def find_objects(dark: Pixels, ppm: float, pen_mm: float) -> Mask:
    """Return where something lies on the page that is too thick for the pen, and a little around it.

    dark: shape (h, w); ppm: px per mm, as for `find_folds`; pen_mm: width of the pen's line.
    """
    inked = (dark > _GROW).view(np.uint8)
    half = max(_OBJECT_MM, 1.5 * pen_mm) * ppm
    core = (cv2.distanceTransform(inked, cv2.DIST_L2, 3) > half).astype(np.uint8)
    if not core.any():
        return np.zeros(dark.shape, bool)
    reach = 2 * int(half + 0.5 * ppm) + 1
    return np.asarray(cv2.dilate(core, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))) > 0)


def print_zone(ink: PageInk, factor: float) -> Mask:
    """Return where labels and tick boxes were printed, and a little around, on the reduced grid."""
    cover = reduced(ink.print_cover, factor)
    around = 2 * max(1, round(0.15 * ink.px_per_mm / factor)) + 1
    return np.asarray(cv2.dilate((cover > 24).view(np.uint8), np.ones((around, around), np.uint8)) > 0)


def find_spots(dark: Pixels, print_zone: Mask, ppm: float, pen_mm: float) -> tuple[NDArray[np.int32], int]:
    """Return connected spots of ink, numbered from 1, and one more than the last number.

    Left out are dust, and pale remains of print: spots on it that are weaker than a stroke.

    dark, ppm, pen_mm: as for `find_objects`; print_zone: shape (h, w), where something was printed. The numbers have
    shape (h, w), 0 for paper.
    """
    count, spots, stats, _ = cv2.connectedComponentsWithStats((dark > _GROW).view(np.uint8), connectivity=8)
    inked = np.flatnonzero(dark > _GROW)  # a few percent of the page: what follows looks at these alone
    number, level = spots.ravel()[inked], dark.ravel()[inked]
    least = max(_LEAST_DOT * pen_mm**2, 0.012) * ppm**2
    keep = np.zeros(count, bool)
    keep[number[level > _SEED]] = True
    area = stats[:, cv2.CC_STAT_AREA]
    keep &= area >= least
    on_print = np.bincount(number[print_zone.ravel()[inked]], minlength=count)
    strength = np.bincount(number, weights=level, minlength=count) / np.maximum(area, 1)
    is_print = (on_print >= 0.7 * area) & (strength <= 0.75 * FULL)
    keep &= ~is_print
    # A dry pen leaves its line in crumbs: small or faint spots go with what is close to them.
    around = 2 * round(_CRUMB_MM * ppm) + 1
    kept = np.zeros(dark.shape, np.uint8)
    kept.ravel()[inked] = keep[number]
    close = cv2.dilate(kept, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (around, around)))
    crumbs = np.zeros(count, bool)
    crumbs[number[close.ravel()[inked] > 0]] = True
    keep |= crumbs & ~is_print & (area < _MOST_CRUMB * pen_mm**2 * ppm**2)
    keep[0] = False
    new = np.zeros(count, np.int32)
    new[keep] = np.arange(1, keep.sum() + 1)
    spots.ravel()[inked] = new[number]
    return np.asarray(spots, np.int32), int(keep.sum()) + 1


def painted(boxes: Sequence[Box], shape: tuple[int, ...], ppm: float) -> NDArray[np.int16]:
    """Return 1 + index of the box that each pixel of an image of some `shape` lies in, 0 outside all."""
    out = np.zeros(shape, np.int16)
    for i, box in enumerate(boxes):
        out[slices(box, ppm)] = i + 1
    return out


def slices(box_mm: Box, ppm: float) -> tuple[slice, slice]:
    """Return the rows and columns of a box on a grid."""
    x, y, w, h = box_mm
    rows = slice(max(0, round(y * ppm)), max(0, round((y + h) * ppm)))
    return rows, slice(max(0, round(x * ppm)), max(0, round((x + w) * ppm)))


def grown(box_mm: Box, by_mm: float) -> Box:
    """Return the box with `by_mm` more on all sides."""
    x, y, w, h = box_mm
    return x - by_mm, y - by_mm, w + 2 * by_mm, h + 2 * by_mm
