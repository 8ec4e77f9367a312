"""How people write a character: what a small network says of the strokes of a reading.

The cost of a reading is linear in its features, the same for all characters. What is usual differs from character to
character, and in ways that a few mean forms do not tell: where a stroke may begin, which way it goes, whether the pen
is lifted. The network sees a reading's strokes at equal arc lengths, its features, and the character, and adds to the
cost. It was fitted as a conditional logit (McFadden 1974) on the readings considered for the characters of people whose
strokes are known; `tests.bench trace_habits` fits and scores it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.blas import limited_threads
from skeleton.matching.stroke_distance import SAMPLES, Shape

Floats = NDArray[np.float64]
Single = NDArray[np.float32]

MAX_STROKES = 5
"""Strokes of a reading that the network sees, the first ones."""

STROKE_INPUTS = 2 * SAMPLES + 2
"""What it sees of each: its points, its share of the length, and that it is there."""

COORDINATE_SCALE = 2.0
"""By which points and shares of length are multiplied, so that they vary about as much as the other inputs."""

MAX_FEATURE_SPREADS = 4.0
"""Features are kept within so many standard deviations."""

PROVENANCE = "provenance"
"""Name, among the arrays kept, of what they were fitted on: JSON in UTF-8, as bytes."""

NAME = "writing_habits.npz"


@dataclass(frozen=True, eq=False)
class Habits:
    """The network: two layers of rectified sums, whose offsets and last weights each character has its own."""

    row: Mapping[str, int]
    """Which row of `first_offsets`, `second_offsets` and `last` is a character's."""

    shift: Single
    scale: Single
    """Shape (features,): mean and standard deviation of the features."""

    first: Single
    """Shape (inputs, n)."""

    first_offsets: Single
    """Shape (characters, n)."""

    second: Single
    """Shape (n, m)."""

    second_offsets: Single
    """Shape (characters, m)."""

    last: Single
    """Shape (characters, m)."""


def habit_costs(char: str, shapes: Sequence[Shape], features: Floats) -> Floats:
    """Return what is added to the costs of readings, log odds, shape (readings,); zeros for a character not known.

    Parameters
    ----------
    char
        The character that was written.
    shapes
        The readings' strokes in a box of size 1, y down.
    features
        Shape (readings, features): in a fluent hand, and last how surely the lettering was drafted.
    """
    return costs_by(trained(), char, shapes, features)


def costs_by(habits: Habits, char: str, shapes: Sequence[Shape], features: Floats) -> Floats:
    """Return the costs that a network adds; see `habit_costs`."""
    row = habits.row.get(char)
    if row is None or not shapes:
        return np.zeros(len(shapes))
    told = np.clip((features - habits.shift) / habits.scale, -MAX_FEATURE_SPREADS, MAX_FEATURE_SPREADS)
    x = np.concatenate([stroke_inputs(shapes), told], axis=1, dtype=np.float32)
    with limited_threads():
        y = np.maximum(x @ habits.first + habits.first_offsets[row], 0)
        y = np.maximum(y @ habits.second + habits.second_offsets[row], 0)
        out: Floats = (y @ habits.last[row]).astype(float)
    return out


def stroke_inputs(shapes: Sequence[Shape]) -> Single:
    """Return what the network sees of the strokes of readings, shape (readings, MAX_STROKES * STROKE_INPUTS)."""
    out = np.zeros((len(shapes), MAX_STROKES, STROKE_INPUTS), np.float32)
    for r, shape in enumerate(shapes):
        n = min(len(shape.lengths), MAX_STROKES)
        out[r, :n, : 2 * SAMPLES] = shape.strokes[:n].reshape(n, -1)
        out[r, :n, -2] = shape.lengths[:n]
        out[r, :n, -1] = 1 / COORDINATE_SCALE
    out *= COORDINATE_SCALE
    return out.reshape(len(shapes), -1)


@lru_cache(maxsize=1)
def trained() -> Habits:
    """Return the network as it was fitted."""
    return habits_of(files("skeleton.scoring") / NAME)


def habits_of(file: Path | Traversable) -> Habits:
    """Return the network kept in a file, as `tests.bench trace_habits` writes it."""
    with file.open("rb") as f:
        kept = np.load(f)
        numbers = [name for name in kept if name not in (PROVENANCE, "characters")]
        # rows end to end: a matrix kept by columns takes three times as long to multiply
        told = {name: np.ascontiguousarray(kept[name], np.float32) for name in numbers}
        row = {chr(c): i for i, c in enumerate(kept["characters"].tolist())}
    return Habits(row, **told)
