"""Readings of a character of which nothing is known: the smoothest lines, varied, and what the ink says of each.

No form tells the strokes here, so the rules of writing stand in: which way a line runs, and which corners part it.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from skeleton.graph.junctions import Network
from skeleton.hypotheses.edits import KINDS, others
from skeleton.hypotheses.endpoints import optimise_endpoints
from skeleton.hypotheses.good_continuation import smooth_walks
from skeleton.hypotheses.labelled import Candidate, Made, in_lettering, more
from skeleton.hypotheses.pen_lifts import junction_merges, lift_edits
from skeleton.hypotheses.stroke_direction import canonical_orientation, orient_strokes
from skeleton.hypotheses.writing_order import DIRECTION
from skeleton.scoring.path_features import TOLD, path_scorer
from skeleton.states.state_graph import States, Walks, end_to_end, packed

COSTS = {
    "strokes": (0.26, -1.11), "bare": (79.88, 235.21), "turns": (0.65, 0.11), "tip turns": (0.19, -0.62),
    "junction turns": (0.99, -0.15), "starts": (-0.32, 1.07), "twice": (-2.03, -7.17), "idle": (4.09, 1.34),
    "single": (-0.06, -0), "pro": (0.09, -0.07), "contra": (0.25, -0.22), "landing": (-0, -0.18),
    "thrice": (0.24, 1.69), "rise": (1.04, 0.82), "retraces": (0.64, -0.14), "retraces told": (-0.38, 0.55),
    "missed": (0.07, -2.27), "missed told": (0.47, 0.23), "landed": (0.31, -0.13), "lifted": (0.24, 0.11),
    "linked": (0.43, -1.24), "parted": (0.94, -0.02), "up": (-0.69, 0.46), "left": (1.33, 0.12),
    "against the grain": (0.75, -0.37), "ring begun": (4.32, -2.23), "mark begun": (12.32, -7.31),
    "smooth": (-0.84, 0.09), "lifts for retraces": (0.52, -0.22), "corners lifted": (0.73, -1.04),
    "merged": (-1.3, 2.05), "met": (-0.58, 0.07), "hooked": (0.52, 0.95), "unhooked": (-2.22, 12.57),
    "turned": (-0.34, 0.61), "looped": (1, -0.64), "crossed": (1.14, 0.89), "overrun": (1.02, 1.39),
    "told ends": (0.38, 0.61),
}  # fmt: skip
"""Cost of one unit of each feature, in log odds, in a fluent hand, and what comes to it in drafted lettering: a
conditional logit over the readings of half the kana, of kanji, and of the letters that `labelled` is fitted
on; `tests.bench trace_weights --unnamed`."""

WEIGHTS = np.array([c for c, _ in COSTS.values()] + [c for _, c in COSTS.values()])

CHANGES = ("lifts for retraces", "corners lifted", "merged", "met", *KINDS, "told ends")
MET, ENDS = CHANGES.index("met"), CHANGES.index("told ends")

NAMES = list(COSTS)
OWN = ("up", "left", "against the grain", "ring begun", "mark begun", "smooth", *CHANGES)
"""What the rules of writing say of a reading, whether it is the smoothest lines, and how it came from them."""

OF_TOLD = [TOLD.index(name) for name in TOLD if name in COSTS]
AT_TOLD, AT_OWN, AT_BARE = [NAMES.index(TOLD[k]) for k in OF_TOLD], [NAMES.index(x) for x in OWN], NAMES.index("bare")

EXPANDED = 8
"""How many readings are varied, the best first."""

WORTH_VARYING = 3.0
"""Log odds behind the best reading up to which another is varied too."""


def readings(net: Network, states: States) -> list[Candidate]:
    """Return the readings of ink that may be any character, best first, no two alike; directed, but in no order."""
    smooth = smooth_walks(net, states)
    if not smooth:
        return []
    witness = path_scorer(net, states)
    ground, size = witness.ground, witness.size
    weights = in_lettering(WEIGHTS, states.drafted)
    out: dict[Any, Candidate] = {}
    made: dict[Any, Made] = {}

    def put(found: list[tuple[Walks, Made]], *, plain: bool = False) -> None:
        """Keep readings; with each, how many of `CHANGES` it has come by."""
        fresh: dict[Any, tuple[Walks, list[float]]] = {}
        for walks, changes in found:
            directed, grain = orient_strokes(ground, walks, size, DIRECTION)
            key = _whatever_order(directed)
            if key not in out and key not in fresh:
                fresh[key], made[key] = (directed, [*grain, plain, *changes]), changes
        if not fresh:
            return
        told = witness.told(packed([walks for walks, _ in fresh.values()]))
        for (key, (walks, own)), row in zip(fresh.items(), told, strict=True):
            f = np.empty(len(COSTS))
            f[AT_TOLD], f[AT_BARE], f[AT_OWN] = row[OF_TOLD], witness.bare(witness.coverage(walks)), own
            out[key] = Candidate("", walks, f, states.drafted, float(f @ weights))

    none = (0,) * len(CHANGES)
    for walks in canonical_orientation(ground, end_to_end(smooth), size, DIRECTION):
        put([(walks, none)], plain=True)
        put([(moved, more(none, ENDS)) for moved in optimise_endpoints(ground, walks, False)])
    done: set[Any] = set()
    for _ in range(EXPANDED):
        left = [k for k in out if k not in done]
        if not left:
            break
        key = min(left, key=lambda k: out[k].cost)
        if out[key].cost > min(c.cost for c in out.values()) + WORTH_VARYING:
            break
        done.add(key)
        walks, changes = out[key].end_to_end, made[key]
        found = [(other, more(changes, kind, n)) for kind, n, other in lift_edits(ground, walks)]
        found += [(other, more(changes, MET)) for other in junction_merges(ground, walks)]
        found += [(other, more(changes, MET + 1 + kind)) for kind, other in others(ground, walks, witness.tip)]
        found += [(other, more(changes, ENDS)) for other in optimise_endpoints(ground, walks, True)]
        put(found)
    return sorted(out.values(), key=lambda c: c.cost)


def _whatever_order(walks: Walks) -> tuple[bytes, ...]:
    """Return what is the same for the same strokes in any order."""
    every, starts = walks
    return tuple(sorted(every[a:b].tobytes() for a, b in pairwise(starts.tolist())))
