"""Ink on paper: what a pen leaves along its traces.

A page image is (h, w, 3) uint8, RGB, at `px_per_mm`; pixel coordinates mean pixel centres.
"""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_sheets.writer.hand import Trace

Image = NDArray[np.uint8]
Field = NDArray[np.float32]

BLUE_BLACK = (2.02, 1.78, 1.08)
"""Optical absorption of full ink for red, green and blue (natural logarithm)."""


def fibres(shape: tuple[int, int], px_per_mm: float, rng: np.random.Generator, grain_mm: float = 0.07) -> Field:
    """Return the tooth of a paper, (h, w): smooth noise, evenly spread over 0 to 1."""
    fine = _smooth_noise(shape, grain_mm * px_per_mm / 2, rng)
    coarse = _smooth_noise((shape[0] // 4 + 1, shape[1] // 4 + 1), grain_mm * px_per_mm / 2, rng)
    wide = cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_LINEAR)
    mixed = fine / float(fine.std()) + 0.6 * wide / float(wide.std())
    return np.asarray(1 / (1 + np.exp(-1.5 * mixed)), np.float32)


def _smooth_noise(shape: tuple[int, int], sigma_px: float, rng: np.random.Generator) -> Field:
    return np.asarray(cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), sigma_px), np.float32)


def _tile(texture: Field, top: int, left: int, shape: tuple[int, int]) -> Field:
    rows = np.arange(top, top + shape[0]) % texture.shape[0]
    columns = np.arange(left, left + shape[1]) % texture.shape[1]
    return texture[np.ix_(rows, columns)]


def deposit(ink: Field, trace: Trace, tooth: Field, px_per_mm: float) -> None:
    """Lay one trace's ink onto the density field `ink` (h, w), in place."""
    points = trace.points_mm * px_per_mm - 0.5
    radius = trace.widths_mm * px_per_mm / 2
    margin = float(radius.max()) + 3
    low = np.maximum(np.floor(points.min(axis=0) - margin).astype(int), 0)
    high = np.minimum(np.ceil(points.max(axis=0) + margin).astype(int) + 1, ink.shape[::-1])
    if (high <= low).any():
        return
    w, h = high - low
    tile = _tile(tooth, low[1], low[0], (h, w))
    edge = (tile - 0.5) * 0.035 * px_per_mm  # ink creeps along the fibres
    laid = np.zeros((h, w), np.float32)
    for (x, y), r, dark in zip(points - low, radius, trace.darkness, strict=True):
        x0, x1 = max(int(x - r - 2), 0), min(int(x + r + 3), w)
        y0, y1 = max(int(y - r - 2), 0), min(int(y + r + 3), h)
        if x1 <= x0 or y1 <= y0:
            continue
        away = np.hypot(np.arange(x0, x1)[None, :] - x, np.arange(y0, y1)[:, None] - y)
        cover = np.clip(r - away + 0.5 + edge[y0:y1, x0:x1], 0, 1) * dark
        np.maximum(laid[y0:y1, x0:x1], cover, out=laid[y0:y1, x0:x1])
    # Where little ink comes, only the tops of the paper take it.
    taken = laid * np.clip((1.55 * laid - 0.75 * tile) / 0.3, 0, 1) * (0.90 + 0.2 * tile)
    place = ink[low[1] : high[1], low[0] : high[0]]
    place[:] = np.maximum(place, taken) + 0.16 * np.minimum(place, taken)


def ink_page(
    page: Image,
    traces: Iterable[Trace],
    px_per_mm: float,
    rng: np.random.Generator,
    absorption: tuple[float, float, float] = BLUE_BLACK,
) -> Image:
    """Return `page` with the traces inked on it."""
    ink = np.zeros(page.shape[:2], np.float32)
    tooth = fibres((min(1024, page.shape[0]), min(1024, page.shape[1])), px_per_mm, rng)
    for trace in traces:
        deposit(ink, trace, tooth, px_per_mm)
    out = page.copy()
    for top in range(0, len(out), 512):
        rows = slice(top, top + 512)
        for channel, strength in enumerate(absorption):
            out[rows, :, channel] = np.rint(out[rows, :, channel] * np.exp(-strength * ink[rows]))
    return out
