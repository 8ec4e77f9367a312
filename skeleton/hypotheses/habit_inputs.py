"""What `skeleton.scoring.writing_habits` is told of readings: the same when an image is read and when it is fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skeleton.hypotheses.labelled import Hypothesis
from skeleton.matching.stroke_distance import Shape, shapes_of_readings
from skeleton.matching.template_matching import Model, detached_marks_in_ink
from skeleton.scoring.form_similarity import FORM_FEATURE_NAMES, NO_FORM, Forms
from skeleton.scoring.path_features import PathScorer
from skeleton.scoring.writing_habits import clues_along
from skeleton.states.state_graph import packed

WIDE = FORM_FEATURE_NAMES.index("wide form")


@dataclass(frozen=True, eq=False)
class HabitInputs:
    """What is told of readings, one after the other, as `writing_habits.habit_costs` takes it."""

    shapes: list[Shape]
    along: NDArray[np.float32]
    """Shape (readings, clues)."""

    features: NDArray[np.float64]
    """Shape (readings, features): in a fluent hand, how well they suit what the picture suggests, and last how surely
    the lettering was drafted."""

    linear: NDArray[np.float64]
    """Shape (readings,): their linear costs."""

    unsuggested: NDArray[np.float64]
    """Shape (readings,): surprise at their rough shapes, -log likelihood, by the forms that no picture suggests: what
    one suggests suits any ink a little, whatever letter it is."""


def habit_inputs(scorer: PathScorer, every: Sequence[Hypothesis], models: Sequence[Model]) -> HabitInputs:
    """Return what is told of some readings, one at least, of the ink that `scorer` is of; models: the forms sought."""
    pack = packed([c.end_to_end for c in every])
    here, inked = scorer.states.here, detached_marks_in_ink(scorer.net, scorer.states, list(models))

    def suiting(some: Sequence[Model]) -> NDArray[np.float64]:
        if not some:
            return np.tile(NO_FORM, (len(every), 1))
        return Forms(some, inked, len(here)).form_features(pack, here)

    suggested, others = suiting([m for m in models if m.guessed]), suiting([m for m in models if not m.guessed])
    features = np.column_stack([[c.fluent_features for c in every], suggested, [c.drafted for c in every]])
    linear = np.array([c.cost for c in every])
    shapes = shapes_of_readings(pack, here)
    return HabitInputs(shapes, clues_along(scorer, pack), features, linear, others[:, WIDE])
