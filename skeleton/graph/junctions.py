"""Junctions cut out of the graph and made a matter of choice: pieces of line, and what may join them.

Thinning is wrong exactly where lines meet: within about one pen width of a crossing it shows the shape of the blot, not
the movement. So every junction is cut out; the pieces that are left keep the direction they had outside, and whoever
walks from piece to piece is drawn across the gap on the curve that bends least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.polyline import at_lengths, cubic, line_length, part_of
from skeleton.graph.connected import connected_parts
from skeleton.graph.ink_graph import InkGraph
from skeleton.graph.junction_kernels import bend_between, last_stretches
from skeleton.graph.pruning import radius_at
from skeleton.ink.ink_map import InkMap

Vector = NDArray[np.float64]
End = tuple[int, int]
"""(piece, end): end 0 is the piece's first point, 1 its last."""


@dataclass(frozen=True, eq=False)
class Network:
    """Pieces of line and the junctions between them. Frame: px of the working image, y down."""

    pieces: tuple[Points, ...]
    """Each of shape (n >= 2, 2). The last `dots` of them are spots, of no length to speak of."""

    junction_of: tuple[tuple[int, int], ...]
    """For both ends of every piece: the junction, or -1 at a free tip."""

    junctions: tuple[tuple[End, ...], ...]
    """The ends that meet in each junction."""

    centres: Points
    """Shape (j, 2)."""

    leaving: NDArray[np.float64]
    """Shape (pieces, 2, 2): unit direction of a pen that leaves the piece through each end."""

    curving: NDArray[np.float64]
    """Shape (pieces, 2): curvature (1/px) of that movement, positive when it turns from x to y."""

    dots: int
    pen_px: float


def build_network(graph: InkGraph, ink: InkMap, *, cut: bool = True) -> Network:
    """Return the network of a graph; with `cut` False the junctions stay as thinning left them."""
    pen = ink.pen_px
    ends = graph.ends_at()
    lengths = [line_length(e.line) for e in graph.edges]
    joint = [len(here) >= 3 for here in ends]
    inner = _inner_edges(graph, ink, ends, lengths, joint) if cut else set()
    part = connected_parts(len(graph.nodes), ((graph.edges[i].a, graph.edges[i].b) for i in inner)).tolist()
    number: dict[int, int] = {}
    for n in range(len(graph.nodes)):
        if joint[n]:
            number.setdefault(part[n], len(number))
    members: list[list[int]] = [[] for _ in number]
    for n in range(len(graph.nodes)):
        if joint[n]:
            members[number[part[n]]].append(n)
    centres = np.array([graph.nodes[m].mean(axis=0) for m in members]).reshape(-1, 2)
    zone = [1.45 * min(radius_at(ink, graph.nodes[n]), 0.75 * pen) if joint[n] else 0.0 for n in range(len(ends))]

    pieces: list[Points] = []
    at: list[tuple[int, int]] = []
    for i, e in enumerate(graph.edges):
        if i in inner:
            continue
        ja = number[part[e.a]] if joint[e.a] else -1
        jb = number[part[e.b]] if joint[e.b] else -1
        line, total = e.line, lengths[i]
        if cut and (ja >= 0 or jb >= 0):
            share = 0.4 if ja >= 0 and jb >= 0 else 0.7
            c0 = min(zone[e.a], share * total) if ja >= 0 else 0.0
            c1 = min(zone[e.b], share * total) if jb >= 0 else 0.0
            line = part_of(line, c0, total - c1)
        pieces.append(line)
        at.append((ja, jb))
    for dot in graph.dots:
        pieces.append(dot + np.array([[0.0, -0.05], [0.0, 0.05]]))
        at.append((-1, -1))
    junctions: list[list[End]] = [[] for _ in number]
    for p, pair in enumerate(at):
        for k in (0, 1):
            if pair[k] >= 0:
                junctions[pair[k]].append((p, k))
    leaving, curving = _departures(pieces, pen) if pieces else (np.zeros((0, 2, 2)), np.zeros((0, 2)))
    return Network(
        tuple(pieces), tuple(at), tuple(tuple(j) for j in junctions), centres, leaving, curving, len(graph.dots), pen
    )


def is_dot(net: Network, piece: int) -> bool:
    """Tell whether a piece is a spot."""
    return piece >= len(net.pieces) - net.dots


def _departures(pieces: Sequence[Points], pen: float) -> tuple[Vector, Vector]:
    """Return directions (pieces, 2, 2) and curvatures (pieces, 2) of movements out of both ends of every piece."""
    starts = np.cumsum([0, *map(len, pieces)])
    near, far, reach = last_stretches(np.concatenate(pieces), starts, pen)
    angle = np.arctan2(near[..., 1], near[..., 0])
    turn = (angle - np.arctan2(far[..., 1], far[..., 0]) + np.pi) % (2 * np.pi) - np.pi
    curving = np.minimum(np.maximum(turn / reach, -0.45 / pen), 0.45 / pen)
    curving[(np.abs(turn) >= 1.2) | ~far.any(axis=2)] = 0.0
    angle += 0.5 * curving * reach
    return np.stack([np.cos(angle), np.sin(angle)], axis=2), curving


