"""A grey image as darkness, at the size in which thinning is surest."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import MM_PER_INCH
from skeleton.geometry.quantiles import median
from skeleton.ink.components import histogram
from skeleton.ink.grain import ridge

Grey = NDArray[np.uint8]
Field = NDArray[np.float32]

WORKING_PEN_PX = 6.0
"""Width of the pen in the working image.

Thinning is surest at 5 to 9 px: thinner lines break, wider ones grow spurs.
"""

SOFT_PEN_WIDTHS = 0.12
"""Blur of the darkness before it is compared with half of full ink, or between places."""

GRAIN_MM = 0.05
"""Standard deviation of the blur before a line's width is measured: at fine resolutions the grain of the paper would
be taken for lines."""

MIN_CONTRAST_GREY = 28.0
"""Grey levels between paper and ink below which an image counts as blank; scanner noise stays under 10."""


@dataclass(frozen=True, eq=False)
class ScaledDarkness:
    """The darkness of one image. Frame: px of the working image (pixel centres), y down."""

    full: Field
    """Shape (h, w): 0 on paper, 1 in full ink."""

    soft: Field
    """Shape (h, w): the same a little blurred, to be compared with half of full ink, or between places."""

    pen_px: float
    """Typical width of the line."""

    px_per_mm: float
    """Of the working image."""


def scaled_darkness(grey: Grey, dpi: float) -> ScaledDarkness | None:
    """Return the darkness of `grey`, shape (h, w), or None if it is blank.

    Paper and ink levels come from the image itself: the paper is a wide, smooth upper envelope of the grey, ink is what
    Otsu's threshold (1979) finds darker than that, so that a raw drawing with uneven light does as well as a cleaned
    cell.
    """
    darkness = _darkness(grey)
    if darkness is None:
        return None
    px_per_mm = dpi / MM_PER_INCH
    scale = 1.0
    pen = _pen_px(darkness, px_per_mm)
    if pen is None:
        return None
    if not 4.2 <= pen <= 10.0:
        # sixteenths, the sides filled up with paper to whole multiples, so that both sides scale by exactly the same
        parts = max(1, round(16 * float(np.clip(WORKING_PEN_PX / pen, 0.1, 4.0))))
        scale = parts / 16
        h, w = darkness.shape
        darkness = np.pad(darkness, ((0, -h % 16), (0, -w % 16)))
        h, w = darkness.shape
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        size = (w * parts // 16, h * parts // 16)
        darkness = np.asarray(cv2.resize(darkness, size, interpolation=how), np.float32)
        pen = _pen_px(darkness, px_per_mm * scale) or pen * scale
    soft = np.asarray(cv2.GaussianBlur(darkness, (0, 0), SOFT_PEN_WIDTHS * pen), np.float32)
    return ScaledDarkness(darkness, soft, pen, px_per_mm * scale)


def _darkness(grey: Grey) -> Field | None:
    """Return darkness 0..1 with a margin of paper around, or None for a blank image."""
    if grey.size == 0:
        return None
    soft = np.asarray(cv2.GaussianBlur(grey, (0, 0), 0.8), np.uint8)
    count = histogram(soft).cumsum()
    lo, hi = int(np.searchsorted(count, min(9, soft.size))), int(np.searchsorted(count, 0.9 * soft.size))
    if hi - lo < MIN_CONTRAST_GREY:
        return None
    paper: Field | float = float(hi)
    if min(grey.shape) > 64 and np.ptp(_lightest(soft)) > 12:
        paper = _paper(soft)
    fall = np.maximum(paper - soft.astype(np.float32), 0)
    dark8 = np.minimum(fall, 255).astype(np.uint8)
    level, _ = cv2.threshold(dark8, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    level = max(level, 0.35 * MIN_CONTRAST_GREY)
    core = dark8[dark8 > level]
    if len(core) < 3:
        return None
    levels = np.bincount(core, minlength=256).cumsum()
    ink = float(np.searchsorted(levels, 0.6 * len(core)))
    if ink < MIN_CONTRAST_GREY:
        return None
    raw = np.maximum(paper - grey.astype(np.float32), 0)
    out: Field = np.minimum(raw / ink, 1.25).astype(np.float32)
    return out


def _lightest(soft: Grey) -> NDArray[np.int64]:
    """Return the lightest grey in each of 4 x 4 tiles: the paper, wherever a tile is not all ink."""
    h, w = (n // 4 for n in soft.shape)
    rows = soft[: 4 * h].reshape(4, h, -1).max(axis=1)
    return np.asarray(rows[:, : 4 * w].reshape(4, 4, w).max(axis=2), np.int64)


def _paper(soft: Grey) -> Field:
    """Return the paper under the ink: a closing wider than any stroke, smoothed."""
    k = max(1, min(soft.shape) // 48)
    small = cv2.resize(soft, (max(8, soft.shape[1] // k), max(8, soft.shape[0] // k)), interpolation=cv2.INTER_AREA)
    side = 2 * (min(small.shape) // 6) + 1
    closed = cv2.morphologyEx(small, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    closed = cv2.GaussianBlur(closed, (0, 0), side / 4)
    out: Field = cv2.resize(closed, soft.shape[::-1], interpolation=cv2.INTER_LINEAR).astype(np.float32)
    return out


def _pen_px(darkness: Field, px_per_mm: float) -> float | None:
    """Return the typical width of the lines: twice the ridge of the distance transform."""
    mask = (cv2.GaussianBlur(darkness, (0, 0), max(0.6, GRAIN_MM * px_per_mm)) > 0.5).astype(np.uint8)
    if mask.sum() < 3:
        return None
    radius = np.asarray(cv2.distanceTransform(mask, cv2.DIST_L2, 5), np.float32)
    width = 2 * median(radius[ridge(radius) & (mask > 0)]) - 0.7
    return max(1.0, float(width))
