"""Where the pen has been that thinning does not reach: hooks at landings, corners, the far side of hairpins."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from skeleton.geometry.polyline import along
from skeleton.graph.ink_graph import Edge, InkGraph
from skeleton.ink.components import peaks
from skeleton.ink.ink_map import InkMap

MISSED_PEN_WIDTHS = 0.40
"""Distance in pen widths between a place of the pen's centre and the nearest line that makes it a place of its own."""

DISC_HALF_WIDTH_PEN_WIDTHS = 0.44
"""Share of the pen's width that must be ink on all sides of a place for the pen's centre to have been there."""


FLAT_SIDE_INK_SHARE = 0.72
"""Share of ink in a disc of 0.9 pen widths around a place: about 0.52 at the end of a line, 0.65 in a corner, 0.83 at
the flat side of a broad one, which is no tip."""


def _ink_around(ink: InkMap, x: int, y: int) -> float:
    """Return the share of ink in a disc around a pixel."""
    r = 0.9 * ink.pen_px
    k = int(np.ceil(r))
    h, w = ink.mask.shape
    x0, x1, y0, y1 = max(x - k, 0), min(x + k + 1, w), max(y - k, 0), min(y + k + 1, h)
    yy, xx = np.ogrid[y0:y1, x0:x1]
    disc = (xx - x) ** 2 + (yy - y) ** 2 <= r * r
    return float((ink.mask[y0:y1, x0:x1] > 0)[disc].sum() / (np.pi * r * r))


def extend_tips(graph: InkGraph, ink: InkMap) -> InkGraph:
    """Return the graph with short tips to where the pen must have been and no line leads.

    A round pen's centre can only have been where its disc fits into the ink (the erosion of the ink by the pen), and
    a pen that was at a place leaves its whole disc there. What of this erosion lies off every line belongs to a
    movement that thinning has swallowed.
    """
    pen = ink.pen_px
    for _ in range(2):
        if not graph.edges:
            return graph
        lines = np.full(ink.mask.shape, 255, np.uint8)
        for e in graph.edges:
            cv2.polylines(lines, [np.round(e.line * 16).astype(np.int32)], False, 0, 1, cv2.LINE_8, 4)
        for d in graph.dots:
            cv2.circle(lines, (round(float(d[0])), round(float(d[1]))), round(pen), 0, -1)
        off = cv2.distanceTransform(lines, cv2.DIST_L2, 5)
        far = ((off > MISSED_PEN_WIDTHS * pen) & (ink.radius >= DISC_HALF_WIDTH_PEN_WIDTHS * pen + 0.3)).view(np.uint8)
        places = peaks(far, off)
        if not len(places):
            return graph
        for x, y in places.tolist():
            if _ink_around(ink, x, y) > FLAT_SIDE_INK_SHARE:
                continue
            graph = _with_tip(graph, np.array([x, y], float), pen)
    return graph


def _with_tip(graph: InkGraph, place: np.ndarray, pen: float) -> InkGraph:
    """Return the graph with a line from the nearest point of its edges to `place`."""
    best = (1e9, -1, 0)
    for i, e in enumerate(graph.edges):
        d = ((e.line - place) ** 2).sum(axis=1)
        k = int(np.argmin(d))
        if d[k] < best[0]:
            best = (float(d[k]), i, k)
    _, i, k = best
    if best[0] > (3 * pen) ** 2:
        return graph
    e = graph.edges[i]
    s = along(e.line)
    nodes = list(graph.nodes)
    edges = list(graph.edges)
    degree = [0] * len(nodes)
    for x in edges:
        degree[x.a] += 1
        degree[x.b] += 1
    tip = np.stack([e.line[k], place])
    at_a, at_b = s[k] < 0.25 * pen, s[-1] - s[k] < 0.25 * pen
    if (at_a and degree[e.a] == 1) or (at_b and degree[e.b] == 1):
        node = e.a if at_a else e.b
        if e.a != e.b:
            nodes[node] = place
            line = np.concatenate([place[None], e.line]) if at_a else np.concatenate([e.line, place[None]])
            edges[i] = replace(e, line=line)
            return replace(graph, nodes=np.array(nodes), edges=tuple(edges))
    nodes.append(place)
    new = len(nodes) - 1
    if at_a or at_b:
        foot = e.a if at_a else e.b
        edges.append(Edge(foot, new, np.stack([nodes[foot], place])))
    else:
        nodes.append(e.line[k])
        foot = len(nodes) - 1
        edges[i] = Edge(e.a, foot, e.line[: k + 1], e.bridged)
        edges.append(Edge(foot, e.b, e.line[k:], e.bridged))
        edges.append(Edge(foot, new, tip))
    return replace(graph, nodes=np.array(nodes), edges=tuple(edges))
