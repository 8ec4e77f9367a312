"""Strokes inked again and laid over the scan: a check that needs no truth."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from capture.units import pixels_from_image
from skeleton.geometry.stroke import Stroke
from skeleton.ink.ink_map import InkMap

BLOT_HALF_WIDTH_PEN_WIDTHS = 1.15
"""Half-width of the ink from which a blot or a filled-in counter is assumed: two strokes that touch have 1.0."""

BLOT_IN_UNEVEN_INK = 1.4
"""The same in uneven ink, whose pale edges count as ink: people's characters are a fifth broader at their broadest."""


def reinked(strokes: Sequence[Stroke], ink: InkMap) -> tuple[float, bool]:
    """Return the ink that strokes leave bare or add, as a share of the ink, and whether a blot is left unexplained."""
    drawn = np.zeros(ink.mask.shape, np.uint8)
    for s in strokes:
        p = np.round(pixels_from_image(s.points_mm, px_per_mm=ink.px_per_mm) * 16).astype(np.int32)
        if len(p) == 1:
            cv2.circle(drawn, (int(p[0, 0]), int(p[0, 1])), max(1, round(8 * ink.pen_px)), 1, -1, cv2.LINE_8, 4)
        else:
            cv2.polylines(drawn, [p], False, 1, max(1, round(ink.pen_px)), cv2.LINE_8, 4)
    # a rim of a pixel is a matter of rounding
    rim = np.ones((3, 3), np.uint8)
    bare = int((ink.mask & (cv2.dilate(drawn, rim) == 0)).sum())
    over = int((drawn & (cv2.dilate(ink.mask, rim) == 0)).sum())
    most = BLOT_IN_UNEVEN_INK if ink.uneven else BLOT_HALF_WIDTH_PEN_WIDTHS
    return (bare + over) / max(int(ink.mask.sum()), 1), bool(ink.radius.max() > most * ink.pen_px)
