"""The pen: how wide its line is, in mm."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import skeletonize

from capture.ink import FULL_INK_GREY, PageInk
from capture.sheet import Box

_LEAST_LINE_MM = 8.0
"""So much line is needed for a width to be told."""

UNKNOWN_PEN_MM = 0.5
"""Width that is taken for a pen that nothing was written with: a fine felt pen (common practice, no source)."""


def measure_pen(ink: PageInk, patch_mm: Box | None, boxes_mm: Sequence[Box]) -> tuple[float, bool]:
    """Return the pen's width in mm, and whether it was measured on the patch.

    Without enough ink on the patch the cells' own ink is measured, on an even choice of them.
    """
    if patch_mm is not None:
        width, length = line_width(ink, [patch_mm])
        if length >= _LEAST_LINE_MM:
            return width, True
    some = list(boxes_mm)[:: max(1, len(boxes_mm) // 24)]
    width, length = line_width(ink, some)
    return (width if length >= _LEAST_LINE_MM else UNKNOWN_PEN_MM), False


def line_width(ink: PageInk, boxes_mm: Iterable[Box]) -> tuple[float, float]:
    """Return mean width and total length in mm of the lines in some boxes.

    A line of length l with round ends covers l w + pi w^2 / 4; the width solves that for the inked area. Partly covered
    pixels count by their share, so that a line narrower than a pixel is still measured. The length is that of Kulpa
    (Computer Graphics and Image Processing 6, 1977): 0.948 a straight step, 1.340 a slanting one, right on the mean
    over all directions (their integral over the directions of an octant is 0.9997 of it).
    """
    ppm = ink.px_per_mm
    area = length = 0.0
    pieces = 0
    for x, y, w, h in boxes_mm:
        rows = slice(max(0, round(y * ppm)), max(0, round((y + h) * ppm)))
        grey = ink.grey[rows, max(0, round(x * ppm)) : max(0, round((x + w) * ppm))]
        share = (255 - grey.astype(np.float32)) / (255 - FULL_INK_GREY)
        inked = share > 0.4
        if not inked.any():
            continue
        line = np.asarray(skeletonize(inked), np.bool_)  # type: ignore[no-untyped-call]
        area += float(share[share > 0.15].sum()) / ppm**2
        length += _length(line) / ppm
        pieces += cv2.connectedComponents(inked.astype(np.uint8), connectivity=8)[0] - 1
    if length <= 0:
        return 0.0, 0.0
    ends = np.pi / 4 * pieces
    return float((np.sqrt(length**2 + 4 * ends * area) - length) / (2 * ends)), length


def _length(line: NDArray[np.bool_]) -> float:
    straight = int((line[:, 1:] & line[:, :-1]).sum() + (line[1:] & line[:-1]).sum())
    slanting = int((line[1:, 1:] & line[:-1, :-1]).sum() + (line[1:, :-1] & line[:-1, 1:]).sum())
    return 0.948 * straight + 1.340 * slanting
