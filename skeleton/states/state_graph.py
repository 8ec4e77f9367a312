"""Walks on a network: where a pen may be and head, where it may go next, and the line it draws on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.cues.local_features import features, measure
from skeleton.cues.pen_events import PenEvents, find_pen_events
from skeleton.cues.straightness import drafted
from skeleton.geometry.polyline import line_length, part_of
from skeleton.graph.junctions import End, Network, is_dot, link, stop_in
from skeleton.ink.ink_map import InkMap
from skeleton.states.paths import PathContext
from skeleton.states.state_graph_kernels import lay_states, single_steps

Ints = NDArray[np.int32]
Floats = NDArray[np.float64]
Walks = tuple[Ints, NDArray[np.int64]]
"""The states of all walks one after the other, and where each walk starts, with the end of the last."""

Pack = tuple[Ints, NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]
"""Several readings: the states of all, their starts, and where each one's states and starts begin, with the ends."""

DOUBLE_PASS_PRIOR_LOG_ODDS = -2.5
"""Log odds that a pen passed twice, of which nothing is known."""

MAX_DOUBLE_PASS_LOG_ODDS = 5.0
"""Log odds of a second passing beyond which it makes no difference."""


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

    clues: PenEvents

    doubled: Floats
    """Shape (places,): log odds that a pen passed twice, over those of any place."""

    width: Floats
    """Shape (places,): of the ink, as a share of what the pen leaves when it passes once; NaN where not measured."""

    drafted: float
    """0..1: how likely it is that the lines were drafted, not written."""

    step_to: Ints
    """Shape (steps,): where single steps lead; those of state s are step_at[s]:step_at[s + 1] (compressed rows)."""

    step_len: NDArray[np.float32]
    """Shape (steps,), px."""

    step_cost: NDArray[np.float32]
    """Shape (steps,)."""

    step_at: NDArray[np.int64]
    """Shape (s + 1,): first step of every state, with the end of the last."""


def build_states(net: Network, ink: InkMap, step: float, *, of_words: bool = False) -> States:
    """Return the states of a network, places about `step` px apart; `of_words`: the ink is that of a word."""
    points = np.concatenate(net.pieces)
    starts = np.cumsum([0, *map(len, net.pieces)])
    junction_of, lines = junctions_of(net), len(net.pieces) - net.dots
    ends = np.array([e for j in net.junctions for e in j], np.int64).reshape(-1, 2)
    met = np.cumsum([0, *map(len, net.junctions)])
    here, heading, start_cost, piece, first, spacing = lay_states(points, starts, junction_of, lines, net.pen_px, step)
    steps = single_steps(
        points,
        starts,
        junction_of,
        lines,
        net.leaving,
        net.curving,
        net.pen_px,
        ends,
        met,
        heading,
        first,
        spacing,
        step,
    )
    places, along = here[::2], np.ascontiguousarray(heading[::2])
    ink_there = measure(ink, places, along)
    measured = features(net, ink_there, ink.pen_px, places, along, first)
    clues = find_pen_events(ink, places, along, measured, of_words=of_words)
    doubled = np.minimum(clues.twice - DOUBLE_PASS_PRIOR_LOG_ODDS, MAX_DOUBLE_PASS_LOG_ODDS)
    straight = drafted(net, ink_there.centre, ~np.isnan(ink_there.width), along, first)
    width = ink_there.width / ink_there.usual
    return States(here, heading, start_cost, piece, first, spacing, clues, doubled, width, straight, *steps)


def draw(net: Network, states: States, walk: Sequence[int] | Ints) -> Points:
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


def _spans(states: States, walk: Sequence[int] | Ints) -> list[tuple[int, int, int]]:
    """Return the walk as (piece, first place, last place) stretches of one direction."""
    at = np.asarray(walk, np.int32)
    before, after = at[:-1], at[1:]
    on = (states.piece[before] == states.piece[after]) & (np.abs(after - before) == 2)
    cut = np.flatnonzero(~on)
    begins, ends = at[np.concatenate([[0], cut + 1])], at[np.concatenate([cut, [len(at) - 1]])]
    piece = states.piece[ends]
    base = states.first[piece]
    return list(zip(piece.tolist(), (begins // 2 - base).tolist(), (ends // 2 - base).tolist(), strict=True))


def _end_of(p: int, k: int, n: int) -> End | None:
    return (p, 0) if k == 0 else (p, 1) if k == n - 1 else None


def _leaves(k0: int, k1: int, n: int, end: End) -> bool:
    """Tell whether a first span runs away from `end` (a span of one place counts as both)."""
    return k1 >= k0 if end[1] == 0 else k1 <= k0


def _arrives(k0: int, k1: int, n: int, end: End) -> bool:
    return k1 <= k0 if end[1] == 0 else k1 >= k0


def _stretch(line: Points, u: float, v: float) -> Points:
    """Return a line from share `u` to share `v` of its length, with the line's own points in between."""
    if {u, v} == {0.0, 1.0}:
        return line if u < v else line[::-1]
    total = line_length(line)
    out = part_of(line, min(u, v) * total, max(u, v) * total)
    return out if u <= v else out[::-1]


def end_to_end(walks: Sequence[Sequence[int]]) -> Walks:
    """Return the states of all walks one after the other, and where each walk starts, with the end of the last."""
    return np.array([s for w in walks for s in w], np.int32), np.cumsum([0, *map(len, walks)])


def packed(readings: Sequence[Walks]) -> Pack:
    """Return the walks of several readings as the compiled loops take them at once."""
    every, starts = zip(*readings, strict=True)
    states_at, starts_at = (np.cumsum([0, *map(len, parts)]) for parts in (every, starts))
    return np.concatenate(every), np.concatenate(starts), states_at, starts_at


def one_by_one(every: Ints, starts: NDArray[np.int64]) -> tuple[list[int], ...]:
    """Return the states of every walk; every, starts: `Walks`."""
    return tuple(every[a:b].tolist() for a, b in pairwise(starts.tolist()))


def junctions_of(net: Network) -> Ints:
    """Return the junctions at the ends of every piece, shape (pieces, 2), -1 at a free tip."""
    return np.array(net.junction_of, np.int32).reshape(-1, 2)


def path_context_of(net: Network, states: States) -> PathContext:
    """Return a network and its states as the compiled loops take them."""
    clues = states.clues
    return PathContext(
        states.here, states.heading, states.piece, states.first, states.spacing, states.doubled,
        clues.landed, clues.lifted, clues.twice,
        states.step_to, states.step_cost, states.step_at, junctions_of(net), len(net.pieces) - net.dots, net.pen_px,
    )  # fmt: skip
