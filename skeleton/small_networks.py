"""What the small networks of the tracer have in common: how they are kept, and what they compute in NumPy alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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


MAX_MEASURE_SPREADS = 4.0
"""What is measured is kept within so many standard deviations."""


@dataclass(frozen=True, eq=False)
class Convolutions:
    """Layers through which pictures go, each rectified."""

    kernels: tuple[Single, ...]
    """Each of shape (channels, channels before, k, k)."""

    offsets: tuple[Single, ...]
    strides: tuple[int, ...]

    def seen(self, pictures: Single) -> Single:
        """Return what the last layer holds of each picture, one row each; pictures: shape (n, channels, h, w)."""
        x = pictures
        for kernels, offsets, stride in zip(self.kernels, self.offsets, self.strides, strict=True):
            x = convolved(x, kernels, offsets, stride)
        return x.reshape(len(x), -1)


@dataclass(frozen=True, eq=False)
class PictureNetwork:
    """Convolutions, and three layers of a perceptron that is also told measures."""

    convolutions: Convolutions
    shift: Single
    scale: Single
    """Shape (measures,): mean and standard deviation of what is measured."""

    weights: tuple[Single, ...]
    """Each of shape (before, after): of the picture, of what the first gives, of what the second gives."""

    offsets: tuple[Single, ...]
    of_measures: Single
    """Shape (measures, n): added to what the first layer of the perceptron sums."""

    def of_pictures(self, pictures: Single) -> Single:
        """Return what the first layer sums of pictures of shape (n, channels, h, w), without its offsets."""
        y: Single = self.convolutions.seen(pictures) @ self.weights[0]
        return y

    def of_told(self, measures: Single) -> Single:
        """Return what it sums of measures of shape (n, measures); one that is not known is as it mostly is."""
        told = np.clip((measures - self.shift) / self.scale, -MAX_MEASURE_SPREADS, MAX_MEASURE_SPREADS)
        y: Single = np.nan_to_num(told, nan=0.0) @ self.of_measures
        return y

    def outcome(self, summed: Single) -> Single:
        """Return what comes of the sums of the first layer, shape (n, outcomes)."""
        y = np.maximum(np.maximum(summed, 0) @ self.weights[1] + self.offsets[1], 0)
        out: Single = y @ self.weights[2] + self.offsets[2]
        return out


def convolutions_of(arrays: dict[str, NDArray[Any]], strides: Sequence[int]) -> Convolutions:
    """Return the layers kept as `kernels_0`, `kernel_offsets_0` and so on.

    arrays: of `load_arrays`, each of the shape in which it was kept.
    """
    kernels, offsets = (several(arrays, name, len(strides)) for name in ("kernels", "kernel_offsets"))
    return Convolutions(kernels, offsets, tuple(strides))


def picture_network_of(arrays: dict[str, NDArray[Any]], strides: Sequence[int]) -> PictureNetwork:
    """Return the network kept in arrays, as `tests.bench.training.weights` gives them.

    arrays: of `load_arrays`, each of the shape in which it was kept.
    """
    return PictureNetwork(
        convolutions_of(arrays, strides),
        arrays["shift"],
        arrays["scale"],
        several(arrays, "weights", 3),
        several(arrays, "offsets", 3),
        arrays["of_measures"],
    )


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
