"""What one would do without this project: Otsu's threshold, thinning, and the branches of the skeleton.

Otsu (1979) and Zhang & Suen's thinning by scikit-image, branches by skan (Nunez-Iglesias et al. 2018, PeerJ 6:e4312).
Branches run from their upper end and are sorted by it.
"""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray
from skimage.filters import threshold_otsu
from skimage.morphology import skeletonize

Array = NDArray[np.float64]


def branches(grey: NDArray[np.uint8], px_per_mm: float) -> list[Array]:
    """Return the branches of the ink's skeleton, image-frame mm (y down)."""
    import skan

    ink = grey < threshold_otsu(grey)
    thin = skeletonize(ink)
    if thin.sum() < 2:
        ys, xs = np.nonzero(ink)
        return [(np.array([[xs.mean(), ys.mean()]] * 2) + 0.5) / px_per_mm] if len(xs) else []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            skeleton = skan.Skeleton(thin)
    except (ValueError, IndexError):  # skan refuses skeletons without a branch
        ys, xs = np.nonzero(thin)
        return [(np.column_stack([xs, ys]) + 0.5) / px_per_mm]
    lines = [(skeleton.path_coordinates(i)[:, ::-1].astype(float) + 0.5) / px_per_mm for i in range(skeleton.n_paths)]
    lines = [p if (p[0, 1], p[0, 0]) <= (p[-1, 1], p[-1, 0]) else p[::-1] for p in lines if len(p) > 1]
    return sorted(lines, key=lambda p: (p[0, 1], p[0, 0]))