def bend(net: Network, a: End, b: End) -> float:
    """Return the angle (radians, 0..pi) by which a pen must turn to leave by end `a` and go on into end `b`.

    The turn that both lines' own curvature would make anyway is free.
    """
    (dx, dy), (ex, ey) = net.leaving[a].tolist(), net.leaving[b].tolist()
    gap_x, gap_y = (_end_point(net, b) - _end_point(net, a)).tolist()
    curving = float(net.curving[a] - net.curving[b])
    return float(bend_between(dx, dy, -ex, -ey, gap_x, gap_y, curving, net.pen_px))


def _end_point(net: Network, end: End) -> Vector:
    line = net.pieces[end[0]]
    out: Vector = line[-1] if end[1] == 1 else line[0]
    return out


def link(net: Network, a: End, b: End) -> Points:
    """Return the curve from end `a` into end `b`, both ends included: the cubic that takes up both directions."""
    (px, py), (qx, qy) = _end_point(net, a).tolist(), _end_point(net, b).tolist()
    (dx, dy), (ex, ey) = net.leaving[a].tolist(), net.leaving[b].tolist()
    out: Points = cubic(px, py, dx, dy, qx, qy, -ex, -ey, 0.4 * net.pen_px)
    return out


def stop_in(net: Network, a: End) -> Points:
    """Return the way of a pen that leaves by end `a` and stops in the junction: to where the other lines pass."""
    p, d = _end_point(net, a), net.leaving[a]
    j = net.junction_of[a[0]][a[1]]
    centre = net.centres[j]
    others = [x for x in net.junctions[j] if x != a]
    best: tuple[float, Points] | None = None
    for i, x in enumerate(others):
        for y in others[i + 1 :]:
            b = bend(net, x, y)
            if b < 0.9 and (best is None or b < best[0]):
                best = (b, link(net, x, y))
    t = float((centre - p) @ d)
    if best is not None:
        across = best[1] - p
        ahead = across @ d
        aside = np.abs(across[:, 0] * d[1] - across[:, 1] * d[0])
        k = int(np.argmin(aside + 0.02 * ahead))
        if aside[k] < net.pen_px and ahead[k] > 0:
            t = float(ahead[k])
    t = float(np.clip(t, 0.0, 1.6 * net.pen_px))
    return np.stack([p, p + t * d]) if t > 1e-6 else p[None]


def inner_edges(graph: InkGraph, ink: InkMap) -> set[int]:
    """Return the edges that are not lines but the middle of one crossing that thinning split in two."""
    ends = graph.ends_at()
    lengths = [line_length(e.line) for e in graph.edges]
    return _inner_edges(graph, ink, ends, lengths, [len(here) >= 3 for here in ends])


def _inner_edges(
    graph: InkGraph, ink: InkMap, ends: list[list[End]], lengths: list[float], joint: list[bool]
) -> set[int]:
    """Return `inner_edges`; ends, lengths, joint: of the graph's nodes, edges, nodes, where they are known."""
    pen = ink.pen_px
    inner: set[int] = set()
    for i, e in enumerate(graph.edges):
        if e.a == e.b or not (joint[e.a] and joint[e.b]) or e.bridged:
            continue
        if lengths[i] < 0.8 * pen or (lengths[i] < 4.5 * pen and _is_split_crossing(graph, ink, i, ends, lengths)):
            inner.add(i)
    return inner


def _is_split_crossing(graph: InkGraph, ink: InkMap, i: int, ends: list[list[End]], lengths: list[float]) -> bool:
    """Tell whether two straight lines across edge `i` explain its four arms better than two T-junctions do."""
    e = graph.edges[i]
    arms_a = [x for x in ends[e.a] if x[0] != i]
    arms_b = [x for x in ends[e.b] if x[0] != i]
    if len(arms_a) != 2 or len(arms_b) != 2 or {x[0] for x in arms_a} & {x[0] for x in arms_b}:
        return False
    pen = ink.pen_px

    def arm(ref: End) -> tuple[Vector, Vector] | None:
        line = graph.edges[ref[0]].line
        line = line[::-1] if ref[1] == 0 else line  # runs into the junction
        total = lengths[ref[0]]
        if total < 1.2 * pen:
            return None
        c = min(0.9 * pen, 0.4 * total)
        p = at_lengths(line, np.array([max(total - c - 1.4 * pen, 0.0), total - c]))
        d = p[1] - p[0]
        return p[1], d / max(float(np.hypot(*d)), 1e-9)

    got_a, got_b = [arm(x) for x in arms_a], [arm(x) for x in arms_b]
    if any(g is None for g in got_a + got_b):
        return False

    def worst(pairs: list[tuple[tuple[Vector, Vector], tuple[Vector, Vector]]]) -> float:
        out = 0.0
        for (p, d), (q, f) in pairs:
            gap = q - p
            gap = gap / max(float(np.hypot(*gap)), 1e-9)
            out = max(out, float(np.arccos(np.clip(d @ gap, -1, 1))), float(np.arccos(np.clip(-(f @ gap), -1, 1))))
        return out

    a, b = [g for g in got_a if g], [g for g in got_b if g]
    cross = min(worst([(a[0], b[0]), (a[1], b[1])]), worst([(a[0], b[1]), (a[1], b[0])]))
    tees = worst([(a[0], a[1]), (b[0], b[1])])
    return cross < np.deg2rad(32) and cross < 0.7 * tees
