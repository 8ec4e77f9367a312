"""Taking pixels out of a scan: smaller ones that lose nothing, and straightened ones."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.scan_image import Pixels
from capture.sheet import Box
from capture.units import Points

_BAND_ROWS = 512


def shrink(pixels: Pixels, by: int) -> Pixels:
    """Return the picture `by` times smaller, each new pixel the mean of `by` x `by`.

    A remainder at the end is cut off. OpenCV averages whole pixels ten times as fast as parts of them.

    pixels: shape (h, w) or (h, w, 3).
    """
    if by == 1:
        return pixels
    h, w = max(1, pixels.shape[0] // by), max(1, pixels.shape[1] // by)
    return np.asarray(cv2.resize(pixels[: h * by, : w * by], (w, h), interpolation=cv2.INTER_AREA), np.uint8)


def whole_factor(factor: float) -> int:
    """Return how many times smaller a picture is best made that is `factor` times as fine as what is asked for."""
    return max(1, int(factor + 0.4))


def take_out(
    source: Pixels, warp: Callable[[Points], Points], box_mm: Box, *, px_per_mm: float, factor: float
) -> Pixels:
    """Return what a picture shows of a box on the page, straightened and sampled once.

    Parameters
    ----------
    source
        Shape (h, w) or (h, w, 3).
    warp
        From page mm to the picture's px.
    box_mm
        x, y, width, height on the page.
    px_per_mm
        Of what is returned.
    factor
        The picture's pixels in one of what is returned. The picture is first made so coarse that sampling skips
        nothing, for skipped pixels leave their noise; then it is sampled bicubic, or, where it still is finer than what
        is returned, bilinear, which averages.
    """
    x_mm, y_mm, w_mm, h_mm = box_mm
    w, h = max(1, round(w_mm * px_per_mm)), max(1, round(h_mm * px_per_mm))
    by = whole_factor(factor)
    rest = factor / by
    out = np.empty((h, w, *source.shape[2:]), np.uint8)
    for top in range(0, h, _BAND_ROWS):
        n = min(_BAND_ROWS, h - top)
        x, y = maps_of(warp, x_mm, y_mm + top / px_per_mm, w, n, px_per_mm)
        left, right = _span(x, source.shape[1], 5 * by)
        above, below = _span(y, source.shape[0], 5 * by)
        part = shrink(source[above:below, left:right], by)
        x, y = _within(x, left, by), _within(y, above, by)
        way = cv2.INTER_LINEAR if rest > 1.2 else cv2.INTER_CUBIC
        white = (255, 255, 255)
        cv2.remap(part, x, y, way, dst=out[top : top + n], borderMode=cv2.BORDER_CONSTANT, borderValue=white)
    return out


def _span(places: NDArray[np.float32], size: int, margin: int) -> tuple[int, int]:
    """Return the first pixel that is needed to sample at `places`, and the one after the last."""
    first = int(np.clip(float(places.min()) - margin, 0, size - 1))
    return first, int(np.clip(float(places.max()) + margin, first + 1, size))


def _within(places: NDArray[np.float32], first: int, by: int) -> NDArray[np.float32]:
    """Return where places lie in a part of the picture that begins at pixel `first` and is `by` times smaller."""
    return np.asarray((places - np.float32(first - 0.5)) / np.float32(by) - np.float32(0.5), np.float32)


def maps_of(
    warp: Callable[[Points], Points], x_mm: float, y_mm: float, w: int, h: int, ppm: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return scan x and y for a box's pixels: exact on every 8th, straight between.

    x_mm, y_mm: the box's top left corner on the page; w, h: its size in px at `ppm` px per mm. Both maps have shape
    (h, w).
    """
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
