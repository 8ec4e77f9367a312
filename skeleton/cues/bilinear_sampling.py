"""What a layer of the clues' network holds between its cells.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Line, Matrix, Stack
from skeleton.geometry.jit import compiled


@compiled("void(float32[:, :, ::1], float64[:, ::1], float64, float32[:, ::1], int64)")
def fill_between(x: Stack, at: Line, scale: float, out: Matrix, column: int) -> None:
    """Fill columns of `out` (n, all channels) with x (channels, h, w) at points `at` (n, 2), in cells of 1 / scale."""
    channels, h, w = x.shape
    for i in range(len(at)):
        across = np.float32(min(max(at[i, 0] * scale, 0.0), w - 1.0))
        down = np.float32(min(max(at[i, 1] * scale, 0.0), h - 1.0))
        left, top = int(across), int(down)
        right, bottom = min(left + 1, w - 1), min(top + 1, h - 1)
        u, v = across - np.float32(left), down - np.float32(top)
        a, b = (np.float32(1) - u) * (np.float32(1) - v), u * (np.float32(1) - v)
        c, d = (np.float32(1) - u) * v, u * v
        for k in range(channels):
            upper = a * x[k, top, left] + b * x[k, top, right]
            out[i, column + k] = upper + c * x[k, bottom, left] + d * x[k, bottom, right]
