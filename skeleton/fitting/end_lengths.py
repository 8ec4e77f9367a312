"""Where strokes fitted to the ink really began and ended, where other ink hides it.

A stroke that begins within another's ink, or goes the same way back at its begin, or comes round to where it began, may
be a little longer or shorter than it was read, and the ink tells by its breadth, its notches and its round ends. A
small convolutional network sees the ink about every end and the lines as they were read, and says by how many points
the end lies elsewhere. It was trained on people's pen strokes (`tests.bench trace_ends`). An end is moved to where it
is likeliest to be right within a tolerance, and only where that is likelier than where it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.blas import limited_threads
from capture.units import Points
from skeleton.fitting.refinement import closes
from skeleton.small_networks import PictureNetwork, Single, load_arrays, picture_network_of, shares

Floats = NDArray[np.float64]

NAME = "end_lengths.npz"

TOLERANCE_MM = 0.5
"""Length by which an end may be off and still be right. A stroke counts as read where its points lie 0.35 mm off on the
average; an error at one end falls to nothing at the other."""

MIN_GAIN = 0.01
"""Probability of being right that must be won for an end to be moved. Set by hand on people of the validation part:
0 and 0.02 read as well."""

MIN_POINTS = 4
"""Points that a stroke must have, and keep."""


@dataclass(frozen=True, eq=False)
class EndNetwork:
    """Sees the ink about an end, and is also told which character was written."""

    row: Mapping[str, int]
    """Which row of the arrays by character is a character's; row 0 is for all others."""

    layers: PictureNetwork
    of_character: Single
    """Shape (characters, n): added to what the first layer of the perceptron sums."""

    last_of_character: Single
    """Shape (characters, shifts): added to the outcome."""


STRIDES = (2, 2, 1)


def shift_odds(network: EndNetwork, char: str, pictures: Single, measures: Single) -> Floats:
    """Return how likely each end lies so many points further out, shape (ends, 2 * `end_pictures.MOST` + 1).

    Parameters
    ----------
    char
        The character that was written.
    pictures, measures
        `end_pictures.end_pictures` and `end_pictures.end_measures`.
    """
    row, layers = network.row.get(char, 0), network.layers
    with limited_threads():
        y = layers.of_pictures(pictures) + (layers.of_told(measures) + network.of_character[row])
        odds = layers.outcome(y + layers.offsets[0]) + network.last_of_character[row]
    return shares(odds.astype(float))


def likeliest_shifts(odds: Floats, point_mm: float) -> NDArray[np.int64]:
    """Return by how many points each end is to be led on (or, below nothing, taken back), shape (ends,).

    odds: of `shift_odds`; point_mm: length of line from point to point, mm.
    """
    most = odds.shape[1] // 2
    spread = max(TOLERANCE_MM / point_mm, 1.0) / 1.5
    apart = np.arange(odds.shape[1])
    right = odds @ np.exp(-0.5 * ((apart[:, None] - apart) / spread) ** 2)
    best = right.argmax(axis=1)
    better = right[np.arange(len(right)), best] > right[:, most] + MIN_GAIN
    return np.where(better, best - most, 0)


def moved_ends(
    dark: Single, points: Points, half: Floats, stroke: NDArray[np.int64], pen: float, full: float,
    *, point_mm: float, char: str,
) -> tuple[Points, Floats, NDArray[np.int64]]:  # fmt: skip
    """Return strokes with their ends where they probably were: points, half-widths and numbers of strokes.

    Parameters
    ----------
    dark, points, half, stroke, pen, full
        As `render_fit.fit` takes them; points (n, 2), px of the picture `dark`.
    point_mm
        Length of line from point to point, mm.
    char
        The character that was written.
    """
    from skeleton.fitting.end_pictures import MOST, end_measures, end_pictures, led_on
    from skeleton.fitting.residual_ink import ends_of

    ends = ends_of(stroke)
    if not len(ends):
        return points, half, stroke
    led, rings = [], np.zeros(len(ends))
    for k in range(0, len(ends), 2):
        way, *rings[k : k + 2] = led_on(points[ends[k] : ends[k + 1] + 1], pen)
        led.append(way)
    pictures = end_pictures(dark, points, half, stroke, pen, full, ends)
    odds = shift_odds(trained(), char, pictures, end_measures(points, stroke, pen, ends, rings))
    shifts = likeliest_shifts(odds, point_mm)
    every = list(np.split(np.arange(len(stroke)), np.flatnonzero(np.diff(stroke)) + 1))
    for k, way in enumerate(led):
        begin, end = shifts[2 * k : 2 * k + 2]
        first, last = MOST - begin, len(way) - MOST + end
        # a ring that closes stays whole: moved, none of thirty was read better or worse
        whole = closes(points[ends[2 * k] : ends[2 * k + 1] + 1], pen)
        if (begin or end) and last - first >= MIN_POINTS and not whole:
            every[int(stroke[ends[2 * k]] - stroke[0])] = ends[2 * k] + way[first:last]
    order = np.concatenate(every)
    return points[order], half[order], stroke[order]


@lru_cache(maxsize=1)
def trained() -> EndNetwork:
    """Return the network as it was trained."""
    return network_of(files("skeleton.fitting") / NAME)


def network_of(file: Path | Traversable) -> EndNetwork:
    """Return the network kept in a file, as `tests.bench trace_ends` writes it."""
    arrays, chars = load_arrays(file)
    row = {c: i + 1 for i, c in enumerate(chars)}
    layers = picture_network_of(arrays, STRIDES)
    return EndNetwork(row, layers, arrays["of_character"], arrays["last_of_character"])
