"""The centre lines of an inked image as a graph that other programs can take up."""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels, pixels_from_image
from skeleton.geometry.arc_length import line_length
from skeleton.geometry.quantiles import median
from skeleton.graph.connected import connected_parts
from skeleton.graph.ink_graph import InkGraph, build_graph
from skeleton.graph.junctions import inner_edges
from skeleton.graph.pruning import repair
from skeleton.ink.ink_map import InkMap, find_ink, require_grey
from skeleton.ink.scaled_darkness import Grey

DISTANCE_EXCESS_PX = 0.5
"""By how much twice the distance of a line's middle from the nearest paper pixel's centre is more than its width: one
where the middle falls on pixel centres, nothing where it falls between them."""


def centre_line_graph(grey: Grey, dpi: float) -> nx.MultiGraph:
    """Return the centre lines of an image: the medial axis, spurs pruned, skips of the pen bridged.

    The two forks that thinning makes of one crossing are one node. Strokes are not told apart: that is what
    `skeleton.trace` does.

    Parameters
    ----------
    grey
        Shape (h, w), uint8; dark ink on light paper.
    dpi
        Pixels per inch.

    Returns
    -------
    networkx.MultiGraph
        Frame: the image's (mm, origin top left, y down). Nodes are numbered from 0 and have `place_mm`, an array of
        shape (2,), and `kind`: "junction" (three ends or more), "tip", "ring" (the place where a ring without junction
        is cut open) or "dot" (a spot too small for a line, without edges). Edges have `line_mm`, shape (n >= 2, 2),
        from the node of the smaller number to the other; `widths_mm`, shape (n,), the width of the ink at each point;
        `width_mm`, their median; `length_mm`; and `bridged`, True where the line crosses paper. A blank image has no
        nodes.

    Raises
    ------
    ValueError
        If `grey` is not a two-dimensional uint8 array or `dpi` is not positive.

    Examples
    --------
    >>> grey = np.full((60, 80), 255, np.uint8)
    >>> grey[28:33, 10:70] = 0
    >>> graph = centre_line_graph(grey, 254)
    >>> sorted(kind for _, kind in graph.nodes(data="kind"))
    ['tip', 'tip']
    """
    require_grey(grey, dpi)
    ink = find_ink(grey, dpi)
    graph: nx.MultiGraph = nx.MultiGraph()
    if ink is None:
        return graph
    lines = repair(build_graph(ink), ink)
    ends = lines.ends_at()
    inner = inner_edges(lines, ink)
    part = connected_parts(len(lines.nodes), ((lines.edges[i].a, lines.edges[i].b) for i in inner))
    used = sorted({int(part[n]) for n, here in enumerate(ends) if here})
    number = {p: k for k, p in enumerate(used)}
    for p, k in number.items():
        members = [n for n in range(len(ends)) if part[n] == p and ends[n]]
        degree = sum(i not in inner for n in members for i, _ in ends[n])
        loop = degree == 2 and all(lines.edges[i].a == lines.edges[i].b for i, _ in ends[members[0]])
        kind = "tip" if degree == 1 else "ring" if loop else "junction"
        graph.add_node(k, place_mm=_mm(lines.nodes[members].mean(axis=0), ink), kind=kind)
    for i, e in enumerate(lines.edges):
        if i not in inner:
            a, b = number[int(part[e.a])], number[int(part[e.b])]
            graph.add_edge(a, b, **_edge(graph, lines, i, (a, b), ink))
    for dot in lines.dots:
        graph.add_node(len(graph), place_mm=_mm(dot, ink), kind="dot")
    return graph


def _edge(graph: nx.MultiGraph, lines: InkGraph, i: int, ends: tuple[int, int], ink: InkMap) -> dict[str, Any]:
    """Return what an edge carries; its line goes to the places of its nodes, which a merged crossing has moved."""
    line = _mm(lines.edges[i].line, ink)
    first, last = (graph.nodes[n]["place_mm"] for n in ends)
    head = first[None] if (first != line[0]).any() else line[:0]
    tail = last[None] if (last != line[-1]).any() else line[:0]
    points = np.concatenate([head, line, tail])
    points = points if ends[0] <= ends[1] else points[::-1]
    widths = _widths(points, ink)
    return {
        "line_mm": points,
        "widths_mm": widths,
        "width_mm": float(median(widths)),
        "length_mm": line_length(points),
        "bridged": lines.edges[i].bridged,
    }


def _mm(points: Points, ink: InkMap) -> Points:
    return image_from_pixels(points, px_per_mm=ink.px_per_mm)


def _widths(points_mm: Points, ink: InkMap) -> NDArray[np.float64]:
    """Return the width of the ink at points, mm: twice the distance to paper, of the pixel that each lies in."""
    h, w = ink.radius.shape
    x, y = np.round(pixels_from_image(points_mm, px_per_mm=ink.px_per_mm)).astype(int).T
    radius = ink.radius[y.clip(0, h - 1), x.clip(0, w - 1)].astype(float)
    out: NDArray[np.float64] = np.maximum(2 * radius - DISTANCE_EXCESS_PX, 0.0) / ink.px_per_mm
    return out
