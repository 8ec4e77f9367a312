"""Where the ink is: a grey image made into darkness, a mask and the width of the pen, at a size fit for thinning."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import MM_PER_INCH
from skeleton.ink.grain import FaintInk, find_faint_ink
from skeleton.ink.mask import Mask, dark_mask, pale_mask
from skeleton.ink.scaled_darkness import Field, Grey, ScaledDarkness, scaled_darkness

PENCIL_BLUR_PEN_WIDTHS = 0.25
"""Blur by which the grain of a pencil's line is evened before anything else is looked at."""

PENCIL_FULL = 0.55
"""Darkness from which a pencil's smoothed line counts as full ink: what is left of its grain tells of no movement."""


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


def find_ink(grey: Grey, dpi: float) -> InkMap | None:
    """Return the ink of a character or a drawing, shape (h, w), or None if it is blank.

    A pencil's grain is smoothed away first, and what it or a skipping pen left too pale is ink as well.
    """
    ink = scaled_darkness(grey, dpi)
    if ink is None:
        return None
    pale = _faint(ink)
    if pale.pencil:
        return _of_pencil(grey, dpi, ink, pale)
    if pale.skips:
        return _with_radius(ink, pale_mask(ink, pale.mask), uneven=True)
    mask, skips = dark_mask(ink)
    return _with_radius(ink, mask, uneven=skips)


def find_ink_of_words(grey: Grey, dpi: float) -> InkMap | None:
    """Return the ink of words, shape (h, w), or None if it is blank.

    They are written smaller than single characters: their narrow loops would fill if pale places were ink, or a
    pencil's grain were smoothed away.
    """
    ink = scaled_darkness(grey, dpi)
    if ink is None:
        return None
    mask, skips = dark_mask(ink)
    return _with_radius(ink, mask, uneven=skips)


def _of_pencil(grey: Grey, dpi: float, ink: ScaledDarkness, pale: FaintInk) -> InkMap | None:
    """Return the ink of a pencil, its grain smoothed away; ink, pale: as it is with its grain."""
    grain_px = PENCIL_BLUR_PEN_WIDTHS * ink.pen_px * dpi / MM_PER_INCH / ink.px_per_mm
    smoothed = scaled_darkness(np.asarray(cv2.GaussianBlur(grey, (0, 0), grain_px), np.uint8), dpi)
    if smoothed is not None:
        ink, pale = smoothed, _faint(smoothed)
    darkness = np.minimum(ink.full / np.float32(PENCIL_FULL), 1)
    return _with_radius(ink, pale_mask(ink, pale.mask), uneven=True, darkness=darkness)


def _faint(ink: ScaledDarkness) -> FaintInk:
    return find_faint_ink(ink.full, ink.soft, ink.pen_px)


def _with_radius(ink: ScaledDarkness, mask: Mask, *, uneven: bool, darkness: Field | None = None) -> InkMap | None:
    """Return an ink map, None where the mask is empty; `darkness`: that of the map where it is another."""
    if not mask.any():
        return None
    radius = np.asarray(cv2.distanceTransform(mask, cv2.DIST_L2, 5), np.float32)
    return InkMap(ink.full if darkness is None else darkness, mask, radius, ink.pen_px, ink.px_per_mm, uneven)
