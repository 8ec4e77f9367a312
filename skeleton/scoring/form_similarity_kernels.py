"""How well the shape of a reading suits the known forms of a character: compiled loops."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from skeleton.geometry.jit import compiled
from skeleton.matching.shape_kernels import form_distance, shape_in_boxes, shape_of_walks

SPREAD = 0.035
"""Distance, in sizes of the character, at which a form is 1/e as likely as a perfect one."""


WIDE = 0.1
"""The same where only the rough shape counts."""


UNKNOWN = 0.004
"""Likelihood of a form that is in no table."""


UNLIKE = (0.3, 0.5, 0.5)
"""Distances from a form, in sizes of the character, from which it makes no difference: mean, worst stroke's, ends'."""


OTHER_NUMBER = 0.02
"""Likelihood of a number of strokes that no form has."""


@compiled
def form_scores(
    pack: Any, here: Any, samples: int, aside: Any, boxes: Any,
    forms: Any, form_lengths: Any, form_at: Any, priors: Any,
) -> Any:  # fmt: skip
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
        low, mean, worst, ends = 1e9, UNLIKE[0], UNLIKE[1], UNLIKE[2]
        for f in range(len(priors)):
            a, b = form_at[f], form_at[f + 1]
            if b - a != len(lengths):
                continue
            usual += priors[f]
            far = form_distance(strokes, lengths, forms[a:b], form_lengths[a:b])
            likely += priors[f] * math.exp(-far[0] / SPREAD)
            widely += priors[f] * math.exp(-far[0] / WIDE)
            rank = far[0] - WIDE * math.log(priors[f])
            if rank < low:
                low = rank
                mean, worst, ends = far
        out[r, 0], out[r, 1] = -math.log(likely + UNKNOWN), -math.log(widely + UNKNOWN)
        out[r, 2], out[r, 3], out[r, 4] = min(mean, UNLIKE[0]), min(worst, UNLIKE[1]), min(ends, UNLIKE[2])
        out[r, 5] = -math.log(usual + OTHER_NUMBER)
    return out
