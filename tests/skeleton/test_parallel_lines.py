"""Lines gone along beside each other, and what the ink tells of those that were."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

import skeleton
from capture.units import Points
from skeleton.ductus.curve import pen_line
from skeleton.fitting.line_fit import fit_context, fit_hypothesis
from skeleton.graph.junctions import Network
from skeleton.hypotheses.forms_sought import models_of
from skeleton.hypotheses.uncovered_ink import completed
from skeleton.ink.ink_map import InkMap
from skeleton.matching.template_matching import find_matches
from skeleton.pipeline import build_state_graph_of
from skeleton.scoring.path_features import path_scorer
from skeleton.states.state_graph import States, draw
from tests.bench.trace_ink import ink
from tests.bench.trace_score import score

XHEIGHT_MM = 3.5


def drawn(*knots: tuple[float, float], corners: tuple[int, ...] = ()) -> Points:
    """Return a smooth line through knots in x-heights, y up, as mm with y down."""
    points = np.array(knots) * [XHEIGHT_MM, -XHEIGHT_MM]
    return pen_line(points, np.isin(np.arange(len(points)), corners))


LOOPED_D = drawn(
    (0.1, 1.9), (-0.1, 1.2), (-0.05, 0.2), (0.08, 0.0), (0.25, 0.3), (0.3, 1.2), (0.22, 1.85), (0.6, 1.85),
    (1.1, 1.4), (1.15, 0.7), (0.7, 0.1), (0.2, 0.0),
    corners=(6,),
)  # fmt: skip
LOOPED_R = (
    drawn((0.1, 1.9), (0.05, 0.0)),
    drawn((0.1, 1.85), (0.5, 1.95), (0.9, 1.7), (0.85, 1.2), (0.5, 0.95), (0.05, 0.9), (0.0, 1.1), (0.4, 1.1),
          (0.8, 0.6), (1.1, 0.0)),
)  # fmt: skip
FROM_THE_WAIST = drawn(
    (0.05, 0.98), (0.2, 0.87), (0.55, 1.0), (0.85, 1.4), (0.7, 1.85), (0.35, 1.85), (0.2, 1.5), (0.45, 1.05),
    (0.8, 0.6), (0.7, 0.1), (0.3, 0.0), (0.05, 0.3), (0.2, 0.65), (0.6, 1.0), (0.95, 1.2),
)  # fmt: skip


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(
    ("char", "form", "strokes"),
    [("D", "one stroke", (LOOPED_D,)), ("R", "bow and leg in one", LOOPED_R)],
    ids=["stem in a loop", "leg with a loop over the stem"],
)
def test_a_line_beside_one_that_is_passed_twice_is_no_stroke_of_its_own(
    char: str, form: str, strokes: tuple[Points, ...], seed: int
) -> None:
    apart = build_state_graph_of(ink(list(strokes), seed=seed)[0], 300)
    assert apart is not None
    _, net, states = apart
    witness = path_scorer(net, states)
    models = [m for m in models_of(char, "right", ()) if m.name == form]
    for match in find_matches(net, states, models):
        count = witness.coverage(match.end_to_end)
        bare = witness.bare(count)
        for walks, added, _ in completed(witness.context, match.end_to_end, count):
            if bare > 0.04 and added == 0 and witness.bare(witness.coverage(walks)) < 0.02:
                return

    pytest.fail("every reading has a stroke more, or leaves ink out")


@pytest.mark.parametrize("seed", range(3))
def test_an_eight_begun_at_its_waist_is_read_as_it_was_written(seed: int) -> None:
    grey, offset = ink([FROM_THE_WAIST], seed=seed)
    found = [s.points_mm for s in skeleton.trace(grey, 300, "8")]

    assert score(found, [FROM_THE_WAIST + offset], 0.5).full


def test_what_a_hook_aside_leaves_unexplained_tells_that_there_was_one() -> None:
    stem = np.stack([np.zeros(60), np.linspace(0, 6, 60)], axis=1)
    hook = np.stack([np.linspace(0.22, 0, 14), np.linspace(1.2, 0, 14)], axis=1)
    for seed in range(5):
        apart = build_state_graph_of(ink([np.concatenate([hook, stem])], seed=seed)[0], 300)
        plain = build_state_graph_of(ink([stem], seed=seed)[0], 300)
        assert apart is not None and plain is not None
        hooked, straight = (_unlike_without_and_with_a_hook(a) for a in (apart, plain))

        assert hooked[0] - hooked[1] > 0.1 > straight[0] - straight[1]


def _unlike_without_and_with_a_hook(apart: tuple[InkMap, Network, States]) -> tuple[float, float]:
    """Return how unlike the ink of a stem one stroke down it is, and one that begins a fifth of it further down."""
    found, net, states = apart
    line = max((draw(net, states, along) for along in _ways_down(states)), key=len)
    down = line if line[-1, 1] > line[0, 1] else line[::-1]
    n = len(down) // 5
    paper = fit_context(found)
    return fit_hypothesis([down], paper).unlike, fit_hypothesis([np.concatenate([down[n:0:-1], down])], paper).unlike


def _ways_down(states: States) -> list[list[int]]:
    return [[2 * q for q in range(a, b)] for a, b in pairwise(states.first.tolist())]
