"""Readings made of matches: loose ends taken up, lifts and retraces varied, and the best one chosen."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skeleton.fitted_values import load_fitted_values
from skeleton.hypotheses.edits import KINDS, others
from skeleton.hypotheses.endpoints import optimise_endpoints
from skeleton.hypotheses.good_continuation import reorder_like, smooth_walks
from skeleton.hypotheses.pen_lifts import junction_merges, lift_edits
from skeleton.hypotheses.uncovered_ink import completed
from skeleton.matching.template_matching import Match, Model, detached_marks_in_ink
from skeleton.scoring.form_similarity import FORM_FEATURE_NAMES, NO_FORM, Forms
from skeleton.scoring.path_features import PATH_FEATURE_NAMES, PathScorer
from skeleton.states.state_graph import Walks, end_to_end, one_by_one, packed

Floats = NDArray[np.float64]

COSTS = load_fitted_values(Path(__file__).with_name("labelled_costs.json"))
"""Cost of one unit of each feature, in log odds: in a fluent hand, and what comes to it in drafted lettering."""

NAMES = COSTS.names
FEATURES = (*NAMES, *(f"drafted: {name}" for name in NAMES))
WEIGHTS = COSTS.end_to_end()
ROUGH_SHAPE_FEATURE = NAMES.index("wide form")


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """One way to read the ink."""

    name: str
    end_to_end: Walks
    fluent_features: NDArray[np.float64]
    """Shape (half the features,): what the cost in a fluent hand is made of."""

    drafted: float
    """0..1: how much of the cost in drafted lettering is added."""

    cost: float
    """Lower is better; differences are log odds."""

    @property
    def walks(self) -> tuple[list[int], ...]:
        """Single steps from state to state, one list a stroke, in writing order."""
        return one_by_one(*self.end_to_end)

    @property
    def features(self) -> NDArray[np.float64]:
        """What the cost is made of: `fluent_features`, and their share in drafted lettering, shape (2 * features,)."""
        return np.concatenate([self.fluent_features, self.drafted * self.fluent_features])


def negative_log_likelihood(c: Hypothesis) -> float:
    """Return how little a reading's rough shape suits any form of the character, -log likelihood."""
    return float(c.fluent_features[ROUGH_SHAPE_FEATURE])


def weights_for(weights: Floats, drafted: float) -> Floats:
    """Return the weights of `Hypothesis.fluent_features` in lettering so drafted; weights: of all features."""
    half = len(weights) // 2
    return weights[:half] + drafted * weights[half:]


KINEMATIC_FEATURE_NAMES = (*PATH_FEATURE_NAMES[:8], "landed", "lifted", "linked", "parted")
"""What counts of a reading that follows no form."""

EDIT_NAMES = ("added", "spliced", "lifts for retraces", "corners lifted", "merged", *KINDS, "smooth", "told ends")
"""What was done to a match to come to a reading: how often each."""

LIFTED, MERGED, VARIED, SMOOTH, ENDS = (
    EDIT_NAMES.index(x) for x in (EDIT_NAMES[2], "merged", KINDS[0], "smooth", "told ends")
)
AT_PATH_FEATURES, AT_FORM_FEATURES, AT_EDITS = (
    [NAMES.index(name) for name in names] for names in (PATH_FEATURE_NAMES, FORM_FEATURE_NAMES, EDIT_NAMES)
)
AT_MATCH = [NAMES.index(name) for name in ("fit", "log prior", "bare")]

MAX_COMPLETED_MATCHES, MAX_EDITED_READINGS = 8, 5
"""How many matches are completed, and how many readings are varied, the best first."""

EDIT_COST_WINDOW = 4.0
"""Log odds behind the best reading up to which another is varied too."""

EditCounts = tuple[int, ...]
Found = tuple[Match, Walks, float, EditCounts]
"""A reading: the match that it came from, its walks, the share of the lines that the match left bare, its edits."""


def with_edit(made: EditCounts, kind: int, n: int = 1) -> EditCounts:
    """Return counts with `n` more edits of a kind."""
    return (*made[:kind], made[kind] + n, *made[kind + 1 :])


