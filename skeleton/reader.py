"""From one image to its readings: the steps in their order."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels
from skeleton.graph import build_graph
from skeleton.ink_map import Grey, InkMap, find_ink
from skeleton.network import Network, build_network
from skeleton.order import direct, writing_order
from skeleton.reading import Reading
from skeleton.refine import refine
from skeleton.repair import repair
from skeleton.smooth_paths import smooth_walks
from skeleton.stroke import Stroke
from skeleton.walk import States, build_states, draw


def read(
    grey: Grey, dpi: float, char: str | None, *, handedness: str, known: Sequence[Sequence[Stroke]]
) -> Reading:
    """Return the reading of one image; see `skeleton.reading.read_character`."""
    ink = find_ink(grey, dpi)
    if ink is None:
        return Reading(())
    graph = repair(build_graph(ink), ink)
    net = build_network(graph, ink)
    states = build_states(net, 0.5 * ink.pen_px)
    walks = smooth_walks(net, states)
    drawn = [draw(net, states, w) for w in walks]
    size = float(max(ink.mask.shape))
    turns = [direct(line, size) for line, _ in drawn]
    lines = [line[t] for (line, _), t in zip(drawn, turns, strict=True)]
    firm = [f[t] for (_, f), t in zip(drawn, turns, strict=True)]
    lines += [d[None] for d in net.dots]
    firm += [np.ones(1, bool) for _ in net.dots]
    order = writing_order(lines, [len(p) == 1 for p in lines])
    return Reading(tuple(finish(lines[i], firm[i], ink) for i in order))


def finish(line: Points, firm: NDArray[np.bool_], ink: InkMap) -> Stroke:
    """Return the stroke of a line in px."""
    if len(line) < 2:
        return Stroke(image_from_pixels(line, px_per_mm=ink.px_per_mm), ink.pen_px / ink.px_per_mm)
    r = refine(line, firm, ink)
    return Stroke(
        image_from_pixels(r.line, px_per_mm=ink.px_per_mm),
        float(np.median(r.width)) / ink.px_per_mm,
        r.width / ink.px_per_mm,
    )
