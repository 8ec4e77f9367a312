"""The plain pipeline: Otsu, `skimage.skeletonize`, the branches that `skan` finds, top left first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from skimage.filters import threshold_otsu
from skimage.morphology import skeletonize

from capture.units import Points, image_from_pixels, px_per_mm


def reference(grey: NDArray[np.uint8], dpi: float) -> list[Points]:
    """Return the branches of the skeleton as strokes, mm in the image frame."""
    import skan

    mask = grey <= threshold_otsu(grey)  # of two levels the threshold is the darker one
    thin = skeletonize(mask)
    k = px_per_mm(dpi)
    try:
        branches = skan.Skeleton(thin)
        lines = [branches.path_coordinates(i)[:, ::-1].astype(float) for i in range(branches.n_paths)]
    except (ValueError, IndexError):
        lines = []
    lines = [p for p in lines if len(p) > 1]
    if not lines:
        ys, xs = np.nonzero(mask)
        return [image_from_pixels([[xs.mean(), ys.mean()]], px_per_mm=k)]
    lines = [p if (p[0, 1], p[0, 0]) <= (p[-1, 1], p[-1, 0]) else p[::-1] for p in lines]
    return [image_from_pixels(p, px_per_mm=k) for p in sorted(lines, key=lambda p: (p[0, 1], p[0, 0]))]
