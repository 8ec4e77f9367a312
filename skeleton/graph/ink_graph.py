"""The graph of centre lines: nodes where lines end or meet, edges as polylines between them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import skeletonize, thin

from capture.units import Points
from skeleton.geometry.polyline import smoothed
from skeleton.graph.pixel_graph import pixel_graph
from skeleton.ink.ink_map import InkMap


@dataclass(frozen=True, eq=False)
class Edge:
    """A line between two nodes (the same one for a ring)."""

    a: int
    b: int
    line: Points
    """Shape (n >= 2, 2): px of the working image, from node `a` to node `b`."""

    bridged: bool = False
    """True where the line crosses paper: a skip of the pen."""


@dataclass(frozen=True, eq=False)
class InkGraph:
    """Centre lines as thinning gives them. Frame: px of the working image, y down."""

    nodes: Points
    """Shape (m, 2)."""

    edges: tuple[Edge, ...]
    dots: tuple[NDArray[np.float64], ...] = ()
    """Places (2,) of spots too small to be lines."""

    def ends_at(self) -> list[list[tuple[int, int]]]:
        """Return for every node the (edge, end) that meet there; end 0 is the edge's `a`."""
        out: list[list[tuple[int, int]]] = [[] for _ in range(len(self.nodes))]
        for i, e in enumerate(self.edges):
            out[e.a].append((i, 0))
            out[e.b].append((i, 1))
        return out


def build_graph(ink: InkMap) -> InkGraph:
    """Return the graph of the thinned ink (Zhang & Suen 1984 as in scikit-image), rough edges smoothed."""
    framed = np.asarray(cv2.copyMakeBorder(ink.mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0), np.uint8)
    lines = np.asarray(skeletonize(framed > 0))  # type: ignore[no-untyped-call]  # the library has no types
    if _lost(framed, lines, ink.pen_px):
        # an even, slanting line may vanish but for a pixel (a known weakness of the method); Guo & Hall's does not
        lines = np.asarray(thin(framed > 0))  # type: ignore[no-untyped-call]  # ditto
    nodes, table, pixels, _ = pixel_graph(lines.view(np.uint8))
    places = nodes[:, ::-1].astype(float) - 1
    edges = []
    for a, b, start, end in table:
        line = np.ascontiguousarray(pixels[start:end, ::-1], float) - 1
        edges.append(Edge(int(a), int(b), smoothed(line, bool(a == b))))
    linked = np.zeros(len(places), bool)
    linked[table[:, :2].ravel()] = True
    return InkGraph(places, tuple(edges), tuple(places[~linked]))


def _lost(mask: NDArray[np.uint8], lines: NDArray[np.bool_], pen: float) -> bool:
    """Tell whether some ink lies far from every line."""
    far = cv2.distanceTransform((~lines).view(np.uint8), cv2.DIST_L2, 3)
    return bool(cv2.minMaxLoc(far, mask)[1] > 2.5 * pen)
