"""A picture of the page, as the ink would look: for the eye, not for the plotter."""

from __future__ import annotations

import io
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image

from capture.errors import UsageError
from capture.units import MM_PER_INCH
from ownhand.composer.plot.plot_page import PlotPage, flatten

PAPER = (250, 254, 255)
"""Blue, green, red: what OpenCV draws in."""

OVERSAMPLING = 3
_SHIFT = 4
LARGEST_PX = 120_000_000


@dataclass(frozen=True)
class _Look:
    """How a pen's lines are drawn."""

    width_px: float
    colour: tuple[int, ...]
    """Blue, green, red."""


def png_bytes(page: PlotPage, *, dpi: float = 150.0) -> bytes:
    """Return the page as PNG."""
    data = io.BytesIO()
    Image.fromarray(picture(page, dpi=dpi)).save(data, "PNG", dpi=(dpi, dpi), compress_level=4)
    return data.getvalue()


def picture(page: PlotPage, *, dpi: float = 150.0, paper: tuple[int, int, int] = PAPER) -> np.ndarray:
    """Return the page as an RGB image, shape (rows, columns, 3), uint8.

    Lines have their pen's width and round ends. They are drawn at three times the resolution and averaged, strip by
    strip, so that a large page takes little memory.

    Raises
    ------
    UsageError
        If the picture would have more than 120 million pixels.
    """
    px_per_mm = dpi / MM_PER_INCH
    columns, rows = (max(1, round(side * px_per_mm)) for side in page.size_mm)
    if columns * rows > LARGEST_PX:
        raise UsageError("picture", f"{columns} x {rows} pixels at {dpi:g} dpi are too many", "Use fewer dpi.")
    points, starts = flatten(page.points_mm, page.starts, within_mm=0.1 / px_per_mm)
    k = px_per_mm * OVERSAMPLING
    fixed = np.rint((points * k - 0.5) * 2**_SHIFT).astype(np.int64)
    out = np.empty((rows, columns, 3), np.uint8)
    strip = 400
    # rows are copied from one row of paper: filling pixel by pixel takes several times as long
    blank = np.tile(np.array(paper, np.uint8), (columns * OVERSAMPLING, 1))
    numbers = range(1, max(len(page.pens), int(page.pen.max(initial=0))) + 1)
    looks = [_Look(page.width_of(n) * k, _bgr(page.pen_of(n).colour)) for n in numbers]
    reach = 2 * max(look.width_px for look in looks)
    tops = bottoms = np.zeros(0)
    if len(points):
        tops = np.minimum.reduceat(points[:, 1], starts[:-1]) * k - reach
        bottoms = np.maximum.reduceat(points[:, 1], starts[:-1]) * k + reach
    bounds = starts.tolist()
    for top in range(0, rows, strip):
        n = min(strip, rows - top)
        seen = np.flatnonzero((bottoms >= top * OVERSAMPLING) & (tops <= (top + n) * OVERSAMPLING))
        if not len(seen):
            out[top : top + n] = blank[:columns]
            continue
        band = np.empty((n * OVERSAMPLING, columns * OVERSAMPLING, 3), np.uint8)
        band[:] = blank
        offset = np.array([0, (top * OVERSAMPLING) << _SHIFT])
        for i in seen.tolist():
            path = (fixed[bounds[i] : bounds[i + 1]] - offset).astype(np.int32)
            _draw(band, path, looks[int(page.pen[i]) - 1])
        out[top : top + n] = cv2.resize(band, (columns, n), interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(out[..., ::-1])


def smooth_thickness(width_px: float) -> int:
    """Return what to ask OpenCV for: its smooth lines come out 1.4, 3.4, 5.4 ... px wide (measured)."""
    return 1 if width_px < 2.4 else max(2, 2 * round((width_px - 1.4) / 2))


def _bgr(colour: str) -> tuple[int, ...]:
    """Return #rrggbb as what OpenCV draws in."""
    return tuple(int(colour[i : i + 2], 16) for i in (5, 3, 1))


def _draw(band: np.ndarray, points: np.ndarray, look: _Look) -> None:
    width = look.width_px
    if len(points) == 1 or not np.ptp(points, axis=0).any():
        x, y = points[0].tolist()
        cv2.circle(band, (x, y), max(1, round(width / 2 * 2**_SHIFT)), look.colour, -1, cv2.LINE_AA, _SHIFT)
        return
    cv2.polylines(band, [points], False, look.colour, smooth_thickness(width), cv2.LINE_AA, _SHIFT)
