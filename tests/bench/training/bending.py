"""A person's character written a little otherwise: slanted, stretched, turned, gently bent."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from capture.units import Points

TURN_DEGREES, SLANT, STRETCH, SIZE = 3.0, 0.1, 0.08, 0.08
"""Standard deviations: of the turn, of the shear, of the log of width to height, of the log of the size."""

BEND_SIZES, WAVES_A_SIZE = 0.02, (0.6, 1.0)
"""Standard deviation of each wave that bends, in sizes of the character, and how many of it go into one size."""


def bent(strokes: Sequence[Points], rng: np.random.Generator) -> list[Points]:
    """Return strokes, (n, 2) each in any unit, y down, as the same person might have written them another time."""
    every = np.concatenate(list(strokes))
    middle, size = (every.min(axis=0) + every.max(axis=0)) / 2, max(float(np.ptp(every, axis=0).max()), 1e-6)
    turn, shear = np.deg2rad(rng.normal(0, TURN_DEGREES)), rng.normal(0, SLANT)
    stretch, scale = np.exp(rng.normal(0, STRETCH)), np.exp(rng.normal(0, SIZE))
    turned = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    matrix = scale * turned @ np.array([[stretch, shear], [0.0, 1.0]])
    waves = np.array(WAVES_A_SIZE)
    high = rng.normal(0, BEND_SIZES, (2, 2, len(waves)))
    phase = rng.uniform(0, 2 * np.pi, (2, 2, len(waves)))
    out = []
    for s in strokes:
        p = (s - middle) / size
        # a wave along x and one along y for either coordinate
        angles = 2 * np.pi * p[:, None, :, None] * waves + phase
        out.append(((p + (high * np.sin(angles)).sum(axis=(2, 3))) @ matrix.T) * size + middle)
    return out
