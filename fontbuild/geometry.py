"""Cubic pen strokes as points: sampling, bounds, moving them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from fontbuild.glyph import Glyph

Bounds = tuple[float, float, float, float]
"""x min, y min, x max, y max."""


def sample_stroke(stroke: Points, *, per_piece: int = 12) -> Points:
    """Return points along a cubic stroke, or along strokes of one structure, `per_piece` steps to each piece.

    Parameters
    ----------
    stroke : ndarray of shape (..., 3 k + 1, 2)

    Returns
    -------
    ndarray of shape (..., k * per_piece + 1, 2)
        Ends included; a dot (k = 0) gives its one point.

    Examples
    --------
    >>> sample_stroke(np.array([[0, 0], [1, 0], [2, 0], [3, 0.0]]), per_piece=3)[:, 0]
    array([0., 1., 2., 3.])
    """
    k = stroke.shape[-2] // 3
    if k == 0:
        return np.array(stroke, float)
    t = (np.arange(per_piece) / per_piece)[:, None]
    p0, p1, p2, p3 = (stroke[..., i : i + 3 * k : 3, None, :] for i in range(4))
    points = (1 - t) ** 3 * p0 + 3 * (1 - t) ** 2 * t * p1 + 3 * (1 - t) * t**2 * p2 + t**3 * p3
    return np.concatenate([points.reshape(*stroke.shape[:-2], -1, 2), stroke[..., -1:, :]], axis=-2)


def sample_glyph(glyph: Glyph, *, per_piece: int = 12) -> list[Points]:
    """Return every stroke of `glyph` as points.

    Each has shape (n, 2), font units, y up.
    """
    return [sample_stroke(s, per_piece=per_piece) for s in glyph.strokes]


def bounds(strokes: Iterable[Points]) -> Bounds:
    """Return the bounds of sampled strokes.

    Least x and y, greatest x and y, in the unit of the points (shape (n, 2) each).

    Raises
    ------
    ValueError
        If there is no stroke.
    """
    points = np.vstack(list(strokes))
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def glyph_bounds(glyph: Glyph) -> Bounds:
    """Return the bounds of the centre line of `glyph`, (0, 0, 0, 0) where it has none."""
    return bounds(sample_glyph(glyph)) if glyph.strokes else (0.0, 0.0, 0.0, 0.0)


def moved(glyph: Glyph, dx: float, dy: float = 0.0) -> Glyph:
    """Return `glyph` with strokes and anchors moved; its advance stays."""
    by = np.array([dx, dy])
    anchors = {name: (x + dx, y + dy) for name, (x, y) in glyph.anchors.items()}
    return replace(glyph, strokes=tuple(s + by for s in glyph.strokes), anchors=anchors)


def tangents(points: Points) -> NDArray[np.float64]:
    """Return unit directions along points at equal steps, shape (n, 2); zeros where they stand still."""
    d = np.gradient(points, axis=0) if len(points) > 1 else np.zeros_like(points)
    size = np.hypot(d[:, 0], d[:, 1])
    return np.asarray(d / np.where(size > 1e-12, size, 1.0)[:, None], float)


def nearest_distance(points: Points, others: Points) -> NDArray[np.float64]:
    """Return how far each point is from the nearest of some others, shape (n,)."""
    d = points[:, None] - others[None]
    return np.asarray(np.hypot(d[..., 0], d[..., 1]).min(axis=1), float)
