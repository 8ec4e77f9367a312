"""Where a pen passed twice, and what it changes in the reading."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels
from skeleton import trace
from skeleton.geometry.polyline import line_length
from skeleton.geometry.stroke import Stroke
from skeleton.hypotheses.forms_sought import models_of
from skeleton.hypotheses.labelled import candidates
from skeleton.matching.stroke_distance import OTHER_COUNT, Shape, shape_of, stroke_distances
from skeleton.matching.template_matching import find_matches
from skeleton.pipeline import build_state_graph_of, read
from skeleton.scoring.path_features import path_scorer
from skeleton.states.state_graph import draw
from tests.bench.trace_ink import ink

Floats = NDArray[np.float64]


def landing_hook(length: float, aside: float) -> Points:
    """Return a stem of 7 mm that lands `length` under its top, goes up, and comes down `aside` of its own line."""
    return np.array([[aside, length], [0.6 * aside, 0.4 * length], [0.0, 0.0], [0.0, 3.5], [0.1, 7.0]])


def told(strokes: list[Points], dpi: float) -> tuple[Floats, Floats]:
    """Return heights (mm from the top of the strokes) and log odds of the places on their ink."""
    grey, off = ink(strokes, dpi=dpi, seed=3)
    apart = build_state_graph_of(grey, dpi)
    assert apart is not None
    found, _, states = apart
    at = image_from_pixels(states.here[::2], px_per_mm=found.px_per_mm) - off
    return at[:, 1], states.doubled


@pytest.mark.parametrize("dpi", [200, 300, 600])
def test_a_retrace_a_sixth_of_a_pen_aside_is_told_from_a_single_line(dpi: float) -> None:
    height, odds = told([landing_hook(1.6, 0.17)], dpi)
    hook, rest = (height > 0.3) & (height < 1.3), (height > 2.3) & (height < 6.5)
    assert odds[hook].mean() > 0 > odds[rest].mean()
    assert odds[hook].mean() > odds[rest].mean() + 2


def test_a_line_drawn_once_is_not_taken_for_two() -> None:
    height, odds = told([np.array([[0.0, 0.0], [0.0, 3.5], [0.1, 7.0]])], 300)
    assert (odds[height > 0.3] < 0).mean() > 0.9


def length(strokes: list[Stroke]) -> float:
    return sum(s.length_mm for s in strokes)


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_a_landing_hook_is_read_as_the_pen_made_it(seed: int) -> None:
    line = landing_hook(1.6, 0.4)
    grey, _ = ink([line], seed=seed)
    assert length(trace(grey, 300, "l")) == pytest.approx(np.hypot(*np.diff(line, axis=0).T).sum(), abs=0.6)


def test_a_ring_whose_end_runs_on_over_its_beginning_is_among_the_readings_to_its_end() -> None:
    turn = np.deg2rad(np.linspace(-40, 355, 90))
    wide = np.linspace(0.95, 1.02, 90)
    ring = np.stack([2.4 * wide * -np.sin(turn), 3.2 * wide * -np.cos(turn)], axis=1)
    grey, _ = ink([ring], seed=6)
    apart = build_state_graph_of(grey, 300)
    assert apart is not None
    found, *ground = apart
    models = models_of("O", "right", ())
    every = candidates(path_scorer(*ground), find_matches(*ground, models), models)
    drawn = [draw(*ground, c.walks[0]) / found.px_per_mm for c in every if len(c.walks) == 1]
    assert min(line_length(line) for line in drawn) < 17.8, "a ring that is simply closed"
    reading = read(grey, 300, "O", handedness="right", known=(), alternatives=11)
    lengths = [length(list(r.strokes)) for r in (reading, *reading.candidates) if len(r.strokes) == 1]
    assert any(n == pytest.approx(np.hypot(*np.diff(ring, axis=0).T).sum(), rel=0.05) for n in lengths)


def test_disagreement_is_numpys_mean_distance_by_length() -> None:
    rng = np.random.default_rng(3)
    a, b = (shape_of([rng.uniform(0, 1, (9, 2)) for _ in range(2)]) for _ in range(2))
    each = np.hypot(*np.moveaxis(a.strokes - b.strokes, -1, 0)).mean(axis=1)
    weight = 0.5 * (a.lengths + b.lengths) + 0.25 / 2

    assert stroke_distances([a], [b])[0, 0] == pytest.approx(min(np.average(each, weights=weight), OTHER_COUNT))


def test_disagreement_is_a_distance_and_a_constant_between_unlike_numbers_of_strokes() -> None:
    rng = np.random.default_rng(1)
    shapes: list[Shape] = [shape_of([rng.uniform(0, 1, (9, 2)) for _ in range(n)]) for n in (1, 1, 2, 2, 3)]
    d = stroke_distances(shapes, shapes)
    np.testing.assert_allclose(d, d.T)
    assert (np.diag(d) == 0).all()
    counts = np.array([len(s.strokes) for s in shapes])
    assert (d[counts[:, None] != counts] == OTHER_COUNT).all()
    assert (d[(counts[:, None] == counts) & ~np.eye(5, dtype=bool)] > 0).all()
