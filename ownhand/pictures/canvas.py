"""A small canvas for the pictures people look at: contact sheets, proofs, previews.

Frame: page (mm, origin top left, y down). Lines are drawn antialiased at twice the resolution and reduced once.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from capture.files import write_bytes
from capture.units import MM_PER_INCH, Points
from ownhand.composer.formats.png import smooth_thickness

Colour = tuple[int, int, int]
"""Red, green, blue; 0 to 255."""

INK: Colour = (38, 44, 58)
QUIET: Colour = (104, 102, 97)
RULE: Colour = (222, 216, 204)
WARN: Colour = (178, 64, 20)
PAPER: Colour = (255, 254, 250)

STROKE_COLOURS: tuple[Colour, ...] = (
    (0, 92, 150),
    (200, 80, 0),
    (0, 120, 84),
    (140, 50, 130),
    (120, 96, 0),
    (70, 70, 76),
)
"""First, second, third ... stroke; every picture also writes the number, so no meaning hangs on colour alone."""

_SCALE = 2
_SHIFT = 4
_BAND = 64


@lru_cache(maxsize=64)
def _font(file: Path, size_px: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(file), size_px)


class Canvas:
    """A picture in the making.

    Parameters
    ----------
    width_mm, height_mm
        Size of the picture.
    px_per_mm
        Resolution of the finished picture.
    """

    def __init__(self, width_mm: float, height_mm: float, *, px_per_mm: float) -> None:
        self._k = px_per_mm * _SCALE
        self._px_per_mm = px_per_mm
        size = (max(1, round(height_mm * px_per_mm)) * _SCALE, max(1, round(width_mm * px_per_mm)) * _SCALE, 3)
        self._pixels: NDArray[np.uint8] = np.empty(size, np.uint8)
        self._pixels[0] = PAPER
        self._pixels[1:] = self._pixels[0]  # row by row takes a tenth of the time of pixel by pixel
        self._texts: list[tuple[float, float, str, Path, int, Colour, str]] = []

    def _fixed(self, points_mm: Points) -> NDArray[np.int32]:
        fixed: NDArray[np.int32] = np.round((np.asarray(points_mm, float) * self._k - 0.5) * 2**_SHIFT).astype(np.int32)
        return fixed

    def line(self, points_mm: Points | Sequence[Sequence[float]], *, width_mm: float, colour: Colour = INK) -> None:
        """Draw a pen line with round ends through `points_mm`, shape (n, 2); one point gives a dot."""
        points = np.asarray(points_mm, float)
        if len(points) == 1 or not np.ptp(points, axis=0).any():
            self.dot(points[0], radius_mm=width_mm / 2, colour=colour)
            return
        thickness = smooth_thickness(width_mm * self._k)
        cv2.polylines(self._pixels, [self._fixed(points)], False, colour, thickness, cv2.LINE_AA, _SHIFT)

    def dot(self, at_mm: Sequence[float] | Points, *, radius_mm: float, colour: Colour = INK) -> None:
        """Draw a filled disc."""
        x, y = self._fixed(np.asarray([at_mm], float))[0]
        radius = max(1, round(radius_mm * self._k * 2**_SHIFT))
        cv2.circle(self._pixels, (int(x), int(y)), radius, colour, -1, cv2.LINE_AA, _SHIFT)

    def arrow(self, points_mm: Points, *, size_mm: float, colour: Colour) -> None:
        """Draw an arrow head at the end of the line `points_mm`, pointing the way it runs."""
        points = np.asarray(points_mm, float)
        behind = points[np.hypot(*(points - points[-1]).T) > size_mm * 0.6]
        step = points[-1] - (behind[-1] if len(behind) else points[0])
        length = float(np.hypot(*step))
        if length < 1e-9:
            return
        u = step / length
        n = np.array([-u[1], u[0]])
        tip, back, side = points[-1] + u * size_mm * 0.3, points[-1] - u * size_mm * 0.7, n * size_mm * 0.42
        head = np.stack([tip, back + side, back - side])
        cv2.fillPoly(self._pixels, [self._fixed(head)], colour, cv2.LINE_AA, _SHIFT)

    def box(
        self, x_mm: float, y_mm: float, w_mm: float, h_mm: float, *, colour: Colour, width_mm: float = 0.15
    ) -> None:
        """Draw the outline of a rectangle."""
        corners = [(x_mm, y_mm), (x_mm + w_mm, y_mm), (x_mm + w_mm, y_mm + h_mm), (x_mm, y_mm + h_mm), (x_mm, y_mm)]
        self.line(corners, width_mm=width_mm, colour=colour)

    def fill(self, x_mm: float, y_mm: float, w_mm: float, h_mm: float, *, colour: Colour) -> None:
        """Fill a rectangle."""
        x0, y0 = round(x_mm * self._k), round(y_mm * self._k)
        x1, y1 = round((x_mm + w_mm) * self._k), round((y_mm + h_mm) * self._k)
        self._pixels[max(y0, 0) : max(y1, 0), max(x0, 0) : max(x1, 0)] = colour

    def shade(self, grey: NDArray[np.uint8], x_mm: float, y_mm: float, *, px_per_mm: float, colour: Colour) -> None:
        """Lay a grey picture (paper 255, ink dark) over the canvas, its ink tinted with `colour`.

        `x_mm`, `y_mm`: where the top left corner of the picture goes; `px_per_mm`: its resolution.
        """
        h, w = grey.shape
        x0, y0 = round(x_mm * self._k), round(y_mm * self._k)
        size = (max(1, round(w * self._k / px_per_mm)), max(1, round(h * self._k / px_per_mm)))
        paper = cv2.resize(grey, size, interpolation=cv2.INTER_LINEAR)
        rows, columns = self._pixels.shape[:2]
        ax, ay, bx, by = max(x0, 0), max(y0, 0), min(x0 + size[0], columns), min(y0 + size[1], rows)
        if ax >= bx or ay >= by:
            return
        # a band at a time stays in the processor's cache: a page took ten times as long as a whole
        for top in range(ay, by, _BAND):
            end = min(top + _BAND, by)
            share = paper[top - y0 : end - y0, ax - x0 : bx - x0].astype(np.float32) / 255
            under = self._pixels[top:end, ax:bx]
            self._pixels[top:end, ax:bx] = cv2.blendLinear(under, np.full_like(under, colour), share, 1 - share)

    def picture(self, rgb: NDArray[np.uint8], x_mm: float, y_mm: float, w_mm: float, h_mm: float) -> None:
        """Lay a picture over the canvas, its top left corner at (x, y), w by h mm; rgb: shape (h, w, 3)."""
        x0, y0 = round(x_mm * self._k), round(y_mm * self._k)
        size = (max(1, round(w_mm * self._k)), max(1, round(h_mm * self._k)))
        scaled = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA if size[0] < rgb.shape[1] else cv2.INTER_LINEAR)
        rows, columns = self._pixels.shape[:2]
        ax, ay, bx, by = max(x0, 0), max(y0, 0), min(x0 + size[0], columns), min(y0 + size[1], rows)
        if ax < bx and ay < by:
            self._pixels[ay:by, ax:bx] = scaled[ay - y0 : by - y0, ax - x0 : bx - x0]

    def text(
        self,
        x_mm: float,
        y_mm: float,
        text: str,
        *,
        font: Path,
        size_mm: float,
        colour: Colour = INK,
        anchor: str = "ls",
    ) -> None:
        """Write `text`, `size_mm` high (the em).

        `anchor` is two letters: l m r for left, middle, right; a m s for top, middle, baseline.
        """
        self._texts.append((x_mm, y_mm, text, font, max(4, round(size_mm * self._px_per_mm)), colour, anchor))

    def image(self) -> Image.Image:
        """Return the finished picture."""
        h, w = self._pixels.shape[:2]
        small = cv2.resize(self._pixels, (w // _SCALE, h // _SCALE), interpolation=cv2.INTER_AREA)
        picture = Image.fromarray(small)
        pen = ImageDraw.Draw(picture)
        for x, y, text, file, size, colour, anchor in self._texts:
            at = (x * self._px_per_mm, y * self._px_per_mm)
            pen.text(at, text, font=_font(file, size), fill=colour, anchor=anchor)
        return picture

    def save_png(self, path: Path) -> Path:
        """Write the finished picture as PNG, with its resolution; see `capture.files.write_bytes`."""
        data = io.BytesIO()
        dpi = self._px_per_mm * MM_PER_INCH
        # level 4: a fifth of the time of the highest, a tenth more bytes
        self.image().save(data, "PNG", dpi=(dpi, dpi), compress_level=4)
        return write_bytes(path, data.getvalue())
