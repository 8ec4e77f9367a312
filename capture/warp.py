"""Where each place of the page lies on the scan: one homography, and what a flatbed, a lens and a curl add to it.

The homography takes what a plane seen by a camera does. What the marks show beyond it is smooth: a feed that slips is
a function of y, a lens a cubic of both coordinates, a curled sheet bends its edges. A thin-plate spline through the
marks (Bookstein, IEEE PAMI 11, 1989) with a polynomial under it carries all three; with marks along all four edges a
cubic is fixed inside the page as well, because no cubic but zero vanishes on the whole edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from scipy.ndimage import map_coordinates, spline_filter

from capture.units import Points

_NODE_MM = 4.0
_MARGIN_MM = 24.0
"""The residual is known this far beyond the page, so that ink at its very edge is found too."""


@dataclass(frozen=True, eq=False)
class Warp:
    """The way from the page (mm, y down) to the scan (px, pixel centres, y down)."""

    homography: NDArray[np.float64]
    """Shape (3, 3): page mm to scan px."""

    residual_px: NDArray[np.float64]
    """Shape (2, rows, columns): spline coefficients of what is added to x and y, on nodes every 4 mm from -24 mm."""

    def __call__(self, points_mm: Points) -> Points:
        """Return scan pixels for page millimetres; shapes (..., 2)."""
        p = np.asarray(points_mm, float)
        flat = p.reshape(-1, 2)
        out = project(self.homography, flat)
        at = (flat.T[::-1] + _MARGIN_MM) / _NODE_MM
        for axis in (0, 1):
            out[:, axis] += map_coordinates(self.residual_px[axis], at, order=3, mode="nearest", prefilter=False)
        return out.reshape(p.shape)

    def px_per_mm(self, points_mm: Points) -> NDArray[np.float64]:
        """Return the scan's pixels in a millimetre around each place, the geometric mean over directions.

        points_mm: shape (n, 2), page frame. The result has shape (n,).
        """
        p = np.asarray(points_mm, float).reshape(-1, 2)
        step = 2.0
        right, down = np.array([step, 0.0]), np.array([0.0, step])
        ex = (self(p + right) - self(p - right)) / (2 * step)
        ey = (self(p + down) - self(p - down)) / (2 * step)
        return np.asarray(np.sqrt(np.abs(ex[:, 0] * ey[:, 1] - ex[:, 1] * ey[:, 0])))


def project(homography: NDArray[np.float64], points: Points) -> Points:
    """Return points (n, 2) through a homography (3, 3)."""
    h = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(h[:, :2] / h[:, 2:])


def fit_homography(
    page_mm: Points, scan_px: Points, *, within_px: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the homography through most of n >= 4 pairs, and which of them are nearer to it than `within_px`.

    page_mm, scan_px: shape (n, 2). The homography, shape (3, 3), maps page mm to scan px; the mask has
    shape (n,).

    Raises
    ------
    ValueError
        If no homography goes through four of them.
    """
    found, inliers = cv2.findHomography(page_mm, scan_px, cv2.RANSAC, within_px, maxIters=2000, confidence=0.999)
    if found is None:
        raise ValueError("no homography")
    keep = inliers.ravel().astype(bool)
    if keep.sum() >= 4:
        better, _ = cv2.findHomography(page_mm[keep], scan_px[keep], 0)
        found = found if better is None else better
    return np.asarray(found, float), keep


def fit_warp(
    page_mm: Points, scan_px: Points, *, size_mm: tuple[float, float], noise_px: float = 0.1
) -> tuple[Warp, NDArray[np.float64]]:
    """Return the warp through pairs of places, and how far each pair lies from what the others predict (px).

    Parameters
    ----------
    page_mm, scan_px
        Shape (n, 2), n >= 4: places on the page and where they were found.
    size_mm
        Width and height of the page.
    noise_px
        How exactly they were found.

    Raises
    ------
    ValueError
        If no homography goes through four of them.
    """
    found, _ = cv2.findHomography(page_mm, scan_px, 0)
    if found is None:
        raise ValueError("no homography")
    homography = np.asarray(found, np.float64)
    residual = scan_px - project(homography, page_mm)
    n = len(page_mm)
    degree = 3 if n >= 16 else 2 if n >= 11 else 1 if n >= 6 else None
    error = np.hypot(*residual.T)
    if degree is None:
        return Warp(homography, np.zeros((2, *_grid_shape(size_mm)))), error
    unit = 100.0  # keeps the polynomials well conditioned
    options = {"kernel": "thin_plate_spline", "degree": degree, "smoothing": _smoothing(noise_px)}
    spline = RBFInterpolator(page_mm / unit, residual, **options)
    nodes = _nodes(size_mm)
    inside = np.clip(nodes, -6.0, np.asarray(size_mm) + 6.0)  # a cubic runs away outside the marks
    values = spline(inside.reshape(-1, 2) / unit).reshape(nodes.shape)
    coefficients = np.stack([spline_filter(values[..., k], order=3, mode="nearest") for k in (0, 1)])
    if n >= 11:  # each pair against a spline without it: what the marks themselves cannot show
        for i in range(n):
            others = np.arange(n) != i
            less = {**options, "degree": min(degree, 2)}
            guess = RBFInterpolator(page_mm[others] / unit, residual[others], **less)(page_mm[i : i + 1] / unit)
            error[i] = np.hypot(*(guess[0] - residual[i]))
    return Warp(homography, coefficients), error


def moved(warp: Warp, size_mm: tuple[float, float], shift_px: NDArray[np.float64]) -> Warp:
    """Return `warp` with a shift added at its nodes; `shift_px` has shape (rows, columns, 2), as `nodes_mm` gives."""
    more = np.stack([spline_filter(shift_px[..., k], order=3, mode="nearest") for k in (0, 1)])
    return Warp(warp.homography, warp.residual_px + more)


def nodes_mm(size_mm: tuple[float, float]) -> Points:
    """Return the places of the residual's nodes on the page; shape (rows, columns, 2)."""
    return _nodes(size_mm)


def _smoothing(noise_px: float) -> float:
    """Return RBFInterpolator's smoothing: so small that the marks are met within their noise."""
    return 1e-4 * max(noise_px, 0.01)


def _grid_shape(size_mm: tuple[float, float]) -> tuple[int, int]:
    columns, rows = (int(np.ceil((s + 2 * _MARGIN_MM) / _NODE_MM)) + 1 for s in size_mm)
    return rows, columns


def _nodes(size_mm: tuple[float, float]) -> Points:
    rows, columns = _grid_shape(size_mm)
    y, x = np.mgrid[0:rows, 0:columns] * _NODE_MM - _MARGIN_MM
    return np.stack([x, y], axis=-1)
