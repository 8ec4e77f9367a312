"""Convolutions of small pictures, as small networks need them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Single = NDArray[np.float32]


def convolved(x: Single, kernels: Single, offsets: Single, stride: int) -> Single:
    """Return the rectified convolution of pictures, nothing around them.

    x: shape (n, channels, h, w); kernels: (channels after, channels, k, k), k odd; offsets: (channels after,).
    """
    k = kernels.shape[-1]
    n, channels, height, width = x.shape
    wide = np.zeros((n, channels, height + k - 1, width + k - 1), np.float32)
    wide[:, :, k // 2 : k // 2 + height, k // 2 : k // 2 + width] = x
    h, w = -(-height // stride), -(-width // stride)
    a, c, r, s = wide.strides
    windows = np.lib.stride_tricks.as_strided(wide, (n, h, w, channels, k, k), (a, r * stride, s * stride, c, r, s))
    y: Single = windows.reshape(n * h * w, -1) @ kernels.reshape(len(kernels), -1).T
    y += offsets
    np.maximum(y, 0, out=y)
    return np.ascontiguousarray(y.reshape(n, h, w, -1).transpose(0, 3, 1, 2))
