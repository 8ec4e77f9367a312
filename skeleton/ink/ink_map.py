"""Where the ink is: a grey image made into darkness, a mask and the width of the pen, at a size fit for thinning."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import MM_PER_INCH
from skeleton.geometry.quantiles import median
from skeleton.ink.components import flip_small_components, histogram
from skeleton.ink.grain import find_faint_ink, ridge

Grey = NDArray[np.uint8]
Field = NDArray[np.float32]

WORKING_PEN_PX = 6.0
"""Width of the pen in the working image.

Thinning is surest at 5 to 9 px: thinner lines break, wider ones grow spurs.
"""

SOFT_PEN_WIDTHS = 0.12
"""Blur of the darkness before it is compared with half of full ink, or between places."""

SHARPEN_WEIGHT = 0.9
"""Weight of the difference of two blurs that opens gaps of a third of a pen width."""

PALE_CORE_SHARE = 0.006
"""Share of the ink's core that is paler than 0.8 from which the pen is taken to skip: mottled ink stays under 0.005,
a pen that leaves six per cent of its line bare has 0.02."""

GRAIN_MM = 0.05
"""Standard deviation of the blur before a line's width is measured: at fine resolutions the grain of the paper would
be taken for lines."""

PENCIL_BLUR_PEN_WIDTHS = 0.25
"""Blur by which the grain of a pencil's line is evened before anything else is looked at."""

PENCIL_FULL = 0.55
"""Darkness from which a pencil's smoothed line counts as full ink: what is left of its grain tells of no movement."""

BROAD_HALF_WIDTH_PEN_WIDTHS = 1.2
"""Half-width of the ink, in pen widths, from which several strokes beside each other have run into one: a line has
0.5, two lines have 1. Gaps opened between two lines of a letter (0.8) cost .005 of the readings."""

VALLEY_BLUR_PEN_WIDTHS = 0.1
"""Pen widths of blur before the bends of darkness are taken."""

MIN_VALLEY_BEND = 1.44
"""Second difference of darkness across a gap, for a pen width as unit. Set by hand, as the next ones are."""

GAP_LENGTH_PEN_WIDTHS = (1.2, 3.0)
"""Pen widths from which a valley is a gap, of a pen that draws evenly and of one that skips."""

MIN_CONTRAST_GREY = 28.0
"""Grey levels between paper and ink below which an image counts as blank; scanner noise stays under 10."""


@dataclass(frozen=True, eq=False)
class InkMap:
    """The ink of one image. Frame: px of the working image (pixel centres), y down."""

    darkness: Field
    """Shape (h, w): 0 on paper, 1 in full ink."""

    mask: NDArray[np.uint8]
    """Shape (h, w): 1 where there is ink."""

    radius: Field
    """Shape (h, w): distance to the nearest paper, px; 0 on paper."""

    pen_px: float
    """Typical width of the line."""

    px_per_mm: float
    """Of the working image."""

    uneven: bool = False
    """Whether a pencil made it, or a pen that skips: what is narrow may be pale."""


def require_grey(grey: object, dpi: float) -> None:
    """Raise ValueError unless `grey` is a uint8 array of shape (h, w) and `dpi` is positive."""
    if not isinstance(grey, np.ndarray) or grey.ndim != 2 or grey.dtype != np.uint8:
        raise ValueError(f"grey must be a uint8 array of shape (h, w), got {getattr(grey, 'dtype', type(grey))}")
    if not dpi > 0:
        raise ValueError(f"dpi must be positive, got {dpi}")


def find_ink(grey: Grey, dpi: float, *, faint: bool = True) -> InkMap | None:
    """Return the ink of `grey`, or None if it is blank.

    Paper and ink levels come from the image itself: the paper is a wide, smooth upper envelope of the grey, the
    threshold is Otsu's (1979) on what is darker than that, so that a raw drawing with uneven light does as well as a
    cleaned cell. `faint`: a pencil's grain is smoothed away first, and what it or a skipping pen left too pale is ink
    as well; in words, which are written smaller, narrow loops would fill.
    """
    scaled = _scaled_darkness(grey, dpi)
    if scaled is None:
        return None
    soft = _soft(scaled)
    pale = find_faint_ink(scaled.darkness, soft, scaled.pen_px) if faint else None
    if pale is not None and pale.pencil:
        grain_px = PENCIL_BLUR_PEN_WIDTHS * scaled.pen_px * dpi / MM_PER_INCH / scaled.px_per_mm
        smoothed = _scaled_darkness(np.asarray(cv2.GaussianBlur(grey, (0, 0), grain_px), np.uint8), dpi)
        if smoothed is not None:
            scaled, soft = smoothed, _soft(smoothed)
            pale = replace(find_faint_ink(scaled.darkness, soft, scaled.pen_px), pencil=True)
    pencil = pale is not None and pale.pencil
    pale_too = pale.mask if pale is not None and (pencil or pale.skips) else None
    mask, skips = _mask(scaled.darkness, soft, scaled.pen_px, pale_too)
    if not mask.any():
        return None
    radius = np.asarray(cv2.distanceTransform(mask, cv2.DIST_L2, 5), np.float32)
    darkness = np.minimum(scaled.darkness / np.float32(PENCIL_FULL), 1) if pencil else scaled.darkness
    return InkMap(darkness, mask, radius, scaled.pen_px, scaled.px_per_mm, skips)


