"""Other writing tools than a pen with even ink: what a pencil and a felt pen leave on paper.

Both are simple pictures of what a hand lens shows (common practice, no source): graphite stays on the tops of the
paper's fibres, the more of them the harder it is pressed, most in the middle of the line; a felt pen's ink is
translucent, so that passes over each other are darker, creeps along the fibres, and spreads where the pen rests.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from sample_sheets.writer.pen import fibres

Field = NDArray[np.float32]

GRAIN_MM = 0.07
"""Width of the paper's fibres and hollows."""

GRAPHITE = 0.62
"""Darkness of graphite on a fibre, where black ink has 1."""

LEAST_PRESSED, MOST_PRESSED = 0.45, 1.0
"""Share of the fibres that graphite reaches at the edge and in the middle of a line."""

PASS = 0.68
"""Darkness of one pass of a felt pen."""

REST_MM, SPREAD = 0.3, 0.18
"""Length of the ends at which a felt pen rests, and the share by which its line is broader there."""

CREEP = 0.12
"""Pen widths by which the edge of a felt pen's line comes and goes along the fibres."""

PIECE = 1.5
"""Pen widths of line after which the pen, back at the same place, makes another pass."""


def pencil(covered: NDArray[np.bool_], radius: float, per_mm: float, rng: np.random.Generator) -> Field:
    """Return the darkness of a pencil's lines, shape as `covered`: what the point passed over, at `per_mm` places.

    radius: half the width of the line, places.
    """
    tooth = _evenly(fibres(covered.shape, per_mm, rng, GRAIN_MM))
    depth = cv2.distanceTransform(covered.astype(np.uint8), cv2.DIST_L2, 5) / max(radius, 1.0)
    pressed = LEAST_PRESSED + (MOST_PRESSED - LEAST_PRESSED) * np.minimum(depth, 1.0)
    return np.where(covered & (tooth < pressed), np.float32(GRAPHITE), np.float32(0))


def felt(
    shape: tuple[int, int], lines: Sequence[Points], radius: float, per_mm: float, rng: np.random.Generator
) -> Field:
    """Return the darkness of a felt pen's lines, shape `shape`; lines: (n, 2) each, x and y in places, evenly spaced.

    radius: half the width of the pen, places; per_mm: places a millimetre.
    """
    tooth = _evenly(fibres(shape, per_mm, rng, GRAIN_MM))
    passes, last = np.zeros(shape, np.int16), np.full(shape, -9, np.int32)
    number = 0
    for line in lines:
        gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        rest = np.maximum(1 - np.minimum(gone, gone[-1] - gone) / (REST_MM * per_mm), 0)
        half = radius * (1 + SPREAD * rest)
        of_piece = (gone / (PIECE * 2 * radius)).astype(int)
        for k in range(of_piece[-1] + 1):
            number += 1
            here = np.zeros(shape, bool)
            lay_discs(here, line[of_piece == k], half[of_piece == k])
            passes[here & (last < number - 1)] += 1
            last[here] = number
        # the next stroke's first piece is no neighbour of this one's last
        number += 1
    # ink creeps outward along the fibres or leaves hollows at the edge bare
    inside = cv2.distanceTransform((passes > 0).astype(np.uint8), cv2.DIST_L2, 5)
    outside = cv2.distanceTransform((passes == 0).astype(np.uint8), cv2.DIST_L2, 5)
    reaches = inside - outside + (tooth - 0.5) * 2 * CREEP * 2 * radius > 0
    thick = cv2.dilate(passes.astype(np.float32), np.ones((3, 3), np.uint8), iterations=max(1, round(CREEP * radius)))
    many = np.where(passes > 0, passes, np.maximum(thick, 1))
    return np.where(reaches, 1 - (1 - PASS) ** many, 0).astype(np.float32)


def lay_discs(covered: NDArray[np.bool_], line: Points, radius: NDArray[np.float64]) -> None:
    """Cover OpenCV's circles along a line, px of the sub-pixels; they take sixteenths of a sub-pixel."""
    canvas = covered.view(np.uint8)
    for (x, y), r in zip(line, radius, strict=True):
        cv2.circle(canvas, (round(x * 16), round(y * 16)), round(r * 16), 1, -1, cv2.LINE_8, 4)


def _evenly(field: Field) -> Field:
    """Return a field's ranks, evenly spread over 0 to 1."""
    flat = field.ravel()
    out = np.empty(flat.size, np.float32)
    out[np.argsort(flat)] = np.linspace(0, 1, flat.size, dtype=np.float32)
    return out.reshape(field.shape)
