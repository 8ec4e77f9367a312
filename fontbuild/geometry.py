"""Cubic pen strokes as points: sampling, bounds, moving and mixing them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from fontbuild.glyph import Glyph

Bounds = tuple[float, float, float, float]
"""x min, y min, x max, y max."""


def sample_stroke(stroke: Points, *, per_piece: int = 12) -> Points:
    """Return points along a cubic stroke, `per_piece` steps to each piece, ends included.

    Parameters
    ----------
    stroke : ndarray of shape (3 k + 1, 2)

    Returns
    -------
    ndarray of shape (k * per_piece + 1, 2)
        A dot (k = 0) gives its one point.

    Examples
    --------
    >>> sample_stroke(np.array([[0, 0], [1, 0], [2, 0], [3, 0.0]]), per_piece=3)[:, 0]
    array([0., 1., 2., 3.])
    """
    k = len(stroke) // 3
    if k == 0:
        return np.array(stroke, float)
    t = (np.arange(per_piece) / per_piece)[None, :, None]
    p0, p1, p2, p3 = (stroke[i : i + 3 * k : 3, None, :] for i in range(4))
    points = (1 - t) ** 3 * p0 + 3 * (1 - t) ** 2 * t * p1 + 3 * (1 - t) * t**2 * p2 + t**3 * p3
    return np.vstack([points.reshape(-1, 2), stroke[-1:]])


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


def length(strokes: Iterable[Points]) -> float:
    """Return the length of sampled strokes together.

    In the unit of the points (shape (n, 2) each); a dot has none.
    """
    return float(sum(np.hypot(*np.diff(s, axis=0).T).sum() for s in strokes if len(s) > 1))


def moved(glyph: Glyph, dx: float, dy: float = 0.0) -> Glyph:
    """Return `glyph` with strokes and anchors moved; its advance stays."""
    by = np.array([dx, dy])
    anchors = {name: (x + dx, y + dy) for name, (x, y) in glyph.anchors.items()}
    return replace(glyph, strokes=tuple(s + by for s in glyph.strokes), anchors=anchors)


def resample(points: Points, n: int) -> Points:
    """Return `n` points at equal steps along a polyline; a dot is repeated.

    points: shape (m, 2), any unit. The result has shape (n, 2).
    """
    steps = np.hypot(*np.diff(points, axis=0).T) if len(points) > 1 else np.zeros(0)
    s = np.concatenate([[0.0], np.cumsum(steps)])
    if s[-1] <= 0:
        return np.repeat(points[:1], n, axis=0)
    at = np.linspace(0, s[-1], n)
    return np.column_stack([np.interp(at, s, points[:, 0]), np.interp(at, s, points[:, 1])])


def tangents(points: Points) -> NDArray[np.float64]:
    """Return unit directions along points at equal steps; zeros where they stand still."""
    d = np.gradient(points, axis=0) if len(points) > 1 else np.zeros_like(points)
    size = np.hypot(d[:, 0], d[:, 1])
    return np.asarray(d / np.where(size > 1e-12, size, 1.0)[:, None], float)


def nearest_distance(points: Points, others: Points) -> NDArray[np.float64]:
    """Return how far each point is from the nearest of some others, shape (n,)."""
    d = points[:, None] - others[None]
    return np.asarray(np.hypot(d[..., 0], d[..., 1]).min(axis=1), float)


def blend(glyphs: Sequence[Glyph], weights: Sequence[float]) -> Glyph:
    """Return the weighted mean of variants that correspond: another letter of the same hand.

    The control points, the advance, the anchors that all have, and the width of the ink are averaged. The weights
    need not sum to one; those a little outside 0 to 1 exaggerate. The strokes of a single glyph are its own.

    Raises
    ------
    ValueError
        If there is no glyph, the weights do not fit or sum to nothing, or the variants do not correspond
        (other ductus, or none).

    Examples
    --------
    >>> one = Glyph("l", "l", (np.array([[0.0, 0], [0, 1], [0, 2], [0, 3]]),), advance=10, ductus="l/1")
    >>> two = Glyph("l.v2", "l", (np.array([[2.0, 0], [2, 1], [2, 2], [2, 5]]),), advance=14, ductus="l/1")
    >>> blend([one, two], [1, 1]).strokes[0][-1], blend([one, two], [1, 1]).advance
    (array([1., 4.]), 12.0)
    """
    if not glyphs or len(glyphs) != len(weights):
        raise ValueError(f"{len(glyphs)} glyphs and {len(weights)} weights do not make a blend")
    first = glyphs[0]
    total = float(sum(weights))
    if abs(total) < 1e-9:
        raise ValueError("the weights sum to nothing")
    if len(glyphs) == 1:
        return first
    if any(g.ductus != first.ductus or not g.ductus for g in glyphs):
        raise ValueError(f"no blend of {sorted({g.ductus for g in glyphs})}: only one ductus corresponds")
    w = np.asarray(weights, float) / total
    strokes = tuple(
        np.tensordot(w, np.stack(together), axes=1) for together in zip(*(g.strokes for g in glyphs), strict=True)
    )
    shared = set(first.anchors).intersection(*(g.anchors for g in glyphs[1:]))
    anchors = {}
    for name in sorted(shared):
        x, y = w @ np.array([g.anchors[name] for g in glyphs])
        anchors[name] = (float(x), float(y))
    return replace(
        first,
        strokes=strokes,
        advance=float(w @ [g.advance for g in glyphs]),
        anchors=anchors,
        width=float(w @ [g.width for g in glyphs]),
        source="blend: " + " + ".join(g.name for g in glyphs),
    )
