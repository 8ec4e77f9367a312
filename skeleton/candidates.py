"""Readings made of matches: loose ends taken up, lifts and retraces varied, and the best one chosen."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skeleton.choice_kernels import movement as moved
from skeleton.choice_kernels import passes
from skeleton.evidence import drafted
from skeleton.forms import NO_FORM, Forms
from skeleton.ground import coverage
from skeleton.lifts import lifted_or_not
from skeleton.loose_ends import completed
from skeleton.match import Match, Model
from skeleton.network import Network
from skeleton.smooth_paths import in_the_manner_of, smooth_walks
from skeleton.variants import KINDS, others
from skeleton.walk import States, Walks, end_to_end, ground_of, one_by_one

Floats = NDArray[np.float64]

COSTS = {
    "fit": (1.75, 7.9), "log prior": (-0.6, -0.61), "bare": (24.57, 0.39), "added": (7.98, 0),
    "spliced": (0.1, -0.05), "lifts for retraces": (-0.42, 4), "corners lifted": (4.34, -3.03),
    "merged": (-1.71, 0.38), "strokes": (0.67, -4.01), "turns": (0.12, 0.25), "tip turns": (0.16, -0.67),
    "junction turns": (1.2, 1.01), "starts": (-0.45, 1.62), "twice": (-3.46, -6.64), "idle": (4.66, 5.38),
    "single": (-0.11, -0.04), "form": (0.11, -1.12), "wide form": (0.67, 0.32), "form distance": (0.23, 1.05),
    "worst stroke": (1.49, 3.49), "ends": (1.89, -0.42), "form count": (-0.16, -0.31), "pro": (-0.15, -0.12),
    "contra": (0.57, -0.06), "landing": (-0.08, -0.05), "thrice": (0.86, 0.59), "rise": (0.82, 0.01),
    "travel": (-0.14, 0.87), "hooked": (2.05, 1.5), "unhooked": (-0.23, -2.23), "turned": (-0.4, 1.84),
    "looped": (1.42, 0.63), "crossed": (1.75, 2.42), "overrun": (1.44, -0.67), "smooth": (-0.15, -1.19),
    "retraces": (0.4, 0.29), "retraces told": (-0.43, -0.02), "missed": (-1.55, -0.69),
    "missed told": (0.76, -0.45),
}  # fmt: skip
"""Cost of one unit of each feature, in log odds, in a fluent hand, and what comes to it in drafted lettering: a
conditional logit over the readings of characters whose strokes are known (people with a pen, people with a mouse,
KanjiVG, Hershey, the sample hands); `tests.bench trace_weights`."""

FEATURES = (*COSTS, *(f"drafted: {name}" for name in COSTS))
WEIGHTS = np.array([c for c, _ in COSTS.values()] + [c for _, c in COSTS.values()])


@dataclass(frozen=True, eq=False)
class Candidate:
    """One way to read the ink."""

    name: str
    end_to_end: Walks
    features: NDArray[np.float64]
    """Shape (len(FEATURES),)."""

    @property
    def walks(self) -> tuple[list[int], ...]:
        """Single steps from state to state, one list a stroke, in writing order."""
        return one_by_one(*self.end_to_end)

    @cached_property
    def cost(self) -> float:
        """Lower is better; differences are log odds."""
        return float(self.features @ WEIGHTS)


FIRST, EXPANDED = 7, 3
"""How many matches are completed, and how many readings are varied, the best first."""

CHANGES = (*KINDS, "smooth")


def candidates(net: Network, states: States, matches: list[Match], models: list[Model]) -> list[Candidate]:
    """Return the readings that the matches and their variants give, best first, no two alike."""
    gaps = np.repeat(states.spacing, np.diff(states.first))
    total = max(float(gaps.sum()), 1e-6)
    size = max(float(np.ptp(states.here, axis=0).max()), net.pen_px) if len(states.here) else 1.0
    tip = _tips(net, states)
    crisp = float(np.clip((drafted(net) - 0.45) / 0.3, 0, 1))
    forms = Forms(models)
    ground = ground_of(net, states)
    out: dict[Any, Candidate] = {}
    known: dict[Any, Any] = {}

    def add(m: Match, walks: Walks, bare: float, ops: tuple[float, ...]) -> tuple[float, Any]:
        """`ops`: added, hooks, lifted, corners, merged, then the counts of `CHANGES`."""
        every, starts = walks
        key = every.tobytes(), starts.tobytes()
        if key not in known:
            known[key] = (
                _movement(states, every, starts, tip, gaps, total, net.pen_px),
                forms.features(every, starts, states.here),
                passes(every, starts, states.first, gaps, states.doubled, states.here, tip, net.pen_px),
            )
        movement, form, (*ink, rise, travel, runs, told, missed, missing) = known[key]
        f = np.array(
            [m.fit, m.model.log_prior, bare, *ops[:5], len(starts) - 1,
             *movement, *form, *ink, rise / size, travel / size, *ops[5:],
             runs, told, missed, missing]
        )  # fmt: skip
        c = Candidate(m.model.name, walks, np.concatenate([f, crisp * f]))
        if key not in out or c.cost < out[key].cost:
            out[key] = c
        return c.cost, key

    first = []
    for m in matches:
        count = coverage(m.end_to_end, len(gaps))
        bare = float(gaps[count == 0].sum()) / total
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
    if queue:
        _, _, _, m, like, bare, ops = min(queue, key=lambda x: x[:2])
        smooth = smooth_walks(net, states)
        if smooth:
            put(m, end_to_end(in_the_manner_of(like, smooth)), 0.0, (0, 0, 0, 0, 0, *none[:-1], 1.0))
    expanded: set[Any] = set()
    for _ in range(EXPANDED):
        fresh = [x for x in queue if x[2] not in expanded]
        if not fresh:
            break
        _, _, key, m, walks, bare, ops = min(fresh, key=lambda x: x[:2])
        expanded.add(key)
        changed = [(2 + kind, n, variant) for kind, n, variant in lifted_or_not(ground, walks)]
        changed += [(5 + kind, 1, variant) for kind, variant in others(ground, walks, tip)]
        for k, n, variant in changed:
            put(m, variant, bare, (*ops[:k], ops[k] + n, *ops[k + 1 :]))
    return sorted(out.values(), key=lambda c: c.cost)


def by_movement(net: Network, states: States, walks: list[list[int]]) -> float:
    """Return the cost of walks that follow no form, as if they followed a rare one badly."""
    gaps = np.repeat(states.spacing, np.diff(states.first))
    f = np.zeros(len(FEATURES))
    f[0], f[1], f[8] = 0.5, np.log(0.03), len(walks)
    every, starts = end_to_end(walks)
    f[9:16] = _movement(states, every, starts, _tips(net, states), gaps, max(float(gaps.sum()), 1e-6), net.pen_px)
    k = FEATURES.index("form")
    f[k : k + len(NO_FORM)] = NO_FORM
    return float(f @ WEIGHTS)


def _movement(
    states: States,
    every: NDArray[np.int32],
    starts: NDArray[np.int64],
    tip: NDArray[np.bool_],
    gaps: Floats,
    total: float,
    pen: float,
) -> list[float]:
    """Return the features that tell how the pen moves, from "turns" on."""
    turns, tips, back, begin, again, idle, single = moved(
        every, starts, states.start_cost, tip, gaps, states.doubled, states.step_to, states.step_cost, states.step_at
    )
    return [turns, tips, back, begin, again / total, idle / total, single / (2 * pen)]


def _tips(net: Network, states: States) -> NDArray[np.bool_]:
    """Return for every state whether it is the last before a free tip."""
    out = np.zeros(len(states.here), bool)
    free = np.array(net.junction_of) < 0
    out[2 * states.first[:-1] + 1] = free[:, 0]
    out[2 * states.first[1:] - 2] = free[:, 1]
    return out
