"""Black and white pages: where nothing is grey, print and ink are told apart by their places alone."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from capture.scan_image import Pixels

DOTS_ALONE = 0.12
"""Share of the black pixels with one black neighbour at most from which on a scan is dithered."""

DOTS_SPREAD_PX = 1.2
"""Standard deviation, px, of the blur that makes greys of a dither pattern of every second pixel; set by hand."""


def is_two_tone(pixels: Pixels) -> bool:
    """Return whether a scan is black and white only, give or take the traces of a JPEG.

    pixels: shape (h, w), grey.
    """
    counts = np.bincount(pixels[::23].ravel(), minlength=256)
    return bool(counts[24:232].sum() < 0.3 * counts[:24].sum())


def undithered(pixels: Pixels) -> Pixels:
    """Return a black and white scan whose greys are scattered dots as the grey it was; any other as it is.

    Where a scanner dithers (Floyd and Steinberg 1976, or by a pattern), every second black pixel stands alone; where it
    has a threshold, one in a thousand does (tests).
    """
    if not is_two_tone(pixels):
        return pixels
    grey = pixels if pixels.ndim == 2 else np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    black = (grey < 128).astype(np.uint8)
    around = cv2.boxFilter(black, -1, (3, 3), normalize=False)
    alone = np.count_nonzero(black & (around <= 2))
    if alone < DOTS_ALONE * max(1, int(np.count_nonzero(black))):
        return pixels
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), DOTS_SPREAD_PX), np.uint8)


def without_print(grey: Pixels, print_cover: Pixels, *, px_per_mm: float) -> Pixels:
    """Return a black and white page's ink without its print, strokes that cross it made whole.

    Black on black cannot be subtracted. What print may have blackened is taken out, and put back where it bridges
    strokes on both sides: closings by short lines of eight directions, which keep a stroke's width, inside the print
    only.

    grey, print_cover: shape (h, w); the cover is 0 to 255 of print. Returned: grey, dark ink on white.
    """
    inked = grey < 140
    margin = max(1, round(0.1 * px_per_mm))
    round_kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * margin + 1,) * 2)
    maybe_print = cv2.dilate((print_cover > 40).astype(np.uint8), round_kernel) > 0
    sure = (inked & ~maybe_print).astype(np.uint8)
    sure = np.asarray(cv2.morphologyEx(sure, cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)), np.uint8)
    gone = maybe_print & (sure == 0)
    for kernel in _lines(max(3, round(1.3 * px_per_mm) | 1)):
        gone &= cv2.morphologyEx(sure, cv2.MORPH_CLOSE, kernel) == 0
    return np.where(gone, np.uint8(255), grey)


def _lines(length: int) -> Iterator[Pixels]:
    """Yield line-shaped kernels of eight directions."""
    middle = length // 2
    for angle in np.arange(8) * np.pi / 8:
        kernel = np.zeros((length, length), np.uint8)
        dx, dy = round(middle * np.cos(angle)), round(middle * np.sin(angle))
        cv2.line(kernel, (middle - dx, middle - dy), (middle + dx, middle + dy), 1)
        yield kernel
