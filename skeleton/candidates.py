"""Readings made of matches: loose ends taken up, lifts and retraces varied, and the best one chosen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from skeleton.evidence import drafted
from skeleton.match import Match
from skeleton.network import Network, is_dot
from skeleton.walk import States, coverage

Floats = NDArray[np.float64]

FEATURES = (
    "fit", "log prior", "bare", "added", "spliced", "lifts for retraces", "corners lifted", "merged",
    "strokes", "turns", "tip turns", "junction turns", "starts", "twice", "idle", "single",
    "drafted strokes", "drafted lifts", "drafted corners", "drafted merged", "drafted prior",
)  # fmt: skip
WEIGHTS = np.array(
    [2.56, -0.81, 12.24, 7.96, 0.4, 1.92, 6.23, -0.33,
     1.26, 1.02, 0.04, 0.75, 0.63, 7.22, 4.16, 0.71,
     -4.31, 1.78, 4.5, -3.37, -0.14]
)  # fmt: skip
"""Cost of one unit of each feature, in log odds: a conditional logit over the readings of some 660 characters whose
strokes are known (people with a pen, people with a mouse, KanjiVG, Hershey), maximum likelihood with a weak ridge."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """One way to read the ink."""

    name: str
    walks: tuple[list[int], ...]
    features: NDArray[np.float64]
    """Shape (len(FEATURES),)."""

    @property
    def cost(self) -> float:
        """Lower is better; differences are log odds."""
        return float(self.features @ WEIGHTS)


FIRST, SECOND = 7, 3
"""How many matches are completed, and how many of those are varied."""


def candidates(net: Network, states: States, matches: list[Match]) -> list[Candidate]:
    """Return the readings that the matches and their variants give, best first, no two alike."""
    gaps = np.repeat(states.spacing, np.diff(states.first))
    total = max(float(gaps.sum()), 1e-6)
    tip = _tips(net, states)
    crisp = float(np.clip((drafted(net) - 0.55) / 0.3, 0, 1))
    out: dict[tuple[tuple[int, ...], ...], Candidate] = {}

    def add(m: Match, walks: list[list[int]], bare: float, ops: tuple[float, ...]) -> float:
        log_prior = float(np.log(m.model.prior))
        f = np.array(
            [m.fit, log_prior, bare, *ops, len(walks), *_movement(states, walks, tip, gaps, total, net.pen_px),
             crisp * len(walks), crisp * ops[2], crisp * ops[3], crisp * ops[4], crisp * log_prior]
        )  # fmt: skip
        key = tuple(map(tuple, walks))
        c = Candidate(m.model.name, tuple(walks), f)
        if key not in out or c.cost < out[key].cost:
            out[key] = c
        return c.cost

    first = []
    for m in matches:
        count = coverage(states, list(m.walks))
        bare = float(gaps[count == 0].sum()) / total
        first.append((WEIGHTS[0] * m.fit + WEIGHTS[1] * np.log(m.model.prior) + WEIGHTS[2] * bare, m, count, bare))
    first.sort(key=lambda x: x[0])
    second = []
    for _, m, count, bare in first[:FIRST]:
        walks = [extend(states, w, count) for w in m.walks]
        # the far side of a corner is no choice; longer tips are a hook of a stroke or a stroke of their own
        walks, _ = splice(net, states, walks, shorter_than=1.2 * net.pen_px)
        whole, added = take_up(net, states, walks)
        second.append((add(m, whole, bare, (added, 0, 0, 0, 0)), m, whole, bare, added, 0))
        if added:
            spliced, hooks = splice(net, states, walks, shorter_than=4.0 * net.pen_px)
            if hooks:
                whole, added = take_up(net, states, spliced)
                second.append((add(m, whole, bare, (added, hooks, 0, 0, 0)), m, whole, bare, added, hooks))
    second.sort(key=lambda x: x[0])
    for _, m, walks, bare, added, hooks in second[:SECOND]:
        for variant, ops in _variants(net, states, walks):
            add(m, variant, bare, (added, hooks, *ops))
    return sorted(out.values(), key=lambda c: c.cost)


def by_movement(net: Network, states: States, walks: list[list[int]]) -> float:
    """Return the cost of walks that follow no form, as if they followed a rare one badly."""
    gaps = np.repeat(states.spacing, np.diff(states.first))
    f = np.zeros(len(FEATURES))
    f[0], f[1], f[8] = 0.5, np.log(0.03), len(walks)
    f[9:16] = _movement(states, walks, _tips(net, states), gaps, max(float(gaps.sum()), 1e-6), net.pen_px)
    return float(f @ WEIGHTS)


def _movement(
    states: States, walks: list[list[int]], tip: NDArray[np.bool_], gaps: Floats, total: float, pen: float
) -> list[float]:
    """Return the features that tell how the pen moves, from "turns" on."""
    from skeleton.walk_kernels import movement

    starts = np.cumsum([0, *map(len, walks)])
    turns, tips, back, begin, again, idle, single = movement(
        np.array([s for w in walks for s in w], np.int32), starts, states.start_cost, tip, gaps, states.doubled,
        states.step_to, states.step_cost, states.step_at,
    )  # fmt: skip
    return [turns, tips, back, begin, again / total, idle / total, single / (2 * pen)]


def _tips(net: Network, states: States) -> NDArray[np.bool_]:
    """Return for every state whether it is the last before a free tip."""
    out = np.zeros(len(states.here), bool)
    for p, (ja, jb) in enumerate(net.junction_of):
        out[2 * states.first[p] + 1] = ja < 0
        out[2 * (states.first[p + 1] - 1)] = jb < 0
    return out


def _variants(net: Network, states: States, walks: list[list[int]]) -> Iterator[tuple[list[list[int]], list[float]]]:
    """Yield the walks and what they become when pen lifts and retraces are exchanged, with the counts of changes."""
    lifted, n = _lift_retraces(walks)
    if n:
        yield lifted, [float(n), 0.0, 0.0]
    split, n = _lift_at_corners(states, walks)
    if n:
        yield split, [0.0, float(n), 0.0]
    merged, n = _merge(net, states, walks)
    if n:
        yield merged, [0.0, 0.0, float(n)]


def _lift_retraces(walks: list[list[int]]) -> tuple[list[list[int]], int]:
    """Return the walks with the pen lifted where it would go back over its own line, and the number of lifts."""
    out: list[list[int]] = []
    lifts = 0
    for w in walks:
        seen: set[int] = set()
        start = 0
        k = 0
        while k < len(w):
            if k > start and w[k] == w[k - 1] ^ 1:
                j = k
                while j < len(w) and w[j] // 2 in seen:
                    j += 1
                if k - start >= 2 and len(w) - j >= 2:
                    out.append(w[start:k])
                    start = j
                    lifts += 1
                    seen |= {s // 2 for s in w[k:j]}
                    k = j
                    continue
            seen.add(w[k] // 2)
            k += 1
        out.append(w[start:])
    return out, lifts


def _lift_at_corners(states: States, walks: list[list[int]]) -> tuple[list[list[int]], int]:
    """Return the walks with the pen lifted at sharp corners inside pieces, and the number of lifts."""
    from skeleton.walk_kernels import corner_cuts

    out: list[list[int]] = []
    lifts = 0
    for w in walks:
        cuts = corner_cuts(np.array(w, np.int32), states.piece, states.heading).tolist()
        out += [w[i : j + 1] for i, j in pairwise([0, *cuts, len(w) - 1])]
        lifts += len(cuts)
    return out, lifts


def _merge(net: Network, states: States, walks: list[list[int]]) -> tuple[list[list[int]], int]:
    """Return the walks with those made one whose end meets the next one's start, and how often."""
    out: list[list[int]] = []
    merged = 0
    for w in walks:
        if out and not is_dot(net, int(states.piece[w[0]])):
            a, b = out[-1][-1], w[0]
            row = states.step_to[states.step_at[a] : states.step_at[a + 1]]
            if b in row or a == b or a // 2 == b // 2:
                out[-1] = out[-1] + (w[1:] if a == b else w)
                merged += 1
                continue
        out.append(w)
    return out, merged


