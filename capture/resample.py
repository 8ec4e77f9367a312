"""Taking pixels out of a scan: smaller ones that lose nothing, and straightened ones."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.scan import Pixels
from capture.units import Points


def shrink(pixels: Pixels, factor: float) -> Pixels:
    """Return the picture made smaller by `factor` > 1, each new pixel the mean of the ones it covers."""
    size = max(1, round(pixels.shape[1] / factor)), max(1, round(pixels.shape[0] / factor))
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def maps_of(
    warp: Callable[[Points], Points], x_mm: float, y_mm: float, w: int, h: int, ppm: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return scan x and y for a box's pixels: exact on every 8th, straight between."""
    step = 8
    columns = np.arange(-1, -(-w // step) + 1) * step + (step - 1) / 2  # centres of blocks: what cv2.resize expects
    rows = np.arange(-1, -(-h // step) + 1) * step + (step - 1) / 2
    gx, gy = np.meshgrid(x_mm + (columns + 0.5) / ppm, y_mm + (rows + 0.5) / ppm)
    places = warp(np.stack([gx, gy], axis=-1)).astype(np.float32)
    size = len(columns) * step, len(rows) * step

    def enlarged(coarse: NDArray[np.float32]) -> NDArray[np.float32]:
        fine = cv2.resize(coarse, size, interpolation=cv2.INTER_LINEAR)
        return np.ascontiguousarray(fine[step : step + h, step : step + w], np.float32)

    return enlarged(places[..., 0]), enlarged(places[..., 1])
