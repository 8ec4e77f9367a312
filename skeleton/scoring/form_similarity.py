"""How well a reading's strokes suit the known forms of the character, number, order and direction included."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from skeleton.matching.detached_marks import DetachedMark
from skeleton.matching.stroke_distance import SAMPLES
from skeleton.matching.template_matching import Model
from skeleton.scoring.form_similarity_kernels import (
    MAX_DISTANCES_SIZES,
    OTHER_COUNT_LIKELIHOOD,
    UNKNOWN_FORM_LIKELIHOOD,
    form_scores,
)
from skeleton.states.state_graph import Pack

Floats = NDArray[np.float64]

FORM_FEATURE_NAMES = ("form", "wide form", "form distance", "worst stroke", "ends", "form count")
"""What is told of a reading: surprise at its shape, narrow and wide; how far it is from the nearest form, in sizes of
the character: in the mean, its worst stroke, its ends; surprise at the number of its strokes."""

NO_FORM = (
    -float(np.log(UNKNOWN_FORM_LIKELIHOOD)),
    -float(np.log(UNKNOWN_FORM_LIKELIHOOD)),
    *MAX_DISTANCES_SIZES,
    -float(np.log(OTHER_COUNT_LIKELIHOOD)),
)
"""The same of a reading with a number of strokes that no form has."""


class Forms:
    """The forms of a character, ready for comparing with readings of some ink."""

    def __init__(self, models: Sequence[Model], inked: Mapping[int, DetachedMark], states: int) -> None:
        """Make ready for ink of so many states, its marks apart as `detached_marks.detached_in_ink` has them."""
        marks = next((inked[m.apart[1]] for m in models if m.apart[1] in inked), None)
        self._boxes = marks.boxes if marks else np.zeros((2, 2, 2))
        self._aside = marks.there if marks else np.zeros(states, bool)
        shapes = [m.shape_with_marks_aside if marks and marks is inked.get(m.apart[1]) else m.shape for m in models]
        priors = np.array([m.prior for m in models])
        self._strokes = np.concatenate([s.strokes for s in shapes])
        self._lengths = np.concatenate([s.lengths for s in shapes])
        self._at = np.cumsum([0, *(len(s.lengths) for s in shapes)])
        self._priors = priors / max(float(priors.sum()), 1e-9)

    def form_features(self, pack: Pack, here: Floats) -> Floats:
        """Return the columns `FORM_FEATURE_NAMES` of readings, shape (readings, 6); here: places of states, (s, 2)."""
        out: Floats = form_scores(
            pack, here, SAMPLES, self._aside, self._boxes, self._strokes, self._lengths, self._at, self._priors
        )
        return out
