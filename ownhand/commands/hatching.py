"""Lines drawn so close that a picture's resolution does not keep them apart.

Between two lines the picture must show paper. Where hatching is finer than that, the valleys between its lines are
still there as shallow dips of darkness; how many there are and how dark the whole is tells how far apart the lines lie.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.errors import InputError
from capture.units import px_per_mm

LEAST_GAP_PX = 2.0
"""White between two lines from which they are traced as two. Measured on lines of 0.35 mm at 300 dpi, level and at 35
degrees: ten are found at 2.4 px, one blot at 1.8."""

BLUR_PX = 0.95
"""White that blur and the dips' own breadth take off what is estimated; measured on the same lines."""

SAFE_GAP_PX = 2.6
BLOCK_PX = 24
VALLEY = 0.1
"""Least depth of a dip of darkness between two lines, of full ink."""

LEAST_AREA_MM2 = 4.0
_DIRECTIONS = ((0, 1), (1, 0), (1, 1), (1, -1))
_REACH = 3


def unresolved_gap_px(grey: NDArray[np.uint8], dpi: float) -> float | None:
    """Return the white between lines, px, where they are too close to be told apart; None where there are none such.

    Parameters
    ----------
    grey : ndarray of shape (h, w)
        Dark ink on light paper.
    dpi
        Resolution of the picture.
    """
    smooth = cv2.GaussianBlur(grey, (0, 0), 0.7).astype(np.float32)
    paper, ink = (float(v) for v in np.percentile(smooth, (90, 0.5)))
    if paper - ink < 40:
        return None
    dark = np.clip((paper - smooth) / (paper - ink), 0, 1)
    valley = np.zeros(dark.shape, bool)
    for dy, dx in _DIRECTIONS:
        ahead, behind = (np.zeros_like(dark) for _ in range(2))
        for step in range(1, _REACH + 1):
            ahead = np.maximum(ahead, _moved(dark, step * dy, step * dx))
            behind = np.maximum(behind, _moved(dark, -step * dy, -step * dx))
        lowest = (dark <= _moved(dark, dy, dx)) & (dark < _moved(dark, -dy, -dx))
        valley |= lowest & (np.minimum(ahead, behind) - dark > VALLEY) & (np.minimum(ahead, behind) > 0.4)
    h, w = (side // BLOCK_PX * BLOCK_PX for side in dark.shape)
    if not h or not w:
        return None

    def of_blocks(field: NDArray[np.float32]) -> NDArray[np.float32]:
        parts = field[:h, :w].reshape(h // BLOCK_PX, BLOCK_PX, w // BLOCK_PX, BLOCK_PX)
        return np.asarray(parts.mean(axis=(1, 3)), np.float32)

    share, inked = of_blocks(valley.astype(np.float32)), of_blocks(dark)
    gaps = (1 - inked) / np.maximum(share, 1e-6) + BLUR_PX
    # at least two lines cross a block, and its valleys are no paper
    close = (share > 2 / BLOCK_PX) & (inked > 0.35) & (gaps < LEAST_GAP_PX)
    area = float(close.sum()) * (BLOCK_PX / px_per_mm(dpi)) ** 2
    return float(np.median(gaps[close])) if area >= LEAST_AREA_MM2 else None


def check_resolved(grey: NDArray[np.uint8], dpi: float, where: str) -> None:
    """Refuse a picture whose lines its resolution does not keep apart.

    Lengths are mm; grey: ink dark on light paper, shape (h, w).

    Raises
    ------
    InputError
        With the resolution that it needs.
    """
    gap = unresolved_gap_px(grey, dpi)
    if gap is None:
        return
    needed = int(np.ceil(dpi * SAFE_GAP_PX / max(gap, 0.3) / 100) * 100)
    raise InputError(
        where,
        f"holds lines that lie {gap:.1f} px apart at {dpi:g} dpi; under {LEAST_GAP_PX:g} px they run into one",
        f"Scan it at {needed} dpi or more.",
    )


def widest_mm(grey: NDArray[np.uint8], dpi: float) -> float:
    """Return how wide the broadest ink is, mm: solid areas, of which a tracer draws only the middle line.

    grey: ink dark on light paper, shape (h, w).
    """
    level, mask = cv2.threshold(cv2.GaussianBlur(grey, (0, 0), 0.7), 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)
    if level <= 0 or not mask.any() or float(np.ptp(grey)) < 40:
        return 0.0
    return 2 * float(cv2.distanceTransform(mask, cv2.DIST_L2, 5).max()) / px_per_mm(dpi)


def _moved(field: NDArray[np.float32], dy: int, dx: int) -> NDArray[np.float32]:
    """Return the field seen from `dy` rows and `dx` columns further; its edge goes on."""
    matrix = np.array([[1, 0, -dx], [0, 1, -dy]], np.float32)
    moved = cv2.warpAffine(field, matrix, field.shape[::-1], flags=cv2.INTER_NEAREST, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.float32)