def candidates(
    scorer: PathScorer,
    matches: list[Match],
    models: list[Model],
    *,
    edited: int = MAX_EDITED_READINGS,
    window: float = EDIT_COST_WINDOW,
) -> list[Hypothesis]:
    """Return the readings that the matches and their variants give, best first, no two alike.

    scorer: of the ink that was matched.
    edited: how many readings are varied; window: log odds behind the best up to which they are.
    """
    if not matches:
        return []
    net, states, context = scorer.net, scorer.states, scorer.context
    forms = Forms(models, detached_marks_in_ink(net, states, models), len(states.here))
    weights = weights_for(WEIGHTS, states.drafted)
    out: dict[Any, Hypothesis] = {}
    features_of: dict[Any, Floats] = {}
    queue: list[tuple[float, int, Any, Found]] = []

    def weigh(found: list[Found]) -> None:
        """Put readings into the queue, all at once: a call of a compiled loop costs more than what it does."""
        keys = [(walks[0].tobytes(), walks[1].tobytes()) for _, walks, _, _ in found]
        fresh = {key: f[1] for key, f in zip(keys, found, strict=True) if key not in features_of}
        if fresh:
            pack = packed(list(fresh.values()))
            rows = np.zeros((len(fresh), len(NAMES)))
            rows[:, AT_PATH_FEATURES] = scorer.path_features(pack)
            rows[:, AT_FORM_FEATURES] = forms.form_features(pack, states.here)
            features_of.update(zip(fresh, rows, strict=True))
        table = np.array([features_of[key] for key in keys])
        table[:, AT_MATCH] = [(m.fit, m.model.log_prior, bare) for m, _, bare, _ in found]
        table[:, AT_EDITS] = [made for *_, made in found]
        for key, f, told, cost in zip(keys, found, table, (table @ weights).tolist(), strict=True):
            if key not in out or cost < out[key].cost:
                out[key] = Hypothesis(f[0].model.name, f[1], told, states.drafted, cost)
            queue.append((cost, len(queue), key, f))

    none = (0,) * len(EDIT_NAMES)
    first = []
    for m in matches:
        count = scorer.coverage(m.end_to_end)
        bare = scorer.bare(count)
        first.append((WEIGHTS[AT_MATCH] @ (m.fit, m.model.log_prior, bare), m, count, bare))
    first.sort(key=lambda x: x[0])
    found: list[Found] = []
    for _, m, count, bare in first[:MAX_COMPLETED_MATCHES]:
        for whole, added, hooks in completed(context, m.end_to_end, count):
            made = (added, hooks, *none[2:])
            found.append((m, whole, bare, made))
            if not hooks:
                found += [
                    (m, moved, bare, with_edit(made, ENDS)) for moved in optimise_endpoints(context, whole, False)
                ]
    weigh(found)
    smooth = smooth_walks(net, states)
    if smooth:
        _, _, _, (m, like, _, _) = min(queue, key=lambda x: x[:2])
        weigh([(m, end_to_end(reorder_like(like, smooth)), 0.0, with_edit(none, SMOOTH))])
    expanded: set[Any] = set()
    for _ in range(edited):
        fresh = [x for x in queue if x[2] not in expanded]
        if not fresh:
            break
        cost, _, key, (m, walks, bare, made) = min(fresh, key=lambda x: x[:2])
        if cost > min(queue, key=lambda x: x[:2])[0] + window:
            break
        expanded.add(key)
        changed = [(LIFTED + kind, n, variant) for kind, n, variant in lift_edits(context, walks)]
        changed += [(MERGED, 1, variant) for variant in junction_merges(context, walks)]
        changed += [(VARIED + kind, 1, variant) for kind, variant in others(context, walks, scorer.tip)]
        changed += [(ENDS, 1, variant) for variant in optimise_endpoints(context, walks, True)]
        if changed:
            weigh([(m, variant, bare, with_edit(made, k, n)) for k, n, variant in changed])
    return sorted(out.values(), key=lambda c: c.cost)


def kinematic_cost(scorer: PathScorer, walks: Walks) -> float:
    """Return the cost of walks that follow no form, as if they followed a rare one badly."""
    f = np.zeros(len(FEATURES))
    f[AT_MATCH] = 0.5, np.log(0.03), 0.0
    f[AT_FORM_FEATURES] = NO_FORM
    told = dict(zip(PATH_FEATURE_NAMES, scorer.path_features(packed([walks]))[0], strict=True))
    for name in KINEMATIC_FEATURE_NAMES:
        f[NAMES.index(name)] = told[name]
    return float(f @ WEIGHTS)
