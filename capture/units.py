"""The frames of reference, and every crossing between them.

| frame | unit       | origin                       | y    |
| ----- | ---------- | ---------------------------- | ---- |
| scan  | px         | top left of the image        | down |
| page  | mm         | top left corner of the sheet | down |
| image | mm         | top left corner of the image | down |
| cell  | mm         | left guide, on the baseline  | up   |
| em    | font units | pen origin, on the baseline  | up   |

Pixel coordinates mean pixel *centres*: the pixel in the corner has the centre (0, 0) px, and that centre lies half a
pixel inside the image, at (0.5, 0.5) / px_per_mm in mm. Any other line that flips a y or divides by a resolution is
a bug.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Points = NDArray[np.float64]
"""Shape (n, 2): x, y. The frame and unit are in the name of whatever holds it."""

MM_PER_INCH = 25.4
MM_PER_POINT = 25.4 / 72
"""The PDF unit (ISO 32000-1, 8.3.2.3: 1/72 inch)."""


def px_per_mm(dpi: float) -> float:
    """Return the pixels in a millimetre at `dpi` pixels per inch."""
    return dpi / MM_PER_INCH


def image_from_pixels(points_px: ArrayLike, *, px_per_mm: float) -> Points:
    """Return image-frame millimetres for pixel coordinates `points_px`, shape (n, 2) or (2,).

    Examples
    --------
    >>> image_from_pixels([[0, 0]], px_per_mm=10.0)
    array([[0.05, 0.05]])
    """
    return (np.asarray(points_px, float) + 0.5) / px_per_mm


def pixels_from_image(points_mm: ArrayLike, *, px_per_mm: float) -> Points:
    """Return pixel coordinates (pixel centres) for image- or page-frame `points_mm`, shape (n, 2) or (2,), in mm."""
    return np.asarray(points_mm, float) * px_per_mm - 0.5


def cell_from_image(points_mm: ArrayLike, *, left_mm: float, baseline_mm: float) -> Points:
    """Return cell-frame millimetres (y up from the baseline) for image- or page-frame ones (y down).

    points_mm: shape (n, 2).

    `left_mm` and `baseline_mm` say where the left guide and the baseline lie in the frame that is left.

    Examples
    --------
    >>> cell_from_image([[3.0, 4.0]], left_mm=1.0, baseline_mm=10.0)
    array([[2., 6.]])
    """
    p = np.asarray(points_mm, float)
    return np.column_stack([p[:, 0] - left_mm, baseline_mm - p[:, 1]])


def image_from_cell(points_mm: ArrayLike, *, left_mm: float, baseline_mm: float) -> Points:
    """Return image- or page-frame millimetres for cell-frame `points_mm`, shape (n, 2); undoes `cell_from_image`."""
    p = np.asarray(points_mm, float)
    return np.column_stack([p[:, 0] + left_mm, baseline_mm - p[:, 1]])


def em_from_cell(points_mm: ArrayLike, *, mm_per_unit: float) -> Points:
    """Return font units for cell-frame millimetres `points_mm` of any shape; both have y up."""
    return np.asarray(points_mm, float) / mm_per_unit


def cell_from_em(points: ArrayLike, *, mm_per_unit: float) -> Points:
    """Return cell-frame millimetres for `points` in font units, of any shape; both have y up."""
    return np.asarray(points, float) * mm_per_unit
