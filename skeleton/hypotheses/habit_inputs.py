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
from skeleton.states.state_graph import Pack, packed

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
    suiting = [_suiting(scorer, pack, [m for m in models if m.guessed == guessed]) for guessed in (True, False)]
    features = np.column_stack([[c.fluent_features for c in every], suiting[0], [c.drafted for c in every]])
    linear = np.array([c.cost for c in every])
    shapes, along = shapes_of_readings(pack, scorer.states.here), clues_along(scorer, pack)
    return HabitInputs(shapes, along, features, linear, suiting[1][:, WIDE])


def _suiting(scorer: PathScorer, pack: Pack, models: Sequence[Model]) -> NDArray[np.float64]:
    """Return how well readings suit some forms, shape (readings, 6); see `form_similarity.FORM_FEATURE_NAMES`."""
    if not models:
        return np.tile(NO_FORM, (len(pack[2]) - 1, 1))
    inked = detached_marks_in_ink(scorer.net, scorer.states, list(models))
    return Forms(models, inked, len(scorer.states.here)).form_features(pack, scorer.states.here)
