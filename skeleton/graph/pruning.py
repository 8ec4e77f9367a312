"""What thinning leaves that the pen never made: spurs, broken lines, spots."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.polyline import line_length
from skeleton.graph.connected import connected_parts
from skeleton.graph.ink_graph import Edge, InkGraph
from skeleton.graph.tip_extension import extend_tips
from skeleton.ink.ink_map import InkMap

NECK_HALF_WIDTH_PEN_WIDTHS = 0.36
"""Half-width of the ink below which strokes only touch; a whole line has 0.5. Set by hand."""


def repair(graph: InkGraph, ink: InkMap, *, spurs: bool = True, bridges: bool = True, reach: bool = True) -> InkGraph:
    """Return the graph without spurs, skips bridged, spots made dots."""
    if spurs:
        graph = prune_spurs(graph, ink)
    graph = join_chains(cut_necks(graph, ink))
    graph = spots_to_dots(graph, ink)
    if bridges:
        graph = join_chains(bridge_pen_skips(graph, ink))
    if reach:
        # a ring that was given a tip has a begin no longer
        graph = join_chains(extend_tips(graph, ink))
    return graph


def radius_at(ink: InkMap, point: NDArray[np.float64]) -> float:
    """Return the half-width of the ink at a point."""
    h, w = ink.radius.shape
    x, y = int(min(max(round(float(point[0])), 0), w - 1)), int(min(max(round(float(point[1])), 0), h - 1))
    y0, x0 = max(y - 1, 0), max(x - 1, 0)
    return float(ink.radius[y0 : y + 2, x0 : x + 2].max())


def prune_spurs(graph: InkGraph, ink: InkMap) -> InkGraph:
    """Return the graph without tips that add no ink.

    A tip of length L whose end has the half-width r, on a junction of half-width R, reaches L + r - R beyond what the
    junction's own disc covers; below a third of the pen's width it is the shape of an edge, not a movement.
    """
    edges = list(graph.edges)
    while True:
        degree = np.zeros(len(graph.nodes), int)
        for e in edges:
            degree[e.a] += 1
            degree[e.b] += 1
        doomed: list[tuple[float, int]] = []
        for i, e in enumerate(edges):
            if e.a == e.b or (degree[e.a] == 1) == (degree[e.b] == 1):
                continue
            tip, foot = (e.line[0], e.line[-1]) if degree[e.a] == 1 else (e.line[-1], e.line[0])
            reach = line_length(e.line) + radius_at(ink, tip) - radius_at(ink, foot)
            if reach < 0.33 * ink.pen_px and degree[e.b if degree[e.a] == 1 else e.a] >= 3:
                doomed.append((reach, i))
        if not doomed:
            return replace(graph, edges=tuple(edges))
        # one per junction and round, the least first: a fork at a line's end loses one prong and is whole again
        used: set[int] = set()
        gone: set[int] = set()
        for _, i in sorted(doomed):
            foot_node = edges[i].b if degree[edges[i].a] == 1 else edges[i].a
            if foot_node not in used:
                used.add(foot_node)
                gone.add(i)
        edges = [e for i, e in enumerate(edges) if i not in gone]
        graph = join_chains(replace(graph, edges=tuple(edges)))
        edges = list(graph.edges)


def join_chains(graph: InkGraph) -> InkGraph:
    """Return the graph with the two edges at every node of two made one."""
    edges: list[Edge | None] = list(graph.edges)
    ends: list[list[int]] = [[] for _ in range(len(graph.nodes))]
    for i, e in enumerate(graph.edges):
        ends[e.a].append(i)
        ends[e.b].append(i)
    for n, here in enumerate(ends):
        if len(here) != 2 or here[0] == here[1]:
            continue
        i, j = here
        first, second = edges[i], edges[j]
        assert first is not None and second is not None
        head = first.line if first.b == n else first.line[::-1]
        tail = second.line if second.a == n else second.line[::-1]
        a = first.a if first.b == n else first.b
        b = second.b if second.a == n else second.a
        edges[i] = Edge(a, b, np.concatenate([head, tail[1:]]), first.bridged or second.bridged)
        edges[j] = None
        ends[b] = [i if k == j else k for k in ends[b]]
        ends[n] = []
    return replace(graph, edges=tuple(e for e in edges if e is not None))


def spots_to_dots(graph: InkGraph, ink: InkMap) -> InkGraph:
    """Return the graph with the components that are spots of ink rather than lines made dots."""
    part = connected_parts(len(graph.nodes), ((e.a, e.b) for e in graph.edges))
    size: dict[int, float] = {}
    points: dict[int, list[Points]] = {}
    for e in graph.edges:
        k = int(part[e.a])
        size[k] = size.get(k, 0.0) + line_length(e.line)
        points.setdefault(k, []).append(e.line)
    dots = [_spot_centre(d, ink) for d in graph.dots if radius_at(ink, d) > 0.3 * ink.pen_px]
    gone: set[int] = set()
    for k in size:
        if size[k] < 0.75 * ink.pen_px:
            gone.add(k)
            dots.append(_spot_centre(np.concatenate(points[k]).mean(axis=0), ink))
    edges = tuple(e for e in graph.edges if int(part[e.a]) not in gone)
    return replace(graph, edges=edges, dots=tuple(dots))


def _spot_centre(place: NDArray[np.float64], ink: InkMap) -> NDArray[np.float64]:
    """Return the centre of gravity of the darkness around a spot."""
    r = int(np.ceil(1.3 * ink.pen_px))
    h, w = ink.darkness.shape
    for _ in range(2):
        x, y = round(float(place[0])), round(float(place[1]))
        x0, x1, y0, y1 = max(x - r, 0), min(x + r + 1, w), max(y - r, 0), min(y + r + 1, h)
        d = np.clip(ink.darkness[y0:y1, x0:x1] - 0.15, 0, None) * (ink.mask[y0:y1, x0:x1] > 0)
        if d.sum() <= 0:
            return place
        yy, xx = np.mgrid[y0:y1, x0:x1]
        place = np.array([(xx * d).sum(), (yy * d).sum()]) / d.sum()
    return place


def cut_necks(graph: InkGraph, ink: InkMap) -> InkGraph:
    """Return the graph with lines parted where the ink is much narrower than the pen.

    There two strokes merely touch, or the pen ran dry; what was one line after all is bridged again. Of uneven ink all
    lines are narrow in places.
    """
    if ink.uneven:
        return graph
    nodes = list(graph.nodes)
    edges: list[Edge] = []
    h, w = ink.radius.shape
    wide = np.asarray(cv2.dilate(ink.radius, np.ones((3, 3), np.uint8)))
    for e in graph.edges:
        xy = np.round(e.line).astype(int)
        r = wide[xy[:, 1].clip(0, h - 1), xy[:, 0].clip(0, w - 1)]
        margin = round(0.6 * ink.pen_px)
        inner = r[margin : len(r) - margin]
        if len(inner) < 3 or inner.min() > NECK_HALF_WIDTH_PEN_WIDTHS * ink.pen_px or e.bridged:
            edges.append(e)
            continue
        thin = np.flatnonzero(r < NECK_HALF_WIDTH_PEN_WIDTHS * ink.pen_px)
        thin = thin[(thin >= margin) & (thin < len(r) - margin)]
        first, last = int(thin[0]), int(thin[-1])
        if last - first > 1.5 * ink.pen_px:
            edges.append(e)
            continue
        nodes += [e.line[first], e.line[last]]
        edges.append(Edge(e.a, len(nodes) - 2, e.line[: first + 1]))
        edges.append(Edge(len(nodes) - 1, e.b, e.line[last:]))
    return replace(graph, nodes=np.array(nodes).reshape(-1, 2), edges=tuple(edges))


def bridge_pen_skips(graph: InkGraph, ink: InkMap) -> InkGraph:
    """Return the graph with tips joined across short gaps that a pen running dry leaves.

    Two tips are one line when they face each other: the gap is short, both lines point along it, and what lies between
    is either greyer than paper or very short. The straighter the lines go on, the more paper may lie between; the more
    ink, the more they may bend.
    """
    ends = graph.ends_at()
    tips = [(n, here[0]) for n, here in enumerate(ends) if len(here) == 1]
    if len(tips) < 2:
        return graph
    pen = ink.pen_px
    offers: list[tuple[float, int, int]] = []
    out = {n: _outward(graph, ref, 1.5 * pen) for n, ref in tips}
    for i, (n, _) in enumerate(tips):
        for m, _ in tips[i + 1 :]:
            gap = graph.nodes[m] - graph.nodes[n]
            size = float(np.hypot(*gap))
            if size > 2.6 * pen or size < 1e-6:
                continue
            facing = min(float(out[n] @ gap), float(-(out[m] @ gap))) / size
            clear = size - radius_at(ink, graph.nodes[n]) - radius_at(ink, graph.nodes[m])
            where = graph.nodes[n] + np.linspace(0.15, 0.85, 9)[:, None] * gap
            xy = np.round(where).astype(int)
            h, w = ink.darkness.shape
            grey = float(ink.darkness[xy[:, 1].clip(0, h - 1), xy[:, 0].clip(0, w - 1)].min())
            dry = grey > 0.12 or clear < 0.4 * pen
            if (
                (facing > 0.8 and dry)
                or (facing > 0.94 and clear < 0.9 * pen)
                or (facing > 0.55 and grey > 0.2 and clear < 0.5 * pen)
            ):
                offers.append((size * (1.5 - facing), n, m))
    edges = list(graph.edges)
    taken: set[int] = set()
    for _, n, m in sorted(offers):
        if n in taken or m in taken:
            continue
        taken |= {n, m}
        edges.append(Edge(n, m, np.stack([graph.nodes[n], graph.nodes[m]]), bridged=True))
    return replace(graph, edges=tuple(edges))


def _outward(graph: InkGraph, ref: tuple[int, int], reach: float) -> NDArray[np.float64]:
    """Return the unit direction in which an edge leaves its end, from a stretch of `reach` before the last few pixels.

    Those thinning bends towards a corner of the end.
    """
    line = graph.edges[ref[0]].line
    line = line if ref[1] == 1 else line[::-1]
    last = max(1, len(line) - 1 - round(0.25 * reach))
    d = line[last] - line[max(0, last - round(reach))]
    size = float(np.hypot(*d))
    return d / size if size > 0 else np.zeros(2)