def extend(states: States, walk: list[int], count: NDArray[np.int64]) -> list[int]:
    """Return the walk led on at both ends over ink that nobody has passed; `count` is brought up to date."""
    out = walk
    for _ in range(2):  # the end, then the beginning
        out = [s ^ 1 for s in reversed(out)]
        last = out[-1]
        while True:
            nxt = [
                int(v)
                for v, c in zip(
                    states.step_to[states.step_at[last] : states.step_at[last + 1]],
                    states.step_cost[states.step_at[last] : states.step_at[last + 1]],
                    strict=True,
                )
                if v != last ^ 1 and c < 0.25 and count[v // 2] == 0
            ]
            if not nxt:
                break
            last = nxt[0]
            out.append(last)
            count[last // 2] += 1
    # a ring ends where it began
    if len(out) > 4 and out[0] in states.step_to[states.step_at[out[-1]] : states.step_at[out[-1] + 1]]:
        out.append(out[0])
    return out


def take_up(net: Network, states: States, walks: list[list[int]]) -> tuple[list[list[int]], int]:
    """Return the walks with strokes added for ink that none of them passes, and how many were added."""
    count = coverage(states, walks)
    added = 0
    for p in range(len(net.pieces)):
        a, b = int(states.first[p]), int(states.first[p + 1])
        bare = count[a:b] == 0
        if not bare.any():
            continue
        k = 0
        while k < b - a:
            if not bare[k]:
                k += 1
                continue
            j = k
            while j + 1 < b - a and bare[j + 1]:
                j += 1
            size = (j - k + 1) * states.spacing[p]
            if size > 0.9 * net.pen_px or (k == 0 and j == b - a - 1 and net.junction_of[p] == (-1, -1)):
                stretch = list(range(2 * (a + k), 2 * (a + j) + 1, 2))
                d = states.here[stretch[-1]] - states.here[stretch[0]]
                if d[1] + 0.5 * d[0] < 0:
                    stretch = [s ^ 1 for s in reversed(stretch)]
                walks = [*walks, stretch]
                added += 1
            k = j + 1
    return walks, added


def splice(net: Network, states: States, walks: list[list[int]], *, shorter_than: float) -> tuple[list[list[int]], int]:
    """Return the walks led into short tips that none of them passes, and how many tips that were.

    A tip beside a walk's own end is where the pen landed or lifted with a hook: the walk begins there, goes to its old
    end and back. Any other is gone into and come back from.
    """
    walks = [list(w) for w in walks]
    count = coverage(states, walks)
    spliced = 0
    for p in range(len(net.pieces) - net.dots):
        a, b = int(states.first[p]), int(states.first[p + 1])
        ja, jb = net.junction_of[p]
        if (ja < 0) == (jb < 0) or count[a:b].any():
            continue
        size = (b - a - 1) * states.spacing[p]
        if size > shorter_than:
            continue
        junction = max(ja, jb)
        inward = list(range(2 * a, 2 * b, 2)) if ja < 0 else list(range(2 * b - 1, 2 * a, -2))
        outward = [s ^ 1 for s in reversed(inward)]
        best: tuple[float, int, int] | None = None
        for i, w in enumerate(walks):
            for t in range(len(w) - 1):
                if not _passes(net, states, w[t], w[t + 1], junction):
                    continue
                c = _step_cost(states, w[t], outward[0]) + _step_cost(states, inward[-1], w[t + 1])
                ends = min(t + 1, len(w) - 1 - t)
                near = ends * 0.5 * net.pen_px < 3.0 * net.pen_px
                c += -1.0 if near else 0.0
                if best is None or c < best[0]:
                    best = (c, i, t)
        if best is None:
            continue
        _, i, t = best
        w = walks[i]
        reach = 3.0 * net.pen_px / (0.5 * net.pen_px)
        hook_in = _step_cost(states, inward[-1], w[t + 1]) >= _step_cost(states, w[t], w[t + 1])
        hook_out = _step_cost(states, w[t], outward[0]) >= _step_cost(states, w[t], w[t + 1])
        head, tail = t + 1, len(w) - 1 - t
        if (head <= min(reach, tail) and not hook_in) or (tail <= reach and head > tail and not hook_out):
            walks[i] = w[: t + 1] + outward + inward + w[t + 1 :]
        elif head <= min(reach, tail):
            walks[i] = inward + [s ^ 1 for s in reversed(w[: t + 1])] + w
        elif tail <= reach:
            walks[i] = w + [s ^ 1 for s in reversed(w[t + 1 :])] + outward
        else:
            walks[i] = w[: t + 1] + outward + inward + w[t + 1 :]
        count[a:b] += 1
        spliced += 1
    return walks, spliced


def _passes(net: Network, states: States, s: int, t: int, junction: int) -> bool:
    """Tell whether the step from `s` to `t` goes through `junction`."""
    p = int(states.piece[s])
    if abs(s - t) == 2 and states.piece[t] == p:
        return False
    k = s // 2 - int(states.first[p])
    n = int(states.first[p + 1] - states.first[p])
    return (k == 0 and net.junction_of[p][0] == junction and s & 1 == 1) or (
        k == n - 1 and net.junction_of[p][1] == junction and s & 1 == 0
    )


def _step_cost(states: States, s: int, t: int) -> float:
    row = slice(int(states.step_at[s]), int(states.step_at[s + 1]))
    return float(states.step_cost[row][states.step_to[row] == t].min(initial=2.0))
