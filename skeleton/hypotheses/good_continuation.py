"""Strokes without knowing the character: at every junction the lines that bend least go on, the others stop."""

from __future__ import annotations

import numpy as np

from skeleton.geometry.polyline import line_length
from skeleton.graph.junction_kernels import turn_cost
from skeleton.graph.junctions import End, Network, bend
from skeleton.states.state_graph import States, Walks

STOP_COST = 0.42
"""Cost of a line that stops in a junction: two stops cost as much as a turn of 84 degrees. Set by hand."""

RETRACE_COST = 0.5
"""Cost of a tip gone to and come back from, beside the turns that it saves."""

SINGLE_PASS_COST = 0.4
"""Cost of going twice along a tip whose ink is no broader than one passing leaves."""

CORNER_TIP_COST = 0.15
"""Cost of a corner whose far side is a short tip of its own."""


def smooth_walks(net: Network, states: States) -> list[list[int]]:
    """Return walks that together cover every piece, each as a list of single steps; directions are not yet chosen."""
    partner: dict[End, End] = {}
    twice: set[int] = set()
    for ends in net.junctions:
        pairs, doubled = _best_pairing(net, states, ends, twice)
        for a, b in pairs:
            partner[a] = b
            partner[b] = a
        if doubled is not None:
            twice.add(doubled[0][0])
            partner[doubled[1]] = doubled[0]
            partner[doubled[2]] = doubled[0]
    walks = _assemble(net, states, partner, twice)
    return [w for w in walks if not _is_stub(net, states, w)]


def _is_stub(net: Network, states: States, walk: list[int]) -> bool:
    """Tell whether a walk is no more than a short tip on a junction: the far side of a corner, not a stroke."""
    p = int(states.piece[walk[0]])
    if int(states.piece[walk[-1]]) != p or net.junction_of[p] == (-1, -1):
        return False
    return line_length(net.pieces[p]) < 1.1 * net.pen_px


def _best_pairing(
    net: Network, states: States, ends: tuple[End, ...], twice: set[int]
) -> tuple[list[tuple[End, End]], tuple[End, End, End] | None]:
    """Return the cheapest pairs, and (stem, one, other) if a stem is gone along twice."""
    cost = {(a, b): turn_cost(bend(net, a, b)) for i, a in enumerate(ends) for b in ends[i + 1 :]}

    def pair(a: End, b: End) -> float:
        return cost[(a, b)] if (a, b) in cost else cost[(b, a)]

    best: tuple[float, list[tuple[End, End]], tuple[End, End, End] | None] = (1e9, [], None)

    def search(left: list[End], pairs: list[tuple[End, End]], so_far: float) -> None:
        nonlocal best
        if so_far >= best[0]:
            return
        if not left:
            best = (so_far, list(pairs), None)
            return
        a, rest = left[0], left[1:]
        for b in rest:
            search([x for x in rest if x != b], [*pairs, (a, b)], so_far + pair(a, b))
        search(rest, pairs, so_far + STOP_COST)

    search(list(ends[:8]), [], 0.0)
    if len(ends) == 3:
        for i in range(3):
            stem, one, other = ends[i], ends[(i + 1) % 3], ends[(i + 2) % 3]
            if net.junction_of[stem[0]][1 - stem[1]] >= 0 or stem[0] in twice:
                continue
            size = line_length(net.pieces[stem[0]])
            turn = bend(net, one, other)
            through = min(bend(net, stem, one), bend(net, stem, other)) < 0.6 and turn < 2.0 and size > 0.3 * net.pen_px
            aslant = max(bend(net, stem, one), bend(net, stem, other)) > 1.25
            if size < 1.3 * net.pen_px and turn > 0.6 and not (through and aslant):
                # the far side of a sharp corner, between its arms: out to it and back is how a pen turns
                c = CORNER_TIP_COST
            elif max(bend(net, stem, one), bend(net, stem, other)) < 0.8 < turn:
                # a hairpin whose legs run together for a while: the shorter the while, the surer
                hairpin = turn > 2.0 and size < 6 * net.pen_px
                c = (0.05 * size / net.pen_px if hairpin else RETRACE_COST) + pair(stem, one) + pair(stem, other)
                c += SINGLE_PASS_COST * max(0.0, 1.0 - _twice_there(states, stem[0]))
            else:
                continue
            if c < best[0]:
                best = (c, [], (stem, one, other))
    return best[1], best[2]


def _twice_there(states: States, piece: int) -> float:
    """Return the mean log odds that a pen passed a piece twice."""
    return float(states.doubled[states.first[piece] : states.first[piece + 1]].mean())


def _assemble(net: Network, states: States, partner: dict[End, End], twice: set[int]) -> list[list[int]]:
    """Return the walks that the pairs make."""
    used: set[int] = set()

    def whole(p: int, from_end: int) -> list[int]:
        a, b = int(states.first[p]), int(states.first[p + 1])
        return list(range(2 * a, 2 * b, 2)) if from_end == 0 else list(range(2 * b - 1, 2 * a, -2))

    def run(p: int, from_end: int) -> list[int]:
        out: list[int] = []
        came: End | None = None
        while True:
            out += whole(p, from_end)
            used.add(p)
            leave = (p, 1 - from_end)
            if p in twice and net.junction_of[p][leave[1]] < 0:
                # to the tip and back, then into the arm that this walk did not come from
                out += whole(p, leave[1])
                stem = (p, from_end)
                sides = [x for x, y in partner.items() if y == stem and x != came]
                if not sides:
                    return out
                nxt = sides[0]
            else:
                if leave not in partner:
                    return out
                nxt = partner[leave]
                came = leave
            if nxt[0] in used and nxt[0] not in twice:
                return out
            p, from_end = nxt

    walks: list[list[int]] = []
    free = [(p, k) for p in range(len(net.pieces)) for k in (0, 1) if (p, k) not in partner and p not in twice]
    for p, k in free:
        if p not in used:
            walks.append(run(p, k))
    for p in range(len(net.pieces)):
        if p not in used and p not in twice:
            walks.append(run(p, 0))
    for p in twice - used:
        walks.append(whole(p, 0))
    return walks


def reorder_like(like: Walks, walks: list[list[int]]) -> list[list[int]]:
    """Return walks in the order and the directions in which another reading passes the same places."""
    when: dict[int, int] = {}
    for t, s in enumerate(like[0].tolist()):
        when.setdefault(s, t)
    out: list[tuple[float, list[int]]] = []
    for w in walks:
        back = [s ^ 1 for s in reversed(w)]
        a = [when[s] for s in w if s in when]
        b = [when[s] for s in back if s in when]
        chosen, times = (w, a) if len(a) >= len(b) else (back, b)
        out.append((sum(times) / len(times) if times else np.inf, chosen))
    return [w for _, w in sorted(out, key=lambda x: x[0])]
