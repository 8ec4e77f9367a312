"""Foot, height, width, lean and edges of written letters; definitions in `handwriting_statistics`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fontbuild.geometry import sample_stroke

Array = NDArray[np.float64]


UPRIGHT_DEG = 40.0
"""Steps within this of the vertical count for the lean."""


@dataclass(frozen=True, eq=False)
class GlyphMeasurements:
    """Foot, height, width and lean of many letters, and where their ink lies, each of shape (n,); em frame."""

    left: Array
    right: Array
    foot: Array
    top: Array
    lean_deg: Array
    """nan for a letter without upright steps."""

    middle: Array
    """Mean x of the ink."""

    spread: Array
    """Standard deviation of its x."""


def sample(points: Array, sizes: tuple[int, ...], *, per_piece: int = 4) -> tuple[Array, Array]:
    """Return points along letters of one structure, and whether each is the start of a step.

    Parameters
    ----------
    points : ndarray of shape (m, n, 2)
        Control points of `m` letters: strokes of `sizes` points one after another.

    Returns
    -------
    ndarray of shape (m, k, 2), ndarray of bool of shape (k - 1,)
        False marks the step from one stroke to the next.
    """
    out, step = [], []
    at = 0
    for size in sizes:
        out.append(sample_stroke(points[:, at : at + size], per_piece=per_piece))
        step += [True] * (size // 3 * per_piece) + [False]
        at += size
    return np.concatenate(out, axis=1), np.array(step[:-1], bool)


BANDS = 14
"""Horizontal bands in which the edges of a letter are known, each a fifth of the x-height, from -0.8 x-heights up."""

BAND_MIDDLES = -0.7 + 0.2 * np.arange(BANDS)
"""Heights of their middles over the line, x-heights."""


def edges(points: Array, sizes: tuple[int, ...], x_height: float) -> tuple[Array, Array]:
    """Return the left and right edge of letters in each band, shape (m, BANDS); inf and -inf where there is no ink."""
    on, _ = sample(points, sizes, per_piece=6)
    band = np.clip(np.floor((on[..., 1] / x_height + 0.8) / 0.2), 0, BANDS - 1).astype(np.int64)
    left, right = np.full((len(points), BANDS), np.inf), np.full((len(points), BANDS), -np.inf)
    row = np.broadcast_to(np.arange(len(points))[:, None], band.shape)
    np.minimum.at(left, (row, band), on[..., 0])
    np.maximum.at(right, (row, band), on[..., 0])
    return left, right


def measure_glyphs(points: Array, sizes: tuple[int, ...]) -> GlyphMeasurements:
    """Return the looks of letters of one structure; see `sample` for the parameters.

    points: shape (letters, n, 2), font units, y up; sizes: how many of the n points each stroke has.
    """
    on, is_step = sample(points, sizes)
    d = np.diff(on, axis=1)[:, is_step]
    d = d * np.where(d[..., 1:] < 0, -1.0, 1.0)
    length = np.hypot(d[..., 0], d[..., 1])
    angle = np.degrees(np.arctan2(d[..., 0], np.maximum(d[..., 1], 1e-9)))
    weight = length * (np.abs(angle) < UPRIGHT_DEG)
    total = weight.sum(axis=1)
    tall = np.ptp(on[..., 1], axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        lean = np.where(total > 0.3 * tall, (weight * angle).sum(axis=1) / total, np.nan)
    x = ((on[:, 1:, 0] + on[:, :-1, 0]) / 2)[:, is_step]
    left, right = on[..., 0].min(1), on[..., 0].max(1)
    ink = length.sum(axis=1)
    share = length / np.maximum(ink, 1e-9)[:, None]
    # a dot has no length
    middle = np.where(ink > 0, (share * x).sum(axis=1), (left + right) / 2)
    spread = np.sqrt((share * (x - middle[:, None]) ** 2).sum(axis=1))
    return GlyphMeasurements(left, right, on[..., 1].min(1), on[..., 1].max(1), lean, middle, spread)
