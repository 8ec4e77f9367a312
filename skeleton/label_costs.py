"""How well ink suits several labels: which character a cell holds, when the cell itself may be mistaken.

A label costs what its best reading costs (`skeleton.hypotheses.labelled`), in log odds, and what its form's height over
and depth under the guides is off: a tracer has no eye for size, but a sheet has lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from capture.units import MM_PER_INCH
from skeleton.hypotheses.forms_sought import models_of
from skeleton.hypotheses.labelled import candidates
from skeleton.ink.scaled_darkness import Grey
from skeleton.matching.template_matching import find_matches
from skeleton.pipeline import build_state_graph_of
from skeleton.scoring.path_features import path_scorer

SIZE_SD = 0.3
"""x-heights: how far a letter's top and foot lie from where its form has them, standard deviation (common practice, no
source; two writers of UNIPEN scatter by 0.11 about their own heights, and their own are not the form's)."""

FORMS, FORMS_WITHIN, EDITED, EDITED_WITHIN = 9, 0.7, 3, 2.0
"""How wide the choice is, less than where the label is known: with more ways a wrong label suits nearly as well."""

MOST_SIZE_COST = 4.0
MOST_COST = 30.0
"""Beyond this a label is no more unlike than unlike."""


def label_costs(
    grey: Grey,
    dpi: float,
    chars: Sequence[str],
    *,
    x_height_mm: float,
    baseline_mm: float,
    handedness: str = "right",
) -> list[float]:
    """Return what each of some characters costs as the label of an image, in log odds; the least suits best.

    Parameters
    ----------
    grey
        Shape (h, w), uint8; dark ink on light paper.
    chars
        The characters; nan is returned for one of which no form is known, and for all where there is no ink.
    x_height_mm
        The writing size.
    baseline_mm
        y of the baseline in the image, from its top edge.
    """
    apart = build_state_graph_of(grey, dpi)
    if apart is None:
        return [float("nan")] * len(chars)
    _, net, states = apart
    scorer = path_scorer(net, states)
    rows = np.flatnonzero((grey < 128).any(axis=1)) * MM_PER_INCH / dpi
    top, foot = ((baseline_mm - rows[0]), (baseline_mm - rows[-1])) if len(rows) else (0.0, 0.0)
    out = []
    for char in chars:
        models = models_of(char, handedness, ())
        if not models:
            out.append(float("nan"))
            continue
        matches = find_matches(net, states, models, keep=FORMS, window=FORMS_WITHIN)
        found = candidates(scorer, matches, models, edited=EDITED, window=EDITED_WITHIN)
        if not found:
            out.append(MOST_COST)
            continue
        off = np.array([top, foot]) / x_height_mm - heights_of(char)
        size = np.minimum(0.5 * (off / SIZE_SD) ** 2, MOST_SIZE_COST).sum(axis=1).min()
        out.append(min(float(found[0].cost + size), MOST_COST))
    return out


@lru_cache(maxsize=512)
def heights_of(char: str) -> np.ndarray:
    """Return top and foot of a character's forms over the baseline, x-heights, shape (n, 2)."""
    strokes = [np.vstack(m.strokes) for m in models_of(char, "right", ())]
    return np.array([(-float(p[:, 1].min()), -float(p[:, 1].max())) for p in strokes])
