"""Readings of a character of which nothing is known: the smoothest lines, varied, and what the ink says of each.

No form tells the strokes here, so the rules of writing stand in: which way a line runs, and which corners part it.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from skeleton.fitted_values import load_fitted_values
from skeleton.hypotheses.edits import KINDS, others
from skeleton.hypotheses.endpoints import optimise_endpoints
from skeleton.hypotheses.good_continuation import smooth_walks
from skeleton.hypotheses.labelled import EditCounts, Hypothesis, weights_for, with_edit
from skeleton.hypotheses.pen_lifts import junction_merges, lift_edits
from skeleton.hypotheses.stroke_direction import canonical_orientation, orient_strokes
from skeleton.hypotheses.writing_order import DIRECTION
from skeleton.scoring.path_features import PATH_FEATURE_NAMES, PathScorer
from skeleton.states.state_graph import Walks, end_to_end, packed

COSTS = load_fitted_values(Path(__file__).with_name("unlabelled_costs.json"))
"""Cost of one unit of each feature, in log odds: in a fluent hand, and what comes to it in drafted lettering."""

NAMES = COSTS.names
WEIGHTS = COSTS.end_to_end()

EDIT_NAMES = ("lifts for retraces", "corners lifted", "merged", "met", *KINDS, "told ends")
MET, ENDS = EDIT_NAMES.index("met"), EDIT_NAMES.index("told ends")

RULE_FEATURE_NAMES = ("up", "left", "against the grain", "ring begun", "mark begun", "smooth", *EDIT_NAMES)
"""What the rules of writing say of a reading, whether it is the smoothest lines, and how it came from them."""

OF_PATH_FEATURES = [PATH_FEATURE_NAMES.index(name) for name in PATH_FEATURE_NAMES if name in NAMES]
AT_PATH_FEATURES, AT_RULE_FEATURES, AT_BARE = (
    [NAMES.index(PATH_FEATURE_NAMES[k]) for k in OF_PATH_FEATURES],
    [NAMES.index(x) for x in RULE_FEATURE_NAMES],
    NAMES.index("bare"),
)

MAX_EDITED_READINGS = 8
"""How many readings are varied, the best first."""

EDIT_COST_WINDOW = 3.0
"""Log odds behind the best reading up to which another is varied too."""


def readings(scorer: PathScorer) -> list[Hypothesis]:
    """Return the readings of ink that may be any character, best first, no two alike; directed, but in no order."""
    states = scorer.states
    smooth = smooth_walks(scorer.net, states)
    if not smooth:
        return []
    context, size = scorer.context, scorer.size
    weights = weights_for(WEIGHTS, states.drafted)
    out: dict[Any, Hypothesis] = {}
    made: dict[Any, EditCounts] = {}

    def put(found: list[tuple[Walks, EditCounts]], *, plain: bool = False) -> None:
        """Keep readings; with each, how many of `EDIT_NAMES` it has come by."""
        fresh: dict[Any, tuple[Walks, list[float]]] = {}
        for walks, changes in found:
            directed, grain = orient_strokes(context, walks, size, DIRECTION)
            key = _whatever_order(directed)
            if key not in out and key not in fresh:
                fresh[key], made[key] = (directed, [*grain, plain, *changes]), changes
        if not fresh:
            return
        told = scorer.path_features(packed([walks for walks, _ in fresh.values()]))
        for (key, (walks, own)), row in zip(fresh.items(), told, strict=True):
            f = np.empty(len(NAMES))
            f[AT_PATH_FEATURES], f[AT_BARE], f[AT_RULE_FEATURES] = (
                row[OF_PATH_FEATURES],
                scorer.bare(scorer.coverage(walks)),
                own,
            )
            out[key] = Hypothesis("", walks, f, states.drafted, float(f @ weights))

    none = (0,) * len(EDIT_NAMES)
    for walks in canonical_orientation(context, end_to_end(smooth), size, DIRECTION):
        put([(walks, none)], plain=True)
        put([(moved, with_edit(none, ENDS)) for moved in optimise_endpoints(context, walks, False)])
    done: set[Any] = set()
    for _ in range(MAX_EDITED_READINGS):
        left = [k for k in out if k not in done]
        if not left:
            break
        key = min(left, key=lambda k: out[k].cost)
        if out[key].cost > min(c.cost for c in out.values()) + EDIT_COST_WINDOW:
            break
        done.add(key)
        walks, changes = out[key].end_to_end, made[key]
        found = [(other, with_edit(changes, kind, n)) for kind, n, other in lift_edits(context, walks)]
        found += [(other, with_edit(changes, MET)) for other in junction_merges(context, walks)]
        found += [(other, with_edit(changes, MET + 1 + kind)) for kind, other in others(context, walks, scorer.tip)]
        found += [(other, with_edit(changes, ENDS)) for other in optimise_endpoints(context, walks, True)]
        put(found)
    return sorted(out.values(), key=lambda c: c.cost)


def _whatever_order(walks: Walks) -> tuple[bytes, ...]:
    """Return what is the same for the same strokes in any order."""
    every, starts = walks
    return tuple(sorted(every[a:b].tobytes() for a, b in pairwise(starts.tolist())))
