"""How people write a character: what a small network says of the readings of an image.

The cost of a reading is linear in its features, the same for all characters. What is usual differs from character to
character, and in ways that a few mean forms do not tell: where a stroke may begin, which way it goes, whether the pen
is lifted. The network sees a reading's strokes at equal arc lengths, what the ink tells along them, its features, the
character, and the likeliest of the other readings; it adds to the cost. When the likeliest readings were fitted to the
ink it looks again. It was fitted as a conditional logit (McFadden 1974) on the readings considered for the characters
of people whose strokes are known; `tests.bench trace_habits` fits and scores it.
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
from skeleton.scoring.ink_along_kernels import END_CLUES, ink_along
from skeleton.scoring.path_features import PathScorer
from skeleton.small_networks import Single, load_arrays
from skeleton.states.state_graph import Pack

Floats = NDArray[np.float64]

MAX_STROKES = 5
"""Strokes of a reading that the network sees, the first ones."""

STROKE_INPUTS = 2 * SAMPLES + 2
"""What it sees of each: its points, its share of the length, and that it is there."""

COORDINATE_SCALE = 2.0
"""By which points and shares of length are multiplied, so that they vary about as much as the other inputs."""

MAX_FEATURE_SPREADS = 4.0
"""Features are kept within so many standard deviations."""

MAX_UNLIKE, MAX_UNLIKE_FINE, FINE_SCALE = 3.0, 0.3, 5.0
"""E-folds of unexplained ink up to which the second look sees differences, and those that it sees finely."""

SHARE_HEARD = 0.7
"""Share of what the first look says that counts: of hands unlike those it was fitted on it is surer than right. Set by
hand: people of the validation part are read as well with 0.5 or 1, other data sets worse with 1."""

_CLUE_SCALES = np.tile(
    np.array([*(0.3, 0.5, 1.0) * SAMPLES, *(0.3,) * 4, *(1.0,) * (END_CLUES - 4)], np.float32), MAX_STROKES
)
"""By which clues are multiplied: log odds vary more than shares."""

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
    """Shape (n, m): of a reading itself."""

    second_of_all: Single
    """Shape (n, m): of the mean of all readings, each as likely as its linear cost has it."""

    second_offsets: Single
    """Shape (characters, m)."""

    last: Single
    """Shape (characters, m)."""

    again: Single
    """Shape (m + 3, k): of the second look, of what the second layer gave and how well a reading explains the ink."""

    again_offsets: Single
    """Shape (k,)."""

    again_last: Single
    """Shape (k,)."""

    residual_ink: float
    """Log odds lost for every e-fold of ink left unexplained."""


@dataclass(frozen=True, eq=False)
class FirstLook:
    """What the network says of readings at its first look."""

    costs: Floats
    """Shape (readings,): log odds to be added to their linear costs."""

    traits: Single
    """Shape (readings, m): what the second look starts from."""


def habit_costs(
    char: str, shapes: Sequence[Shape], along: Single, features: Floats, linear: Floats
) -> FirstLook | None:
    """Return what the network says of readings; None for a character not known.

    Parameters
    ----------
    char
        The character that was written.
    shapes
        The readings' strokes in a box of size 1, y down.
    along
        What the ink tells along them, `clues_along`.
    features
        Shape (readings, features), `habit_inputs.HabitInputs.features`.
    linear
        Shape (readings,): their linear costs.
    """
    return judged_by(trained(), char, shapes, along, features, linear)


def judged_by(
    habits: Habits, char: str, shapes: Sequence[Shape], along: Single, features: Floats, linear: Floats
) -> FirstLook | None:
    """Return what a network says of readings; see `habit_costs`."""
    row = habits.row.get(char)
    if row is None or not shapes:
        return None
    told = np.clip((features - habits.shift) / habits.scale, -MAX_FEATURE_SPREADS, MAX_FEATURE_SPREADS)
    x = np.concatenate([stroke_inputs(shapes), told, along], axis=1, dtype=np.float32)
    share = np.exp(linear.min() - linear)
    share /= share.sum()
    with limited_threads():
        y = np.maximum(x @ habits.first + habits.first_offsets[row], 0)
        of_all = share.astype(np.float32) @ y
        z = np.maximum(y @ habits.second + (of_all @ habits.second_of_all + habits.second_offsets[row]), 0)
        return FirstLook(SHARE_HEARD * (z @ habits.last[row]).astype(float), z)


def second_look(traits: Single, unlike: Floats, fitted: NDArray[np.bool_]) -> Floats:
    """Return what is added to the costs of readings once the likeliest were fitted to the ink, shape (readings,).

    Parameters
    ----------
    traits
        Shape (readings, m), `FirstLook.traits`.
    unlike
        Shape (readings,): e-folds of ink left unexplained beyond those of the reading that explains it best; those not
        fitted as much as the worst.
    fitted
        Shape (readings,): whether a reading was fitted.
    """
    return looked_again(trained(), traits, unlike, fitted)


def looked_again(habits: Habits, traits: Single, unlike: Floats, fitted: NDArray[np.bool_]) -> Floats:
    """Return the costs of a network's second look: of traits (readings, m), unlike and fitted (readings,).

    See `second_look`.
    """
    wide, fine = np.minimum(unlike, MAX_UNLIKE), FINE_SCALE * np.minimum(unlike, MAX_UNLIKE_FINE)
    x = np.concatenate([traits, np.stack([wide, fitted, fine], axis=1)], axis=1, dtype=np.float32)
    y = np.maximum(x @ habits.again + habits.again_offsets, 0) @ habits.again_last
    out: Floats = habits.residual_ink * unlike + y
    return out


def clues_along(scorer: PathScorer, pack: Pack) -> Single:
    """Return what the ink tells along the strokes of readings, shape (readings, clues)."""
    clues = ink_along(scorer.context, pack, scorer.states.width, scorer.tip, SAMPLES, MAX_STROKES)
    out: Single = clues.reshape(len(clues), -1) * _CLUE_SCALES
    return out


def stroke_inputs(shapes: Sequence[Shape]) -> Single:
    """Return what the network sees of the strokes of readings, shape (readings, MAX_STROKES * STROKE_INPUTS)."""
    out = np.zeros((len(shapes), MAX_STROKES, STROKE_INPUTS), np.float32)
    counts = np.array([len(s.lengths) for s in shapes])
    reading = np.repeat(np.arange(len(shapes)), counts)
    stroke = np.arange(len(reading)) - np.repeat(np.cumsum(counts) - counts, counts)
    seen = stroke < MAX_STROKES
    at = reading[seen], stroke[seen]
    out[*at, : 2 * SAMPLES] = np.concatenate([s.strokes for s in shapes]).reshape(len(reading), -1)[seen]
    out[*at, -2] = np.concatenate([s.lengths for s in shapes])[seen]
    out[*at, -1] = 1 / COORDINATE_SCALE
    out *= COORDINATE_SCALE
    return out.reshape(len(shapes), -1)


@lru_cache(maxsize=1)
def trained() -> Habits:
    """Return the network as it was fitted."""
    return habits_of(files("skeleton.scoring") / NAME)


def habits_of(file: Path | Traversable) -> Habits:
    """Return the network kept in a file, as `tests.bench trace_habits` writes it."""
    told, chars = load_arrays(file)
    residual = float(told.pop("residual_ink"))
    return Habits({c: i for i, c in enumerate(chars)}, **told, residual_ink=residual)
