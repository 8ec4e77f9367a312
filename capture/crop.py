"""Cutting one cell's ink out of the page."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.cell import InkAssignment
from capture.ink import PageInk
from capture.scan_image import Pixels


def cut_out(ink: PageInk, dealt: InkAssignment, index: int, *, white_mm: float = 1.0) -> tuple[Pixels, float, float]:
    """Return the grey image of one cell's ink, and x and y in mm of its top left corner on the page.

    The image shows the whole of the ink with `white_mm` around it; what belongs to others is white.
    """
    owned = dealt.cells[index]
    f, ppm = dealt.factor, ink.px_per_mm
    pad = round(white_mm * ppm / f)
    rows, columns = owned.mask.shape
    top, left = owned.origin[0] - pad, owned.origin[1] - pad
    h, w = rows + 2 * pad, columns + 2 * pad
    mine, others = np.zeros((h, w), np.uint8), np.zeros((h, w), np.uint8)
    near = _window(dealt.owner, top, left, h, w, fill=0)
    mine[near == index + 1] = 1
    others[(near != 0) & (near != index + 1)] = 1
    fringe = max(1, round(0.16 * ppm / f))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * fringe + 1,) * 2)
    keep = (cv2.dilate(mine, kernel) > 0) & (cv2.dilate(others, np.ones((3, 3), np.uint8)) == 0) | (mine > 0)
    y0, x0, y1, x1 = (round(v * f) for v in (top, left, top + h, left + w))
    whole = cv2.resize(keep.view(np.uint8), (x1 - x0, y1 - y0), interpolation=cv2.INTER_NEAREST) > 0
    grey = np.where(whole, _window(ink.grey, y0, x0, y1 - y0, x1 - x0, fill=255), 255)
    return np.asarray(grey, np.uint8), x0 / ppm, y0 / ppm


def _window(image: NDArray[Any], top: int, left: int, h: int, w: int, *, fill: int) -> NDArray[Any]:
    """Return a part of an image that may reach beyond it."""
    out = np.full((h, w), fill, image.dtype)
    y0, x0 = max(top, 0), max(left, 0)
    y1, x1 = min(top + h, image.shape[0]), min(left + w, image.shape[1])
    if y1 > y0 and x1 > x0:
        out[y0 - top : y1 - top, x0 - left : x1 - left] = image[y0:y1, x0:x1]
    return out
