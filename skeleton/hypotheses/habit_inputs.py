"""What `skeleton.scoring.writing_habits` is told of readings: the same when an image is read and when it is fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skeleton.hypotheses.labelled import Hypothesis
from skeleton.matching.stroke_distance import Shape, shapes_of_readings
from skeleton.matching.template_matching import Model, detached_marks_in_ink
from skeleton.scoring.form_similarity import NO_FORM, Forms
from skeleton.scoring.path_features import PathScorer
from skeleton.scoring.writing_habits import clues_along
from skeleton.states.state_graph import packed


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


def habit_inputs(scorer: PathScorer, every: Sequence[Hypothesis], models: Sequence[Model]) -> HabitInputs:
    """Return what is told of some readings, one at least, of the ink that `scorer` is of; models: the forms sought."""
    pack = packed([c.end_to_end for c in every])
    guesses = [m for m in models if m.guessed]
    suiting = np.tile(NO_FORM, (len(every), 1))
    if guesses:
        inked = detached_marks_in_ink(scorer.net, scorer.states, guesses)
        suiting = Forms(guesses, inked, len(scorer.states.here)).form_features(pack, scorer.states.here)
    features = np.column_stack([[c.fluent_features for c in every], suiting, [c.drafted for c in every]])
    linear = np.array([c.cost for c in every])
    return HabitInputs(shapes_of_readings(pack, scorer.states.here), clues_along(scorer, pack), features, linear)
