"""Readings of a character of which nothing is known: the smoothest lines, varied, and what the ink says of each.

No form tells the strokes here, so the rules of writing stand in: which way a line runs, and which corners part it.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from skeleton.fitted_values import load_fitted_values
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

COSTS = load_fitted_values(Path(__file__).with_name("unlabelled_costs.json"))
"""Cost of one unit of each feature, in log odds: in a fluent hand, and what comes to it in drafted lettering."""

NAMES = COSTS.names
WEIGHTS = COSTS.end_to_end()

CHANGES = ("lifts for retraces", "corners lifted", "merged", "met", *KINDS, "told ends")
MET, ENDS = CHANGES.index("met"), CHANGES.index("told ends")

OWN = ("up", "left", "against the grain", "ring begun", "mark begun", "smooth", *CHANGES)
"""What the rules of writing say of a reading, whether it is the smoothest lines, and how it came from them."""

OF_TOLD = [TOLD.index(name) for name in TOLD if name in NAMES]
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
            f = np.empty(len(NAMES))
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
