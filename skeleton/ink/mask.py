"""The mask of the ink: where it is dark enough, without dust, with holes of missing fibre filled and gaps opened."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from skeleton.ink.components import flip_small_components
from skeleton.ink.scaled_darkness import Field, ScaledDarkness

Mask = NDArray[np.uint8]
"""Shape (h, w): 1 where there is ink."""

SHARPEN_WEIGHT = 0.9
"""Weight of the difference of two blurs that opens gaps of a third of a pen width."""

PALE_CORE_SHARE = 0.006
"""Share of the ink's core that is paler than 0.8 from which the pen is taken to skip: mottled ink stays under 0.005,
a pen that leaves six per cent of its line bare has 0.02."""

BROAD_HALF_WIDTH_PEN_WIDTHS = 1.2
"""Half-width of the ink, in pen widths, from which several strokes beside each other have run into one: a line has
0.5, two lines have 1. Gaps opened between two lines of a letter (0.8) cost .005 of the readings."""

VALLEY_BLUR_PEN_WIDTHS = 0.1
"""Pen widths of blur before the bends of darkness are taken."""

MIN_VALLEY_BEND = 1.44
"""Second difference of darkness across a gap, for a pen width as unit. Set by hand, as the next ones are."""

GAP_LENGTH_PEN_WIDTHS = (1.2, 3.0)
"""Pen widths from which a valley is a gap, of a pen that draws evenly and of one that skips."""

HOLE_PENS = (0.10, 0.45)
"""Squares of the pen's width up to which a hole is missing fibre, likewise."""


def dark_mask(ink: ScaledDarkness) -> tuple[Mask, bool]:
    """Return where the ink has half of its darkness, and whether the pen skipped."""
    plain, inside = _halved(ink)
    core = ink.soft[inside > 0.3 * ink.pen_px]
    skips = len(core) > 0 and float((core < 0.8).mean()) > PALE_CORE_SHARE
    if skips:
        # bare streaks within the ink are the pen's failing, not paper between strokes
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(0.25 * ink.pen_px) + 1,) * 2)
        found = np.asarray(cv2.morphologyEx(plain, cv2.MORPH_CLOSE, disc), np.uint8)
    else:
        # sharpened by the difference of two blurs: edges stay where they are, narrow gaps between strokes open
        blurred = cv2.GaussianBlur(ink.full, (0, 0), 0.32 * ink.pen_px)
        found = (ink.soft + SHARPEN_WEIGHT * (ink.soft - blurred) > 0.5).astype(np.uint8)
    return _cleaned(found, ink, plain, inside, uneven=skips), skips


def pale_mask(ink: ScaledDarkness, found: Mask) -> Mask:
    """Return `found`, where uneven ink is with all that is pale of it, its gaps opened, without dust and holes."""
    return _cleaned(found, ink, *_halved(ink), uneven=True)


def _halved(ink: ScaledDarkness) -> tuple[Mask, Field]:
    """Return where there is half of full ink, and the distance of that from the paper, px."""
    plain = (ink.soft > 0.5).astype(np.uint8)
    return plain, np.asarray(cv2.distanceTransform(plain, cv2.DIST_L2, 5), np.float32)


def _cleaned(found: Mask, ink: ScaledDarkness, plain: Mask, inside: Field, *, uneven: bool) -> Mask:
    """Return a mask with gaps opened, without dust, holes filled; plain, inside: as `_halved` gives them."""
    pen = ink.pen_px
    out = np.ascontiguousarray(found, np.uint8)
    # streaks that were closed may have been the gaps themselves
    if (cv2.distanceTransform(out, cv2.DIST_L2, 5) if uneven else inside).max() > BROAD_HALF_WIDTH_PEN_WIDTHS * pen:
        out[_closed_gaps(ink.soft, plain, inside, pen, GAP_LENGTH_PEN_WIDTHS[uneven] * pen) > 0] = 0
    flip_small_components(out, 1, 1, max(3.0, 0.2 * pen * pen))
    flip_small_components(out, 0, 0, max(2.0, HOLE_PENS[uneven] * pen * pen))
    return out


def _closed_gaps(soft: Field, plain: Mask, inside: Field, pen: float, min_length: float) -> Mask:
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
