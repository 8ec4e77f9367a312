"""Readings made of matches: loose ends taken up, lifts and retraces varied, and the best one chosen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skeleton.end_kernels import told_ends
from skeleton.forms import NO_FORM, Forms
from skeleton.lifts import lifted_or_not, met_ends
from skeleton.loose_ends import completed
from skeleton.match import Match, Model
from skeleton.network import Network
from skeleton.smooth_paths import in_the_manner_of, smooth_walks
from skeleton.variants import KINDS, others
from skeleton.walk import States, Walks, end_to_end, one_by_one
from skeleton.witness import witness_of

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


def surprise(c: Candidate) -> float:
    """Return how little a reading's rough shape suits any form of the character, -log likelihood."""
    return float(c.told[SURPRISE])


def in_lettering(weights: Floats, drafted: float) -> Floats:
    """Return the weights of `Candidate.told` where the lines are as drafted as that; weights: of all features."""
    half = len(weights) // 2
    return weights[:half] + drafted * weights[half:]


FIRST, EXPANDED = 7, 3
"""How many matches are completed, and how many readings are varied, the best first."""

MERGED = 4
"""Place of strokes merged among what is counted, after ink added, hooks, retraces and corners lifted."""

WORTH_VARYING = 2.0
"""Log odds behind the best reading up to which another is varied too."""

CHANGES = (*KINDS, "smooth", "told ends")


def candidates(net: Network, states: States, matches: list[Match], models: list[Model]) -> list[Candidate]:
    """Return the readings that the matches and their variants give, best first, no two alike."""
    witness = witness_of(net, states)
    ground, size = witness.ground, witness.size
    forms = Forms(models)
    weights = in_lettering(WEIGHTS, states.drafted)
    out: dict[Any, Candidate] = {}
    known: dict[Any, Any] = {}

    def add(m: Match, walks: Walks, bare: float, ops: tuple[float, ...]) -> tuple[float, Any]:
        """`ops`: added, hooks, lifted, corners, merged, then the counts of `CHANGES`."""
        every, starts = walks
        key = every.tobytes(), starts.tobytes()
        if key not in known:
            known[key] = forms.features(every, starts, states.here), *witness.told(walks)
        form, moves, (*ink, rise, travel, runs, doubled, missed, missing), ends, links = known[key]
        f = np.array(
            [m.fit, m.model.log_prior, bare, *ops[:5], len(starts) - 1,
             *moves, *form, *ink, rise / size, travel / size, *ops[5:],
             runs, doubled, missed, missing, *ends, *links]
        )  # fmt: skip
        c = Candidate(m.model.name, walks, f, states.drafted, float(f @ weights))
        if key not in out or c.cost < out[key].cost:
            out[key] = c
        return c.cost, key

    first = []
    for m in matches:
        count = witness.coverage(m.end_to_end)
        bare = witness.bare(count)
        first.append((WEIGHTS[0] * m.fit + WEIGHTS[1] * m.model.log_prior + WEIGHTS[2] * bare, m, count, bare))
    first.sort(key=lambda x: x[0])
    queue: list[Any] = []

    def put(m: Match, walks: Walks, bare: float, ops: tuple[float, ...]) -> None:
        cost, key = add(m, walks, bare, ops)
        queue.append((cost, len(queue), key, m, walks, bare, ops))

    none = (0.0,) * len(CHANGES)
    for _, m, count, bare in first[:FIRST]:
        for whole, added, hooks in completed(ground, m.end_to_end, count):
            put(m, whole, bare, (added, hooks, 0, 0, 0, *none))
            if not hooks:
                for moved in told_ends(ground, whole, False):
                    put(m, moved, bare, (added, 0, 0, 0, 0, *none[:-1], 1.0))
    if queue:
        _, _, _, m, like, bare, ops = min(queue, key=lambda x: x[:2])
        smooth = smooth_walks(net, states)
        if smooth:
            put(m, end_to_end(in_the_manner_of(like, smooth)), 0.0, (0, 0, 0, 0, 0, *none[:-2], 1.0, 0.0))
    expanded: set[Any] = set()
    for _ in range(EXPANDED):
        fresh = [x for x in queue if x[2] not in expanded]
        if not fresh:
            break
        cost, _, key, m, walks, bare, ops = min(fresh, key=lambda x: x[:2])
        if cost > min(queue, key=lambda x: x[:2])[0] + WORTH_VARYING:
            break
        expanded.add(key)
        changed = [(2 + kind, n, variant) for kind, n, variant in lifted_or_not(ground, walks)]
        changed += [(MERGED, 1, variant) for variant in met_ends(ground, walks)]
        changed += [(5 + kind, 1, variant) for kind, variant in others(ground, walks, witness.tip)]
        changed += [(5 + CHANGES.index("told ends"), 1, variant) for variant in told_ends(ground, walks, True)]
        for k, n, variant in changed:
            put(m, variant, bare, (*ops[:k], ops[k] + n, *ops[k + 1 :]))
    return sorted(out.values(), key=lambda c: c.cost)


def by_movement(net: Network, states: States, walks: Walks) -> float:
    """Return the cost of walks that follow no form, as if they followed a rare one badly."""
    moves, _, ends, links = witness_of(net, states).told(walks)
    f = np.zeros(len(FEATURES))
    f[0], f[1], f[8] = 0.5, np.log(0.03), len(walks[1]) - 1
    f[9:16] = moves
    k = FEATURES.index("form")
    f[k : k + len(NO_FORM)] = NO_FORM
    f[FEATURES.index("landed") :][:4] = *ends, *links
    return float(f @ WEIGHTS)
