"""A pen, paper and a scanner: known strokes made into the grey image that a flatbed would give.

Drawn by distance: every pixel's coverage comes from the distance of its sub-pixels' centres to the line, so that the
image has no offset against the strokes. The other way, `discs`, lays OpenCV's circles along the line, each a little
wider or narrower than the one before: an ink that was not made by this module.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from tests.bench.trace_media import felt, lay_discs, pencil

SUB = 4
"""Sub-pixels a side."""

MARGIN_MM = 1.5


def even(line: Points, step: float) -> Points:
    """Return a polyline at equal steps of at most `step`."""
    p = np.asarray(line, float)
    if len(p) < 2:
        return p
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    if s[-1] < 1e-9:
        return p[:1]
    t = np.linspace(0, s[-1], max(2, int(np.ceil(s[-1] / step)) + 1))
    return np.stack([np.interp(t, s, p[:, 0]), np.interp(t, s, p[:, 1])], axis=1)


def ink(
    strokes: list[Points],
    *,
    dpi: float = 300,
    pen_mm: float = 0.5,
    kind: str = "noisy",
    seed: int = 0,
    pressure: float = 0.15,
    discs: bool = False,
) -> tuple[NDArray[np.uint8], Points]:
    """Return the grey image of strokes (mm, y down) and the offset (2,) mm of the image frame: image = stroke + offset.

    kind: 'clean' (even ink, no noise), 'noisy' (mottled ink, pressure, scanner noise of 4 grey levels), 'skipping'
    (the same, and 6 % of the ink missing in streaks), 'pencil', 'felt' (noisy, drawn as `trace_media` says). discs:
    drawn by OpenCV's circles, their widths 1 % at odds.
    """
    rng = np.random.default_rng(seed)
    k = dpi / 25.4
    every = np.concatenate(strokes)
    # a start anywhere within a pixel, as on paper
    lo = every.min(axis=0) - MARGIN_MM - rng.uniform(0, 1 / k, 2)
    size = np.ceil((every.max(axis=0) + MARGIN_MM - lo) * k).astype(int)
    w, h = int(size[0]), int(size[1])
    covered = np.zeros((h * SUB, w * SUB), bool)
    lines = [(even(s, 0.25 / k) - lo) * k * SUB - 0.5 for s in strokes]
    radius_of_pen = 0.5 * pen_mm * k * SUB
    for fine in lines:
        n = len(fine)
        swing = 0.0 if kind == "clean" else pressure
        phase, turns = rng.uniform(0, 2 * np.pi), rng.uniform(0.5, 1.5)
        radius = radius_of_pen * (1 + swing * np.sin(phase + turns * np.linspace(0, 2 * np.pi, n)))
        if discs:
            lay_discs(covered, fine, radius * (1 + rng.normal(0, 0.01, n)))
            continue
        for (x, y), r in zip(fine, radius, strict=True):
            x0, x1, y0, y1 = int(np.ceil(x - r)), int(x + r), int(np.ceil(y - r)), int(y + r)
            xx, yy = np.arange(x0, x1 + 1), np.arange(y0, y1 + 1)
            covered[y0 : y1 + 1, x0 : x1 + 1] |= (xx - x) ** 2 + (yy[:, None] - y) ** 2 <= r * r
    dark = covered.astype(np.float32)
    if kind == "pencil":
        dark = pencil(covered, radius_of_pen, k * SUB, rng)
    elif kind == "felt":
        dark = felt(covered.shape, lines, radius_of_pen, k * SUB, rng)
    cover = dark.reshape(h, SUB, w, SUB).mean(axis=(1, 3))
    density = np.ones_like(cover)
    if kind != "clean":
        mottle = cv2.GaussianBlur(rng.normal(0, 1, cover.shape).astype(np.float32), (0, 0), 1.2 * dpi / 300)
        mottle /= mottle.std() + 1e-9
        density = np.clip(1 - 0.10 * np.abs(mottle), 0, 1)
        if kind == "skipping":
            density = np.where(mottle > np.quantile(mottle, 0.94), 0.25 * density, density)
    grey = cv2.GaussianBlur(245 - 200 * cover * density, (0, 0), 0.7)
    grey = grey + (0 if kind == "clean" else rng.normal(0, 4, grey.shape))
    return np.clip(np.round(grey), 0, 255).astype(np.uint8), -lo
