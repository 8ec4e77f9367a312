"""The paper behind the ink: how bright it is in each place, whatever light fell on it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.scan_image import Pixels

_COARSE_PX_PER_MM = 3.0
"""Light changes over millimetres, not over the breadth of a line."""
_WIDEST_INK_MM = 5.0


def estimate_paper(pixels: Pixels, *, px_per_mm: float) -> NDArray[np.float32]:
    """Return the brightness of the bare paper on a coarse grid.

    What is dark and narrower than 5 mm in any direction (ink, guides, letters) is closed over (grey closing, Serra,
    "Image Analysis and Mathematical Morphology", 1982); the edge of a shadow keeps its place, because closing moves no
    edge that is longer than its disc is wide.

    Parameters
    ----------
    pixels
        Shape (h, w) or (h, w, 3), the straightened page.
    px_per_mm
        Its resolution.

    Returns
    -------
    ndarray of float32, shape (about h / k, about w / k[, 3]), k = px_per_mm / 3
        At least 1. To be enlarged to the size of `pixels` with `cv2.resize`.
    """
    factor = max(1.0, px_per_mm / _COARSE_PX_PER_MM)
    size = max(2, round(pixels.shape[1] / factor)), max(2, round(pixels.shape[0] / factor))
    coarse = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_odd(_WIDEST_INK_MM * _COARSE_PX_PER_MM),) * 2)
    small = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_odd(1.0 * _COARSE_PX_PER_MM),) * 2)
    closed = cv2.morphologyEx(coarse, cv2.MORPH_CLOSE, disc)
    # Closing takes the brightest grain of the paper; opening it again with a small disc takes the lone specks back.
    closed = cv2.morphologyEx(closed, cv2.MORPH_OPEN, small)
    smooth = cv2.GaussianBlur(closed.astype(np.float32), (0, 0), 0.5 * _COARSE_PX_PER_MM)
    return np.maximum(smooth, 1.0)


def _odd(value: float) -> int:
    return int(value) | 1
