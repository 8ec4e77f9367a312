"""From one image to its readings: the steps in their order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels
from skeleton.candidates import candidates
from skeleton.ductus import allographs
from skeleton.graph import build_graph
from skeleton.ink_map import Grey, InkMap, find_ink
from skeleton.match import Model, find_matches
from skeleton.network import Network, build_network
from skeleton.options import Options
from skeleton.order import against_the_grain, direct, writing_order
from skeleton.reading import Reading
from skeleton.refine import refine
from skeleton.repair import repair
from skeleton.smooth_paths import smooth_walks
from skeleton.stroke import Stroke
from skeleton.walk import States, build_states, draw

ALL_PARTS = Options()


def read(
    grey: Grey,
    dpi: float,
    char: str | None,
    *,
    handedness: str,
    known: Sequence[Sequence[Stroke]],
    options: Options = ALL_PARTS,
) -> Reading:
    """Return the reading of one image; see `skeleton.reading.read_character`."""
    ink = find_ink(grey, dpi)
    if ink is None:
        return Reading(())
    whole = options.junctions
    graph = repair(build_graph(ink), ink, spurs=whole, reach=whole)
    net = build_network(graph, ink, cut=whole)
    states = build_states(net, 0.5 * ink.pen_px)
    models = models_of(char, handedness, known) if char and options.ductus else []
    found = candidates(net, states, find_matches(net, states, models))
    if found:
        best = found[0]
        return Reading(
            tuple(finish(*draw(net, states, w), ink, options) for w in best.walks),
            float(1 / (1 + max(best.cost, 0.0))),
            best.name,
        )
    return Reading(tuple(finish(*d, ink, options) for d in by_rules(net, states, ink)))


def by_rules(net: Network, states: States, ink: InkMap) -> list[tuple[Points, NDArray[np.bool_]]]:
    """Return the lines of a character of which nothing is known, by smoothness and the general rules of writing."""
    drawn = [draw(net, states, w) for w in smooth_walks(net, states)]
    size = float(max(ink.mask.shape))
    turned = []
    for line, firm in drawn:
        t = direct(line, size)
        line, firm = line[t], firm[t]
        for a, b in against_the_grain(line, ink.pen_px) if len(line) > 2 else [(0, 0)]:
            u = direct(line[a : b + 1], size) + a
            turned.append((line[u], firm[u]))
    return [turned[i] for i in writing_order([p for p, _ in turned], [len(p) == 1 for p, _ in turned])]


def models_of(char: str, handedness: str, known: Sequence[Sequence[Stroke]]) -> list[Model]:
    """Return the forms to look for: the writer's own first, then the table's."""
    own = [Model("known", tuple(s.points_mm for s in strokes), 1.0) for strokes in known if len(strokes)]
    hand: Literal["right", "left"] = "left" if handedness == "left" else "right"
    flip = np.array([1.0, -1.0])
    return own + [Model(a.name, tuple(s * flip for s in a.strokes), a.prior) for a in allographs(char, handedness=hand)]


def finish(line: Points, firm: NDArray[np.bool_], ink: InkMap, options: Options = ALL_PARTS) -> Stroke:
    """Return the stroke of a line in px."""
    if len(line) < 2:
        return Stroke(image_from_pixels(line, px_per_mm=ink.px_per_mm), ink.pen_px / ink.px_per_mm)
    r = refine(line, firm, ink, to_ink=options.refine, smoothly=options.smooth)
    return Stroke(
        image_from_pixels(r.line, px_per_mm=ink.px_per_mm),
        float(np.median(r.width)) / ink.px_per_mm,
        r.width / ink.px_per_mm,
    )
