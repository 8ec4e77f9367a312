"""Darkness of the ink between pixel centres."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.ink.ink_map import InkMap

Floats = NDArray[np.float64]


def sample(ink: InkMap, xy: Points) -> Floats:
    """Return the darkness at points of any shape (..., 2), 0 outside the image."""
    flat = xy.reshape(-1, 2).astype(np.float32)
    # as a table of short rows: OpenCV takes no side of 32,767 pixels or more
    rows = -(-len(flat) // 4096)
    table = np.zeros((rows * 4096, 2), np.float32) if rows > 1 else flat
    table[: len(flat)] = flat
    shape = (rows, 4096) if rows > 1 else (len(flat), 1)
    got = cv2.remap(
        ink.darkness,
        np.ascontiguousarray(table[:, 0]).reshape(shape),
        np.ascontiguousarray(table[:, 1]).reshape(shape),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    out: Floats = got.ravel()[: len(flat)].reshape(xy.shape[:-1]).astype(float)
    return out
