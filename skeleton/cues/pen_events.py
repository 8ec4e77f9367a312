"""What the ink tells of the pen that made it: where it came down, where it went up, and where it passed twice.

A small convolutional network looks at the ink; every place of the lines is described by what its layers hold there and
by the widths around it, and a perceptron answers. It was trained on people's pen strokes and on simulated ones;
`tests.bench trace_clues` trains and scores it. There are two of them: in words strokes run on from letter to letter,
and one that was trained on single characters looks for ends where there are none.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.blas import limited_threads
from capture.units import Points
from skeleton.cues.bilinear_sampling import fill_between
from skeleton.ink.ink_map import InkMap
from skeleton.small_networks import PROVENANCE, Single

Floats = NDArray[np.float64]

NETWORK_PEN_PX = 5.0
"""Width of the pen in the picture that the network looks at."""

PAPER_MARGIN_PEN_WIDTHS = 1.6
"""Pen widths of paper around the ink that it sees."""

OF_CHARACTERS, OF_WORDS = "pen_events.npz", "pen_events_in_words.npz"

MAX_LOG_ODDS = 6.0
"""Log odds are kept within plus and minus this: the ink alone never settles it."""


@dataclass(frozen=True, eq=False)
class PenEvents:
    """Log odds at places and states of a network (`skeleton.states.state_graph.States`)."""

    landed: Floats
    """Shape (states,): that the pen came down here to go in the state's heading."""

    lifted: Floats
    """Shape (states,): that the pen went up here, coming in the state's heading."""

    twice: Floats
    """Shape (places,): that the pen passed more than once."""


@dataclass(frozen=True, eq=False)
class Layer:
    """One layer of the network."""

    weights: Single
    """Shape (channels, channels before * k * k) of a convolution with kernels of k x k, (before, after) of others."""

    offsets: Single
    stride: int = 1
    told: bool = False
    """Whether places are told what this layer holds."""


@dataclass(frozen=True, eq=False)
class Trained:
    """The network: convolutions, the scale of what is measured at places, the perceptron."""

    convolutions: tuple[Layer, ...]
    scale: Single
    shift: Single
    perceptron: tuple[Layer, ...]


def find_pen_events(
    ink: InkMap, places: Points, headings: Points, measured: Floats, *, of_words: bool = False
) -> PenEvents:
    """Return the clues at places.

    Parameters
    ----------
    ink
        The ink of one character, or of a word.
    places, headings
        Shape (n, 2), px of the ink's image and unit vectors along the lines.
    measured
        Shape (n, TOLD), `skeleton.cues.local_features.features`.
    of_words
        Whether to ask the network that was trained on words.
    """
    picture, at = picture_of(ink, places)
    with limited_threads():
        return told(trained(of_words), picture, at, headings, measured)


def picture_of(ink: InkMap, places: Points) -> tuple[Single, Points]:
    """Return the ink with some paper around, the pen `NETWORK_PEN_PX` wide, shape (1, h, w), and places in it, px."""
    k = NETWORK_PEN_PX / ink.pen_px
    x, y, w, h = cv2.boundingRect(ink.mask)
    beside = round(PAPER_MARGIN_PEN_WIDTHS * ink.pen_px)
    left, top = max(x - beside, 0), max(y - beside, 0)
    part = ink.darkness[top : y + h + beside, left : x + w + beside]
    size = (max(8, round(part.shape[1] * k)), max(8, round(part.shape[0] * k)))
    how = cv2.INTER_AREA if k < 1 else cv2.INTER_LINEAR
    picture = np.asarray(cv2.resize(part, size, interpolation=how), np.float32)
    scale = np.array([size[0] / part.shape[1], size[1] / part.shape[0]])
    return picture[None], (places - [left, top] + 0.5) * scale - 0.5


def told(network: Trained, picture: Single, at: Points, headings: Points, measured: Floats) -> PenEvents:
    """Return the clues of a network at places `at`, (n, 2) px of the picture; see `find_pen_events`."""
    x = picture
    wide = len(network.perceptron[0].weights)
    y = np.empty((len(at), wide), np.float32)
    points, filled, scale = np.ascontiguousarray(at, float), 0, 1.0
    for layer in network.convolutions:
        x = convolved(x, layer)
        if layer.told:
            scale /= 2
            fill_between(x, points, scale, y, filled)
            filled += len(x)
    axis = np.stack([headings[:, 0] ** 2 - headings[:, 1] ** 2, 2 * headings[:, 0] * headings[:, 1]], axis=1)
    low = at.min(axis=0)
    where = (at - low) / max(float((at.max(axis=0) - low).max()), 1.0)
    y[:, filled:] = np.concatenate([measured * network.scale + network.shift, axis, where], axis=1)
    for layer in network.perceptron[:-1]:
        y = np.maximum(y @ layer.weights + layer.offsets, 0)
    # a sum for either heading and a vector, whose part along the heading is what differs between the two
    out = (y @ network.perceptron[-1].weights + network.perceptron[-1].offsets).astype(float)
    along = (out[:, 2:6].reshape(-1, 2, 2) * headings[:, None]).sum(axis=2)
    both = np.stack([out[:, :2] + along, out[:, :2] - along], axis=1).reshape(-1, 2)
    both = np.minimum(np.maximum(both, -MAX_LOG_ODDS), MAX_LOG_ODDS)
    twice = np.minimum(np.maximum(out[:, 6], -MAX_LOG_ODDS), MAX_LOG_ODDS)
    return PenEvents(np.ascontiguousarray(both[:, 0]), np.ascontiguousarray(both[:, 1]), twice)


def convolved(x: Single, layer: Layer) -> Single:
    """Return the rectified convolution of x (channels, h, w) with square kernels, paper around: one matrix product."""
    k = round((layer.weights.shape[1] / len(x)) ** 0.5)
    h, w = (-(-n // layer.stride) for n in x.shape[1:])
    wide = np.zeros((len(x), x.shape[1] + k, x.shape[2] + k), np.float32)
    wide[:, k // 2 : k // 2 + x.shape[1], k // 2 : k // 2 + x.shape[2]] = x
    c, r, s = wide.strides
    steps = (c, r, s, r * layer.stride, s * layer.stride)
    windows = np.lib.stride_tricks.as_strided(wide, (len(x), k, k, h, w), steps)
    y: Single = layer.weights @ windows.reshape(-1, h * w)
    y += layer.offsets[:, None]
    np.maximum(y, 0, out=y)
    return y.reshape(-1, h, w)


@lru_cache(maxsize=2)
def trained(of_words: bool = False) -> Trained:
    """Return the network as it was trained, on characters or on words."""
    return network_of(arrays(files("skeleton.cues") / (OF_WORDS if of_words else OF_CHARACTERS)))


def arrays(file: Path | Traversable) -> dict[str, Single]:
    """Return the arrays kept in a file."""
    with file.open("rb") as f:
        kept = np.load(f)
        return {name: kept[name].astype(np.float32) for name in kept if name != PROVENANCE}


def network_of(kept: dict[str, Single]) -> Trained:
    """Return the network whose arrays are `kept`, as `tests.bench trace_clues` names them."""
    convolutions = tuple(
        Layer(kept[f"kernels_{i}"], kept[f"kernel_offsets_{i}"], int(stride), bool(told))
        for i, (stride, told) in enumerate(kept["layers"])
    )
    perceptron = tuple(Layer(kept[f"weights_{i}"], kept[f"offsets_{i}"]) for i in range(3))
    return Trained(convolutions, kept["scale"], kept["shift"], perceptron)
