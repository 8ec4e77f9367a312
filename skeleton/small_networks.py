"""What the small networks of the tracer have in common: how they are kept, and what they compute in NumPy alone."""

from __future__ import annotations

from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Single = NDArray[np.float32]

PROVENANCE = "provenance"
"""Name, among the arrays kept, of what they were fitted on: JSON in UTF-8, as bytes."""

CHARACTERS = "characters"
"""... and of the code points that the network tells apart, in the order of their rows."""


def load_arrays(file: Path | Traversable) -> tuple[dict[str, NDArray[Any]], list[str]]:
    """Return the arrays of a network kept in a file, and the characters that it tells apart.

    Arrays, each of the shape it was kept in, are of single precision, single numbers as they were kept.
    """
    with file.open("rb") as f:
        kept = np.load(f)
        chars = [chr(c) for c in kept[CHARACTERS].tolist()]
        names = [name for name in kept if name not in (PROVENANCE, CHARACTERS)]
        # rows end to end: a matrix kept by columns takes three times as long to multiply
        return {n: np.ascontiguousarray(x, np.float32) if (x := kept[n]).ndim else x for n in names}, chars


def several(arrays: dict[str, NDArray[Any]], name: str, count: int) -> tuple[Single, ...]:
    """Return the arrays `name_0`, `name_1` and so on."""
    return tuple(arrays[f"{name}_{i}"] for i in range(count))


def shares(log_odds: NDArray[Any]) -> NDArray[np.float64]:
    """Return the probabilities that log odds stand for, row by row; log_odds and they: shape (n, choices)."""
    e = np.exp((log_odds - log_odds.max(axis=1, keepdims=True)).astype(float))
    out: NDArray[np.float64] = e / e.sum(axis=1, keepdims=True)
    return out


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
