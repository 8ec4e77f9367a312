"""Readings made of matches: loose ends taken up, lifts and retraces varied, and the best one chosen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

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

COSTS = {
    "fit": (3.57, 0.11), "log prior": (0.03, -1.37), "bare": (18.82, -29.91), "added": (7.98, 0.03),
    "spliced": (2.65, 3.51), "lifts for retraces": (1.09, -1.19), "corners lifted": (3.59, -4.36),
    "merged": (-1.23, 0.07), "strokes": (0.15, -4.41), "turns": (0.28, 0.09), "tip turns": (-0.51, -0.64),
    "junction turns": (0.83, -0.41), "starts": (-0.1, 0.92), "twice": (-2.44, -19.26), "idle": (2.04, 6.21),
    "single": (-0.19, 0.06), "form": (-0.47, -1.61), "wide form": (1.18, 0.4), "form distance": (1.92, 13.93),
    "worst stroke": (-1.44, 11.44), "ends": (2.31, 0.94), "form count": (-0.63, 0.09), "pro": (-0.04, 0.34),
    "contra": (0.51, 0.19), "landing": (-0.06, -0.07), "thrice": (1.62, 4.66), "rise": (0.65, 0.87),
    "travel": (-0.46, 0.58), "hooked": (1.15, 3.82), "unhooked": (3.46, -6.25), "turned": (-0.28, -0.75),
    "looped": (2.75, -3.16), "crossed": (3.5, 4.36), "overrun": (0.73, 0.3), "smooth": (-0.31, -1.58),
    "told ends": (0.67, 1.35), "retraces": (0.89, 0.64), "retraces told": (-0.5, -0.01), "missed": (-1.86, 1.18),
    "missed told": (0.75, -0.23), "landed": (0.27, 0.01), "lifted": (0.27, -0.06), "linked": (0.02, 1.62),
    "parted": (1.18, 0.61),
}  # fmt: skip
"""Cost of one unit of each feature, in log odds, in a fluent hand, and what comes to it in drafted lettering: a
conditional logit over the readings of characters whose strokes are known (people with a pen, people with a mouse,
KanjiVG, Hershey, the sample hands); `tests.bench trace_weights`."""

FEATURES = (*COSTS, *(f"drafted: {name}" for name in COSTS))
WEIGHTS = np.array([c for c, _ in COSTS.values()] + [c for _, c in COSTS.values()])
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


NAMES = list(COSTS)
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
            rows = np.zeros((len(fresh), len(COSTS)))
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
