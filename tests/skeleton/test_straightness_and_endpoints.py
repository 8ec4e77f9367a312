"""What the ink tells of its making: ends, widths along a stroke, straightness; and what is made of it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage, stats

from capture.units import Points
from skeleton.cues.bilinear_sampling import fill_between
from skeleton.cues.local_features import features, measure
from skeleton.cues.pen_events import Layer, convolved, find_pen_events
from skeleton.hypotheses.edits import MAX_CHANGES, others
from skeleton.hypotheses.endpoints import optimise_endpoints
from skeleton.hypotheses.forms_sought import models_of
from skeleton.hypotheses.good_continuation import smooth_walks
from skeleton.hypotheses.labelled import candidates
from skeleton.matching.stroke_distance import shape_of
from skeleton.matching.template_matching import find_matches
from skeleton.pipeline import build_state_graph_of, read
from skeleton.scoring.minimum_bayes_risk import minimum_bayes_risk
from skeleton.scoring.path_features import path_scorer
from skeleton.scoring.width_consistency import ALIKE_WITHIN_SHARE, WIDTH_NOISE_SHARE, _evidence, link_cost, own_widths
from skeleton.states.paths import coverage
from skeleton.states.state_graph import end_to_end, one_by_one, path_context_of
from tests.bench.trace_ink import ink

STEM = np.array([[0.0, 0.0], [0.06, 3.5], [0.0, 7.0]])


def ring(overlap: float) -> Points:
    turn = np.deg2rad(np.linspace(0, 360 + overlap, 120))
    wide = np.linspace(0.96, 1.04, 120)
    return np.stack([2.4 * wide * -np.sin(turn), 3.2 * wide * -np.cos(turn)], axis=1)


@pytest.mark.parametrize("stride", [1, 2])
@pytest.mark.parametrize("k", [3, 5])
def test_a_convolution_is_scipys(stride: int, k: int) -> None:
    rng = np.random.default_rng(k)
    x, kernels = rng.normal(0, 1, (3, 21, 16)), rng.normal(0, 1, (4, 3, k, k))
    offsets = rng.normal(0, 1, 4)
    want = np.array([sum(ndimage.correlate(x[c], m[c], mode="constant") for c in range(3)) for m in kernels])
    want = np.maximum(want + offsets[:, None, None], 0)[:, ::stride, ::stride]
    layer = Layer(kernels.reshape(4, -1).astype(np.float32), offsets.astype(np.float32), stride)
    np.testing.assert_allclose(convolved(x.astype(np.float32), layer), want, atol=1e-4)


def test_what_lies_between_cells_is_scipys() -> None:
    rng = np.random.default_rng(2)
    x, at = rng.normal(0, 1, (5, 9, 7)).astype(np.float32), rng.uniform(-1, 9, (40, 2))
    want = np.array([ndimage.map_coordinates(c, at.T[::-1], order=1, mode="nearest") for c in x]).T
    out = np.zeros((40, 7), np.float32)
    fill_between(x, 2 * at, 0.5, out, 1)
    np.testing.assert_allclose(out[:, 1:6], want, atol=1e-5)
    assert not out[:, [0, 6]].any()


def test_clues_are_the_same_whichever_way_a_piece_is_numbered() -> None:
    apart = build_state_graph_of(ink([STEM], seed=1)[0], 300)
    assert apart is not None
    found, net, states = apart
    here, along = states.here[::2], np.ascontiguousarray(states.heading[::2])
    told = features(net, measure(found, here, along), net.pen_px, here, along, states.first)
    ahead, back = find_pen_events(found, here, along, told), find_pen_events(found, here, -along, told)
    flip = np.arange(len(ahead.landed)) ^ 1
    np.testing.assert_allclose(ahead.landed, back.landed[flip], atol=1e-3)
    np.testing.assert_allclose(ahead.lifted, back.lifted[flip], atol=1e-3)
    np.testing.assert_allclose(ahead.twice, back.twice, atol=1e-3)


def test_a_stem_is_landed_on_at_its_top_and_left_at_its_foot() -> None:
    apart = build_state_graph_of(ink([STEM], seed=1)[0], 300)
    assert apart is not None
    _, _, states = apart
    top, foot = np.argmin(states.here[:, 1]), np.argmax(states.here[:, 1])
    down = np.flatnonzero(states.heading[:, 1] > 0)
    landed, lifted = down[np.argmax(states.clues.landed[down])], down[np.argmax(states.clues.lifted[down])]
    assert states.here[landed, 1] < states.here[top, 1] + 3 * 6
    assert states.here[lifted, 1] > states.here[foot, 1] - 3 * 6
    assert states.clues.landed[landed] > 0 > states.clues.landed[landed ^ 1]


@pytest.mark.parametrize("strokes", [[STEM], [ring(0)], [ring(40)], [STEM, ring(20) + np.array([3, 4])]])
def test_strokes_with_other_ends_go_from_state_to_state(strokes: list[Points]) -> None:
    apart = build_state_graph_of(ink(strokes, seed=4)[0], 300)
    assert apart is not None
    _, net, states = apart
    walks = end_to_end([list(range(2 * a, 2 * b, 2)) for a, b in pairwise(states.first.tolist())])
    moved = optimise_endpoints(path_context_of(net, states), walks, True)
    assert all(len(one_by_one(*other)) == len(walks[1]) - 1 for other in moved)
    for other in moved:
        for w in one_by_one(*other):
            for s, t in pairwise(w):
                assert t in states.step_to[states.step_at[s] : states.step_at[s + 1]]


@pytest.mark.parametrize("seed", range(5))
def test_a_ring_that_runs_on_over_its_beginning_is_led_on_by_the_clues(seed: int) -> None:
    apart = build_state_graph_of(ink([ring(30)], seed=seed)[0], 300)
    assert apart is not None
    _, net, states = apart
    walks = end_to_end([list(range(0, len(states.here), 2))])
    longest = max(
        len(w) for other in optimise_endpoints(path_context_of(net, states), walks, True) for w in one_by_one(*other)
    )
    assert longest > len(walks[0]) + 3


def test_the_evidence_of_widths_is_a_normal_density() -> None:
    rng = np.random.default_rng(3)
    u, y = np.sort(rng.uniform(0, 1, 12)), rng.normal(0, 0.1, 12)
    alike = 0.02 * np.exp(-0.5 * ((u[:, None] - u) / ALIKE_WITHIN_SHARE) ** 2) + WIDTH_NOISE_SHARE**2 * np.eye(12)
    want = stats.multivariate_normal(np.zeros(12), alike).logpdf(y) + 6 * np.log(2 * np.pi)
    assert _evidence.py_func(u, y, 0, 12, 0.02) == pytest.approx(want)


def corner(widths: tuple[float, float]) -> NDArray[np.uint8]:
    """Return an L whose two lines were drawn with pens of their own."""
    down, across = np.array([[0.0, 0.0], [0.0, 7.0]]), np.array([[0.0, 7.0], [5.0, 7.0]])
    (a, off), (b, other) = (
        ink([line, np.array([[0.0, 0.0], [0.0, 7.0], [5.0, 7.0]])[:1]], pen_mm=w, kind="clean", pressure=0)
        for line, w in zip((down, across), widths, strict=True)
    )
    k = 300 / 25.4
    out = np.full((int(12 * k), int(10 * k)), 245, np.uint8)
    for image, at in ((a, off), (b, other)):
        x, y = (int(v) for v in np.round((np.array([2.0, 2.0]) - at) * k))
        part = out[y : y + image.shape[0], x : x + image.shape[1]]
        np.minimum(part, image, out=part)
    return out


def test_one_stroke_in_two_widths_is_doubted() -> None:
    said = []
    for widths in ((0.5, 0.5), (0.42, 0.6)):
        apart = build_state_graph_of(corner(widths), 300)
        assert apart is not None
        _, net, states = apart
        ground = path_context_of(net, states)
        models = models_of("L", "right", ())
        one = next(
            c
            for c in candidates(path_scorer(net, states), find_matches(net, states, models), models)
            if len(c.walks) == 1
        )
        count = coverage(one.end_to_end, len(states.width))
        said.append(link_cost(ground, one.end_to_end, count, *own_widths(ground, states.width))[1])
    assert said[1] > said[0] + 0.3


@pytest.mark.parametrize(("bow", "low", "high"), [(0.0, 0.6, 1.0), (0.012, 0.0, 0.15)])
def test_straight_lines_are_a_draftsmans_and_bowed_ones_are_not(bow: float, low: float, high: float) -> None:
    y = np.linspace(0, 8, 60)
    apart = build_state_graph_of(ink([np.stack([8 * bow * 2.8 * np.sin(np.pi * y / 8), y], axis=1)], seed=2)[0], 300)
    assert apart is not None
    assert low <= apart[2].drafted <= high


def test_readings_that_are_nearly_alike_speak_for_each_other() -> None:
    hooks = [shape_of([np.array([[0.0, h], [0.0, 0.0], [0.0, 5.0], [3.0, 5.0]])]) for h in (0.2, 0.4, 0.6)]
    apart = shape_of([np.array([[0.0, 0.0], [0.0, 5.0]]), np.array([[0.0, 5.0], [3.0, 5.0]])])
    assert minimum_bayes_risk([apart, *hooks].__getitem__, np.array([0.34, 0.2, 0.24, 0.22])) == 2
    assert minimum_bayes_risk([apart, *hooks].__getitem__, np.array([0.9, 0.02, 0.06, 0.02])) == 0


def crossing(times: int) -> list[Points]:
    """Return two lines that cross so many times, mm."""
    t = np.linspace(0, 1, 400)
    swing = 0.55 * np.sin(np.pi * times * t)
    return [np.stack([2 + side * swing, 8 * t], axis=1) for side in (1, -1)]


@pytest.mark.parametrize("crossings", [6, 8, 10])
def test_two_lines_that_cross_again_and_again_are_read(crossings: int) -> None:
    """Ink of many small loops has more ways through it than can be tried: the search for ends must give up."""
    grey, _ = ink(crossing(crossings), seed=1)
    assert read(grey, 300, "t", handedness="right", known=(), judged=False).strokes


def test_of_a_line_to_and_fro_through_many_crossings_no_more_is_made_than_can_be_weighed() -> None:
    t = np.linspace(0, 40 * np.pi, 1600)
    coil = np.stack([0.3 * t + 1.2 * np.sin(t), 1.2 * np.cos(t)], axis=1)
    apart = build_state_graph_of(ink([coil], seed=1)[0], 300)
    assert apart is not None
    _, net, states = apart
    ahead = max(smooth_walks(net, states), key=len)
    back = [s ^ 1 for s in reversed(ahead)]
    scorer = path_scorer(net, states)
    assert len(others(scorer.context, end_to_end([[*ahead, *back] * 3]), scorer.tip)) == MAX_CHANGES
