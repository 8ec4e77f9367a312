"""Walks on a network: where a pen may be and head, where it may go next, and the line it draws on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.graph import at_lengths, line_length
from skeleton.ground import Ground
from skeleton.ink_map import InkMap
from skeleton.network import End, Network, bend, is_dot, link, stop_in
from skeleton.twice import doubled

Ints = NDArray[np.int32]
Floats = NDArray[np.float64]
Walks = tuple[Ints, NDArray[np.int64]]
"""The states of all walks one after the other, and where each walk starts, with the end of the last."""

TURN_AT_TIP = 0.25
"""Cost of turning back at a free tip: a stem written down and up again."""

TURN_AT_JUNCTION = 0.8
"""Cost of turning back where lines meet, where nothing shows it."""

START_INSIDE = 0.9
"""Cost of landing or lifting the pen in the middle of a line."""

START_AT_CORNER = 0.08
START_AT_JUNCTION = 0.04


@dataclass(frozen=True, eq=False)
class States:
    """Places on the pieces, twice each: state 2k heads along the piece, 2k + 1 against it."""

    here: Points
    """Shape (s, 2), px."""

    heading: Points
    """Shape (s, 2), unit vectors."""

    start_cost: Floats
    """Shape (s,): cost of landing here in this heading; lifting costs what landing in the opposite heading does."""

    piece: Ints
    """Shape (s,)."""

    first: Ints
    """Shape (pieces + 1,): number of the first *place* (not state) of every piece."""

    spacing: Floats
    """Shape (pieces,): distance between the places of a piece."""

    doubled: Floats
    """Shape (places,): log odds that a pen passed twice."""

    step_to: Ints
    step_len: NDArray[np.float32]
    step_cost: NDArray[np.float32]
    step_at: NDArray[np.int64]
    """Compressed rows of single steps: those of state s are step_at[s]:step_at[s + 1]."""


def turn_cost(angle: float) -> float:
    """Return the cost of turning by `angle` at a junction: little up to 25 degrees, one at 90."""
    return float((max(angle - 0.25, 0.0) / 1.32) ** 2)


def build_states(net: Network, ink: InkMap, step: float) -> States:
    """Return the states of a network, places about `step` px apart."""
    here, heading, piece, first, spacing, starts = [], [], [], [0], [], []
    for p, line in enumerate(net.pieces):
        total = line_length(line)
        n = max(2, round(total / step) + 1)
        places = at_lengths(line, np.linspace(0, total, n))
        gap = total / (n - 1)
        d = np.empty_like(places)
        d[1:-1] = places[2:] - places[:-2]
        d[0], d[-1] = places[1] - places[0], places[-1] - places[-2]
        d /= np.maximum(np.sqrt((d * d).sum(axis=1)), 1e-9)[:, None]
        here.append(np.repeat(places, 2, axis=0))
        heading.append(np.stack([d, -d], axis=1).reshape(-1, 2))
        piece.append(np.full(2 * n, p, np.int32))
        spacing.append(gap)
        starts.append(_start_costs(net, p, places, d, gap))
        first.append(first[-1] + n)
    count = 2 * first[-1]
    to: list[list[int]] = [[] for _ in range(count)]
    length: list[list[float]] = [[] for _ in range(count)]
    cost: list[list[float]] = [[] for _ in range(count)]

    def enter(end: End) -> int:
        return 2 * first[end[0]] if end[1] == 0 else 2 * (first[end[0] + 1] - 1) + 1

    def leave(end: End) -> int:
        return enter(end) ^ 1

    for p, _ in enumerate(net.pieces):
        a, b = first[p], first[p + 1]
        for k in range(a, b - 1):
            to[2 * k].append(2 * k + 2)
            to[2 * k + 3].append(2 * k + 1)
            for s in (2 * k, 2 * k + 3):
                length[s].append(spacing[p])
                cost[s].append(0.0)
        ring = (
            net.junction_of[p][0] < 0
            and not is_dot(net, p)
            and bool(np.hypot(*(net.pieces[p][0] - net.pieces[p][-1])) < 2.0)
        )
        for k in (0, 1):
            s = leave((p, k))
            if ring:
                to[s].append(enter((p, 1 - k)))
                length[s].append(0.0)
                cost[s].append(0.0)
            else:
                to[s].append(s ^ 1)
                length[s].append(0.0)
                cost[s].append(TURN_AT_TIP if net.junction_of[p][k] < 0 else TURN_AT_JUNCTION)
    for ends in net.junctions:
        for i, x in enumerate(ends):
            for y in ends[i + 1 :]:
                c = turn_cost(bend(net, x, y))
                # the way across a junction counts as one step, whichever arms it joins
                gap = min(float(np.hypot(*(_point(net, x) - _point(net, y)))), step)
                for u, v in ((x, y), (y, x)):
                    to[leave(u)].append(enter(v))
                    length[leave(u)].append(gap)
                    cost[leave(u)].append(c)
    at = np.concatenate([[0], np.cumsum([len(t) for t in to])]).astype(np.int64)
    return States(
        np.concatenate(here),
        np.concatenate(heading),
        np.concatenate(starts),
        np.concatenate(piece),
        np.array(first, np.int32),
        np.array(spacing),
        doubled(net, ink, np.concatenate(here)[::2], np.concatenate(heading)[::2], np.array(first, np.int32)),
        np.array([v for t in to for v in t], np.int32),
        np.array([v for t in length for v in t], np.float32),
        np.array([v for t in cost for v in t], np.float32),
        at,
    )


def _point(net: Network, end: End) -> Floats:
    line = net.pieces[end[0]]
    out: Floats = line[0] if end[1] == 0 else line[-1]
    return out


def _start_costs(net: Network, p: int, places: Points, d: Points, gap: float) -> Floats:
    """Return the landing costs of both states of every place of piece `p`."""
    n = len(places)
    k = np.arange(n)
    from_a, from_b = k * gap, (n - 1 - k) * gap
    ja, jb = net.junction_of[p]
    if is_dot(net, p):
        return np.zeros(2 * n)
    if ja < 0 and jb < 0 and np.hypot(*(places[0] - places[-1])) < 2.0:
        return np.full(2 * n, 0.1)
    far = 2.5 * net.pen_px
    base_a = 0.0 if ja < 0 else START_AT_JUNCTION
    base_b = 0.0 if jb < 0 else START_AT_JUNCTION
    # heading along the piece means starting near its first end; starting near the other end to head away is as odd
    up = base_a + START_INSIDE * np.minimum(from_a / far, 1.0)
    down = base_b + START_INSIDE * np.minimum(from_b / far, 1.0)
    w = max(1, round(0.9 * net.pen_px / max(gap, 1e-6)))
    if n > 2 * w + 1:
        cos = (d[2 * w :] * d[: -2 * w]).sum(axis=1)
        sharp = np.flatnonzero(cos < 0.5) + w
        up[sharp] = np.minimum(up[sharp], START_AT_CORNER)
        down[sharp] = np.minimum(down[sharp], START_AT_CORNER)
    return np.stack([up, down], axis=1).reshape(-1)


def draw(net: Network, states: States, walk: list[int]) -> Points:
    """Return the line that a walk of single steps draws.

    Where the walk begins or ends at a junction it is led to where the other lines pass.
    """
    parts: list[Points] = []
    spans = _spans(states, walk)
    if len(spans) == 1 and is_dot(net, spans[0][0]):
        dot: Points = net.pieces[spans[0][0]].mean(axis=0, keepdims=True)
        return dot
    for i, (p, k0, k1) in enumerate(spans):
        n = int(states.first[p + 1] - states.first[p])
        if i == 0:
            end = _end_of(p, k0, n)
            if end is not None and (net.junction_of[p][end[1]] >= 0) and _leaves(k0, k1, n, end):
                parts.append(stop_in(net, end)[:0:-1])
        parts.append(_stretch(net.pieces[p], k0 / (n - 1), k1 / (n - 1)))
        out_end: End | None = _end_of(p, k1, n)
        if i + 1 < len(spans):
            q, m0, _ = spans[i + 1]
            in_end = _end_of(q, m0, int(states.first[q + 1] - states.first[q]))
            if out_end is None or in_end is None:
                continue
            if out_end == in_end:
                if net.junction_of[p][out_end[1]] >= 0:
                    parts.append(stop_in(net, out_end)[1:])
            elif net.junction_of[p][out_end[1]] >= 0:
                parts.append(link(net, out_end, in_end)[1:-1])
        elif out_end is not None and net.junction_of[p][out_end[1]] >= 0 and _arrives(k0, k1, n, out_end):
            parts.append(stop_in(net, out_end)[1:])
    return np.concatenate(parts)


def _spans(states: States, walk: list[int]) -> list[tuple[int, int, int]]:
    """Return the walk as (piece, first place, last place) stretches of one direction."""
    spans: list[tuple[int, int, int]] = []
    start = walk[0]
    for i, s in enumerate(walk):
        nxt = walk[i + 1] if i + 1 < len(walk) else -1
        same = nxt >= 0 and states.piece[nxt] == states.piece[s] and (nxt ^ s) & 1 == 0 and abs(nxt - s) == 2
        if not same:
            p = int(states.piece[s])
            base = int(states.first[p])
            spans.append((p, start // 2 - base, s // 2 - base))
            start = nxt
    return spans


def _end_of(p: int, k: int, n: int) -> End | None:
    return (p, 0) if k == 0 else (p, 1) if k == n - 1 else None


def _leaves(k0: int, k1: int, n: int, end: End) -> bool:
    """Tell whether a first span runs away from `end` (a span of one place counts as both)."""
    return k1 >= k0 if end[1] == 0 else k1 <= k0


def _arrives(k0: int, k1: int, n: int, end: End) -> bool:
    return k1 <= k0 if end[1] == 0 else k1 >= k0


def _stretch(line: Points, u: float, v: float) -> Points:
    """Return a line from share `u` to share `v` of its length, with the line's own points in between."""
    from skeleton.graph import along

    s = along(line)
    a, b = min(u, v) * s[-1], max(u, v) * s[-1]
    inside = s[(s > a + 1e-6) & (s < b - 1e-6)]
    where = np.concatenate([[a], inside, [b]]) if b > a else np.array([a])
    out = at_lengths(line, where)
    return out if u <= v else out[::-1]


def end_to_end(walks: Sequence[Sequence[int]]) -> Walks:
    """Return the states of all walks one after the other, and where each walk starts, with the end of the last."""
    return np.array([s for w in walks for s in w], np.int32), np.cumsum([0, *map(len, walks)])


def one_by_one(every: Ints, starts: NDArray[np.int64]) -> tuple[list[int], ...]:
    """Return the states of every walk."""
    return tuple(every[a:b].tolist() for a, b in pairwise(starts.tolist()))


def ground_of(net: Network, states: States) -> Ground:
    """Return a network and its states as the compiled loops take them."""
    junction_of = np.array(net.junction_of, np.int32).reshape(-1, 2)
    return Ground(
        states.here, states.heading, states.piece, states.first, states.spacing, states.doubled,
        states.step_to, states.step_cost, states.step_at, junction_of, len(net.pieces) - net.dots, net.pen_px,
    )  # fmt: skip
