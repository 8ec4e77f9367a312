"""How well the shape of a reading suits the known forms of a character: compiled loops."""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import Flags, Indices, Line, Matrix, PackedReadings, Stack, Vector
from skeleton.geometry.jit import compiled
from skeleton.matching.shape_kernels import form_distance, shape_in_boxes, shape_of_walks

FORM_SPREAD_SIZES = 0.035
"""Distance, in sizes of the character, at which a form is 1/e as likely as a perfect one."""


WIDE_SPREAD_SIZES = 0.1
"""The same where only the rough shape counts."""


UNKNOWN_FORM_LIKELIHOOD = 0.004
"""Likelihood of a form that is in no table."""


MAX_DISTANCES_SIZES = (0.3, 0.5, 0.5)
"""Distances from a form, in sizes of the character, from which it makes no difference: mean, worst stroke's, ends'."""


OTHER_COUNT_LIKELIHOOD = 0.02
"""Likelihood of a number of strokes that no form has."""


@compiled
def form_scores(
    pack: PackedReadings, here: Line, samples: int, aside: Flags, boxes: Stack,
    forms: Stack, form_lengths: Vector, form_at: Indices, priors: Vector,
) -> Matrix:  # fmt: skip
    """Return how well each of some readings suits the forms of a character, shape (readings, 6).

    Negative log likelihood of the shape, narrow and wide; what `form_distance` tells of the nearest form; negative log
    likelihood of the number of strokes. pack: the readings (`state_graph.packed`); aside, boxes: as for
    `shape_in_boxes`, where there is any detached mark; forms (strokes, samples, 2) and form_lengths (strokes,): of
    all forms, one after the other; form_at (forms + 1,): the first stroke of each; priors (forms,): shares of one.
    """
    every, starts, state_at, start_at = pack
    out = np.empty((len(state_at) - 1, 6))
    apart = aside.any()
    for r in range(len(out)):
        walk = every[state_at[r] : state_at[r + 1]]
        begin = starts[start_at[r] : start_at[r + 1]]
        if apart:
            strokes, lengths = shape_in_boxes(walk, begin, here, samples, aside, boxes)
        else:
            strokes, lengths = shape_of_walks(walk, begin, here, samples)
        likely, widely, usual = 0.0, 0.0, 0.0
        low, mean, worst, ends = 1e9, MAX_DISTANCES_SIZES[0], MAX_DISTANCES_SIZES[1], MAX_DISTANCES_SIZES[2]
        for f in range(len(priors)):
            a, b = form_at[f], form_at[f + 1]
            if b - a != len(lengths):
                continue
            usual += priors[f]
            far = form_distance(strokes, lengths, forms[a:b], form_lengths[a:b])
            likely += priors[f] * math.exp(-far[0] / FORM_SPREAD_SIZES)
            widely += priors[f] * math.exp(-far[0] / WIDE_SPREAD_SIZES)
            rank = far[0] - WIDE_SPREAD_SIZES * math.log(priors[f])
            if rank < low:
                low = rank
                mean, worst, ends = far
        out[r, 0], out[r, 1] = -math.log(likely + UNKNOWN_FORM_LIKELIHOOD), -math.log(widely + UNKNOWN_FORM_LIKELIHOOD)
        out[r, 2], out[r, 3], out[r, 4] = (
            min(mean, MAX_DISTANCES_SIZES[0]),
            min(worst, MAX_DISTANCES_SIZES[1]),
            min(ends, MAX_DISTANCES_SIZES[2]),
        )
        out[r, 5] = -math.log(usual + OTHER_COUNT_LIKELIHOOD)
    return out
