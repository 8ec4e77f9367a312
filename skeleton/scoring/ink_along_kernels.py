"""What the ink tells along the strokes of readings: a compiled loop."""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Flags, PackedReadings, Stack, Vector
from skeleton.geometry.jit import compiled
from skeleton.states.paths import PathContext, coverage

PLACE_CLUES, END_CLUES = 3, 8
"""What is told of every place along a stroke, and of its two ends."""


@compiled
def ink_along(context: PathContext, pack: PackedReadings, width: Vector, tip: Flags, samples: int, most: int) -> Stack:
    """Return what the ink tells along strokes, shape (readings, most, PLACE_CLUES * samples + END_CLUES), float32.

    Of every stroke, the first `most`: at `samples` states, equally many apart, the log odds of a double pass, how often
    the reading passes there beyond once (2 at most), and the width of the ink (places,), as a share of the usual, less
    one (0 where not measured); of its two ends, the log odds that the pen landed and lifted there as the reading has
    it, that it lifted and landed there the other way round, whether either lies at a tip (states,), and how often the
    reading passes there beyond once. Zeros where there is no stroke.
    """
    every, starts, state_at, start_at = pack
    out = np.zeros((len(state_at) - 1, most, PLACE_CLUES * samples + END_CLUES), np.float32)
    for r in range(len(out)):
        walk = every[state_at[r] : state_at[r + 1]]
        begin = starts[start_at[r] : start_at[r + 1]]
        count = coverage((walk, begin), len(context.twice))
        for i in range(min(len(begin) - 1, most)):
            a, b = begin[i], begin[i + 1]
            row = out[r, i]
            for j in range(samples):
                q = walk[a + round((b - 1 - a) * j / (samples - 1))] // 2
                row[3 * j], row[3 * j + 1] = context.twice[q], min(count[q] - 1, 2)
                row[3 * j + 2] = 0.0 if np.isnan(width[q]) else min(max(width[q] - 1, -1.0), 2.0)
            s, e = walk[a], walk[b - 1]
            n = PLACE_CLUES * samples
            row[n], row[n + 1] = context.landed[s], context.lifted[e]
            row[n + 2], row[n + 3] = context.lifted[s ^ 1], context.landed[e ^ 1]
            row[n + 4], row[n + 5] = tip[s ^ 1], tip[e]
            row[n + 6], row[n + 7] = count[s // 2] - 1, count[e // 2] - 1
    return out
