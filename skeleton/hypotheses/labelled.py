"""Readings made of matches: loose ends taken up, lifts and retraces varied, and the best one chosen."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skeleton.fitted_values import load_fitted_values
from skeleton.graph.junctions import Network
from skeleton.hypotheses.edits import KINDS, others
from skeleton.hypotheses.endpoints import optimise_endpoints
from skeleton.hypotheses.good_continuation import reorder_like, smooth_walks
from skeleton.hypotheses.pen_lifts import junction_merges, lift_edits
from skeleton.hypotheses.uncovered_ink import completed
from skeleton.matching.template_matching import Match, Model, detached_marks_in_ink
from skeleton.scoring.form_similarity import NO_FORM, SUITS, Forms
from skeleton.scoring.path_features import TOLD, path_scorer
from skeleton.states.state_graph import States, Walks, end_to_end, one_by_one, packed

Floats = NDArray[np.float64]

COSTS = load_fitted_values(Path(__file__).with_name("labelled_costs.json"))
"""Cost of one unit of each feature, in log odds: in a fluent hand, and what comes to it in drafted lettering."""

NAMES = COSTS.names
FEATURES = (*NAMES, *(f"drafted: {name}" for name in NAMES))
WEIGHTS = COSTS.end_to_end()
SURPRISE = FEATURES.index("wide form")


@dataclass(frozen=True, eq=False)
class Candidate:
    """One way to read the ink."""

    name: str
    end_to_end: Walks
    told: NDArray[np.float64]
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
        """What the cost is made of: `told`, and its share in drafted lettering, shape (2 * len(told),)."""
        return np.concatenate([self.told, self.drafted * self.told])


def negative_log_likelihood(c: Candidate) -> float:
    """Return how little a reading's rough shape suits any form of the character, -log likelihood."""
    return float(c.told[SURPRISE])


def in_lettering(weights: Floats, drafted: float) -> Floats:
    """Return the weights of `Candidate.told` where the lines are as drafted as that; weights: of all features."""
    half = len(weights) // 2
    return weights[:half] + drafted * weights[half:]


MOVEMENT = (*TOLD[:8], "landed", "lifted", "linked", "parted")
"""What counts of a reading that follows no form."""

MADE = ("added", "spliced", "lifts for retraces", "corners lifted", "merged", *KINDS, "smooth", "told ends")
"""What was done to a match to come to a reading: how often each."""

LIFTED, MERGED, VARIED, SMOOTH, ENDS = (MADE.index(x) for x in (MADE[2], "merged", KINDS[0], "smooth", "told ends"))
AT_TOLD, AT_SUITS, AT_MADE = ([NAMES.index(name) for name in names] for names in (TOLD, SUITS, MADE))
AT_MATCH = [NAMES.index(name) for name in ("fit", "log prior", "bare")]

FIRST, EXPANDED = 8, 3
"""How many matches are completed, and how many readings are varied, the best first."""

WORTH_VARYING = 2.0
"""Log odds behind the best reading up to which another is varied too."""

Made = tuple[int, ...]
Found = tuple[Match, Walks, float, Made]
"""A reading: the match that it came from, its walks, the share of the lines that the match left bare, and `MADE`."""


def more(made: Made, kind: int, n: int = 1) -> Made:
    """Return counts with `n` more of a kind."""
    return (*made[:kind], made[kind] + n, *made[kind + 1 :])


def candidates(net: Network, states: States, matches: list[Match], models: list[Model]) -> list[Candidate]:
    """Return the readings that the matches and their variants give, best first, no two alike."""
    if not matches:
        return []
    witness = path_scorer(net, states)
    ground = witness.ground
    forms = Forms(models, detached_marks_in_ink(net, states, models), len(states.here))
    weights = in_lettering(WEIGHTS, states.drafted)
    out: dict[Any, Candidate] = {}
    known: dict[Any, Floats] = {}
    queue: list[tuple[float, int, Any, Found]] = []

    def weigh(found: list[Found]) -> None:
        """Put readings into the queue, all at once: a call of a compiled loop costs more than what it does."""
        keys = [(walks[0].tobytes(), walks[1].tobytes()) for _, walks, _, _ in found]
        fresh = {key: f[1] for key, f in zip(keys, found, strict=True) if key not in known}
        if fresh:
            pack = packed(list(fresh.values()))
            rows = np.zeros((len(fresh), len(NAMES)))
            rows[:, AT_TOLD] = witness.told(pack)
            rows[:, AT_SUITS] = forms.told(pack, states.here)
            known.update(zip(fresh, rows, strict=True))
        table = np.array([known[key] for key in keys])
        table[:, AT_MATCH] = [(m.fit, m.model.log_prior, bare) for m, _, bare, _ in found]
        table[:, AT_MADE] = [made for *_, made in found]
        for key, f, told, cost in zip(keys, found, table, (table @ weights).tolist(), strict=True):
            if key not in out or cost < out[key].cost:
                out[key] = Candidate(f[0].model.name, f[1], told, states.drafted, cost)
            queue.append((cost, len(queue), key, f))

    none = (0,) * len(MADE)
    first = []
    for m in matches:
        count = witness.coverage(m.end_to_end)
        bare = witness.bare(count)
        first.append((WEIGHTS[AT_MATCH] @ (m.fit, m.model.log_prior, bare), m, count, bare))
    first.sort(key=lambda x: x[0])
    found: list[Found] = []
    for _, m, count, bare in first[:FIRST]:
        for whole, added, hooks in completed(ground, m.end_to_end, count):
            made = (added, hooks, *none[2:])
            found.append((m, whole, bare, made))
            if not hooks:
                found += [(m, moved, bare, more(made, ENDS)) for moved in optimise_endpoints(ground, whole, False)]
    weigh(found)
    smooth = smooth_walks(net, states)
    if smooth:
        _, _, _, (m, like, _, _) = min(queue, key=lambda x: x[:2])
        weigh([(m, end_to_end(reorder_like(like, smooth)), 0.0, more(none, SMOOTH))])
    expanded: set[Any] = set()
    for _ in range(EXPANDED):
        fresh = [x for x in queue if x[2] not in expanded]
        if not fresh:
            break
        cost, _, key, (m, walks, bare, made) = min(fresh, key=lambda x: x[:2])
        if cost > min(queue, key=lambda x: x[:2])[0] + WORTH_VARYING:
            break
        expanded.add(key)
        changed = [(LIFTED + kind, n, variant) for kind, n, variant in lift_edits(ground, walks)]
        changed += [(MERGED, 1, variant) for variant in junction_merges(ground, walks)]
        changed += [(VARIED + kind, 1, variant) for kind, variant in others(ground, walks, witness.tip)]
        changed += [(ENDS, 1, variant) for variant in optimise_endpoints(ground, walks, True)]
        if changed:
            weigh([(m, variant, bare, more(made, k, n)) for k, n, variant in changed])
    return sorted(out.values(), key=lambda c: c.cost)


def kinematic_cost(net: Network, states: States, walks: Walks) -> float:
    """Return the cost of walks that follow no form, as if they followed a rare one badly."""
    f = np.zeros(len(FEATURES))
    f[AT_MATCH] = 0.5, np.log(0.03), 0.0
    f[AT_SUITS] = NO_FORM
    told = dict(zip(TOLD, path_scorer(net, states).told(packed([walks]))[0], strict=True))
    for name in MOVEMENT:
        f[NAMES.index(name)] = told[name]
    return float(f @ WEIGHTS)