@dataclass(frozen=True, eq=False)
class _Scaled:
    """An image at the working size: darkness, shape (h, w), the width of the pen, the scale."""

    darkness: Field
    pen_px: float
    px_per_mm: float


def _soft(scaled: _Scaled) -> Field:
    return np.asarray(cv2.GaussianBlur(scaled.darkness, (0, 0), SOFT_PEN_WIDTHS * scaled.pen_px), np.float32)


def _scaled_darkness(grey: Grey, dpi: float) -> _Scaled | None:
    """Return the darkness of an image at a size fit for thinning, or None if it is blank."""
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
    return _Scaled(darkness, pen, px_per_mm * scale)


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


def _mask(darkness: Field, soft: Field, pen: float, faint: NDArray[np.uint8] | None) -> tuple[NDArray[np.uint8], bool]:
    """Return the ink's mask without dust, holes of missing fibre filled, and whether the pen skipped.

    `soft`: the darkness a little blurred; `faint`: the ink where pale places count.
    """
    plain = (soft > 0.5).astype(np.uint8)
    inside = np.asarray(cv2.distanceTransform(plain, cv2.DIST_L2, 5), np.float32)
    core = soft[inside > 0.3 * pen]
    skipping = len(core) > 0 and float((core < 0.8).mean()) > PALE_CORE_SHARE
    if faint is not None:
        skipping, mask, hole = True, faint, 0.45 * pen * pen
    elif skipping:
        # bare streaks within the ink are the pen's failing, not paper between strokes
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(0.25 * pen) + 1,) * 2)
        mask, hole = np.asarray(cv2.morphologyEx(plain, cv2.MORPH_CLOSE, disc), np.uint8), 0.45 * pen * pen
    else:
        # sharpened by the difference of two blurs: edges stay where they are, narrow gaps between strokes open
        mask = (soft + SHARPEN_WEIGHT * (soft - cv2.GaussianBlur(darkness, (0, 0), 0.32 * pen)) > 0.5).astype(np.uint8)
        hole = 0.10 * pen * pen
    out = np.ascontiguousarray(mask, np.uint8)
    # streaks that were closed may have been the gaps themselves
    if (cv2.distanceTransform(out, cv2.DIST_L2, 5) if skipping else inside).max() > BROAD_HALF_WIDTH_PEN_WIDTHS * pen:
        out[_closed_gaps(soft, plain, inside, pen, GAP_LENGTH_PEN_WIDTHS[skipping] * pen) > 0] = 0
    flip_small_components(out, 1, 1, max(3.0, 0.2 * pen * pen))
    flip_small_components(out, 0, 0, max(2.0, hole))
    return out, skipping


def _closed_gaps(
    soft: Field, plain: NDArray[np.uint8], inside: Field, pen: float, min_length: float
) -> NDArray[np.uint8]:
    """Return where ink that has run into one is paler between two strokes, 1 there, shape (h, w).

    A gap is a valley of darkness: its greater second difference, an eigenvalue of the Hessian, is high (as Frangi and
    others 1998 find vessels), and it is long where bare streaks of a dry pen and mottled ink are round. `soft` is the
    darkness a little blurred, `inside` the distance from the paper of the mask `plain`, px.
    """
    g = cv2.GaussianBlur(soft, (0, 0), VALLEY_BLUR_PEN_WIDTHS * pen)
    xx, yy, xy = (cv2.Sobel(g, cv2.CV_32F, *order, ksize=3, scale=0.25) for order in ((2, 0), (0, 2), (1, 1)))
    bend = 0.5 * (xx + yy) + np.sqrt(0.25 * (xx - yy) ** 2 + xy * xy)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(0.3 * pen) + 1,) * 2)
    narrow = (cv2.morphologyEx(plain, cv2.MORPH_CLOSE, disc) > 0) & (plain == 0)
    valley = (bend * pen * pen > MIN_VALLEY_BEND) & ((inside > 0.45 * pen) | narrow)
    _, label, stats, _ = cv2.connectedComponentsWithStats(valley.astype(np.uint8), connectivity=8)
    long = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) >= min_length
    long[0] = False
    # no ink is to reach across it from corner to corner
    return np.asarray(cv2.dilate(np.asarray(long[label], np.uint8), np.ones((2, 2), np.uint8)), np.uint8)
