"""Weights of the evidence for a line passed twice: `python -m tests.bench trace_widths --data FOLDER`.

At every place of characters whose strokes are known, a logistic regression of whether a pen passed there twice on what
the ink's width tells (`skeleton.evidence.width_features`). Printed: area under the curve, then the weights to paste.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from scipy.stats import mannwhitneyu

from capture.units import image_from_pixels
from skeleton.evidence import TWICE, width_features, widths
from skeleton.graph import build_graph
from skeleton.ink_map import find_ink
from skeleton.network import build_network
from skeleton.repair import repair
from skeleton.walk import build_states
from tests.bench.trace_data import Case, folder
from tests.bench.trace_ink import even, ink
from tests.bench.trace_weights import TRAINED

Floats = NDArray[np.float64]
STEP_MM = 0.05
NEAR_MM = 0.25
APART = 15
"""Steps along the stroke between two passings of a place."""


def main(argv: list[str]) -> int:
    """Print the areas and the weights; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_widths", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", required=True, help="file or folder of stroke files")
    parser.add_argument("--every", type=int, default=2, help="only every so manieth character")
    a = parser.parse_args(argv)
    fitted: list[Case] = []
    held: list[Case] = []
    for path in a.data:
        for name, cases in folder(path).items():
            for case in cases[:: a.every]:
                (fitted if case.writer in TRAINED.get(name.split("_")[0], ()) else held).append(case)
    x, twice = places(fitted, np.random.default_rng(1))
    weights, at = fit(x, twice)
    print(f"fitted {area(x @ weights, twice):.3f}")
    x, twice = places(held, np.random.default_rng(2))
    print(f"held out {area(x @ weights, twice):.3f}, in use {area(x @ np.array(list(TWICE.values())), twice):.3f}")
    for name, w in zip(TWICE, weights, strict=True):
        print(f'"{name}": {w:.3f},')
    print(f"TWICE_AT = {at:.2f}")
    return 0


def places(cases: list[Case], rng: np.random.Generator) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the features of every place on the ink of the cases, and whether the pen passed there twice."""
    features: list[Floats] = []
    twice: list[bool] = []
    for i, case in enumerate(cases):
        usual = i % 2 == 0
        pen, pressure = (0.5, 0.15) if usual else (float(rng.uniform(0.3, 0.8)), float(rng.uniform(0.03, 0.25)))
        image, off = ink(case.strokes, pen_mm=pen, pressure=pressure, seed=int(rng.integers(1 << 30)))
        found = find_ink(image, 300)
        assert found is not None
        net = build_network(repair(build_graph(found), found), found)
        states = build_states(net, found, 0.5 * found.pen_px)
        told = width_features(widths(found, states.here[::2], states.heading[::2]), states.first)
        if told is None:
            continue
        lines = [even(s, STEP_MM) + off for s in case.strokes]
        when = np.concatenate([np.arange(len(s)) + 1000 * k for k, s in enumerate(lines)])
        here = image_from_pixels(states.here[::2], px_per_mm=found.px_per_mm)
        for row, near in zip(told, cKDTree(np.concatenate(lines)).query_ball_point(here, NEAR_MM), strict=True):
            if near:
                features.append(row)
                twice.append(bool((np.diff(np.sort(when[near])) > APART).any()))
    return np.array(features, float), np.array(twice, bool)


def fit(x: Floats, twice: NDArray[np.bool_]) -> tuple[Floats, float]:
    """Return the weights and the log odds at 0 of a place that is passed twice as often as not."""
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-9
    rows = np.column_stack([np.ones(len(x)), (x - mean) / spread])
    y = twice.astype(float)

    def loss(v: Floats) -> tuple[float, Floats]:
        z = rows @ v
        slope = rows.T @ (1 / (1 + np.exp(-z)) - y)
        slope[1:] += 2 * v[1:]
        return float((np.logaddexp(0, z) - y * z).sum() + (v[1:] ** 2).sum()), slope

    v = minimize(loss, np.zeros(rows.shape[1]), jac=True, method="L-BFGS-B").x
    share = float(y.mean())
    return v[1:] / spread, float(v[0] - (v[1:] * mean / spread).sum() - np.log(share / (1 - share)))


def area(value: Floats, twice: NDArray[np.bool_]) -> float:
    """Return the area under the curve of true against false positives (Mann and Whitney 1947)."""
    pairs = int(twice.sum()) * int((~twice).sum())
    return float(mannwhitneyu(value[twice], value[~twice]).statistic) / max(pairs, 1)
