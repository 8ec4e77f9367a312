"""The network that tells where a pen passed twice: `python -m tests.bench trace_twice --data FOLDER`.

Characters whose strokes are known are inked, some of them slanted, stretched and turned a little, with several pens and
resolutions; at every place of the ink it is known whether a pen passed once or twice. `--write FILE` trains the network
of `skeleton.twice` anew and keeps it there. Printed, for writers not trained on: area under the curve and mean surprise
(nats) of the network in use, of the one trained, and of the width alone.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from capture.units import Points, image_from_pixels
from sample_sheets.loose import loose_characters
from sample_sheets.writer.hand import GUEST, KEEPER
from skeleton.reader import take_apart
from skeleton.twice import features, log_odds, network, widths
from skeleton.twice_kernels import AROUND
from tests.bench.trace_data import LATIN, data_sets, folder
from tests.bench.trace_ink import even, ink
from tests.bench.trace_weights import TRAINED

Floats = NDArray[np.float64]
STEP_MM = 0.05
HIDDEN = (64, 32)


def main(argv: list[str]) -> int:
    """Print the scores; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_twice", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--write", type=Path, help="file to keep the trained network in")
    parser.add_argument("--inks", type=int, default=6, help="ways in which every character is inked for training")
    parser.add_argument("--seed", type=int, default=1)
    a = parser.parse_args(argv)
    rng = np.random.default_rng(a.seed)
    fitted, held = cases(a.data)
    x, twice = places(held, 1, rng)
    print(f"{len(x):,} places of {len(held)} characters, {twice.mean():.3f} passed twice")
    score("width alone", x[:, AROUND], twice)
    if a.write:
        known = places(fitted, a.inks, rng)
        with a.write.open("wb") as f:
            np.savez_compressed(f, allow_pickle=False, **train(*known, seed=a.seed))
        print(f"trained on {len(known[0]):,} places")
        network.cache_clear()
    score("the network", log_odds(x), twice)
    return 0


def cases(paths: Sequence[Path]) -> tuple[list[list[Points]], list[list[Points]]]:
    """Return the strokes (mm, y down) of the characters to train on, and of those to score on."""
    fitted: list[list[Points]] = []
    held: list[list[Points]] = []
    sets = {k: v for k, v in data_sets().items() if k not in ("kana", "sample hand")}
    for path in paths:
        sets |= folder(path)
    for name, found in sets.items():
        trained = TRAINED.get(name.split("_")[0])
        for case in found:
            (fitted if trained is None or case.writer in trained else held).append(list(case.strokes))
    for habits in (KEEPER, GUEST):
        fitted += [list(c.strokes) for c in loose_characters(LATIN, 1, habits=habits)]
    return fitted, held


def places(characters: Sequence[list[Points]], inks: int, rng: np.random.Generator) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the features of every place on the ink of the characters, and whether a pen passed there twice.

    The first ink of every character is the usual one (0.5 mm, 300 dpi, noisy) on its strokes as they are.
    """
    rows = [r for strokes in characters for k in range(inks) for r in _places(strokes, rng, usual=k == 0)]
    return np.concatenate([x for x, _ in rows]), np.concatenate([y for _, y in rows])


def _places(
    strokes: list[Points], rng: np.random.Generator, *, usual: bool
) -> Iterator[tuple[Floats, NDArray[np.bool_]]]:
    dpi, pen, pressure, kind = 300.0, 0.5, 0.15, "noisy"
    if not usual:
        strokes = varied(strokes, rng)
        dpi = float(rng.choice([200, 300, 300, 300, 400, 600]))
        pen = float(rng.uniform(0.3, 0.8)) if rng.random() < 0.6 else 0.5
        pressure = float(rng.uniform(0.03, 0.25))
        kind = str(rng.choice(["noisy", "noisy", "clean", "skipping"]))
    image, off = ink(strokes, dpi=dpi, pen_mm=pen, pressure=pressure, kind=kind, seed=int(rng.integers(1 << 30)))
    apart = take_apart(image, dpi)
    assert apart is not None
    found, net, states = apart
    here, heading = states.here[::2], states.heading[::2]
    told = features(net, widths(found, here, heading), found.pen_px, here, heading, states.first)
    if told is None:
        return
    at = image_from_pixels(here, px_per_mm=found.px_per_mm)
    times = passes([even(s, STEP_MM) + off for s in strokes], at, heading, within=0.6 * pen)
    yield told[times > 0], times[times > 0] > 1


def passes(lines: Sequence[Points], places: Points, headings: Points, *, within: float) -> NDArray[np.int64]:
    """Return how often the lines run through the cross-section of every place, in either direction, shape (places,)."""
    a, b = (np.concatenate([line[k : len(line) - 1 + k] for line in lines]) for k in (0, 1))
    step = (b - a) / np.maximum(np.hypot(*(b - a).T), 1e-9)[:, None]
    out = np.zeros(len(places), np.int64)
    for i, near in enumerate(cKDTree(0.5 * (a + b)).query_ball_point(places, within)):
        along = np.abs(step[near] @ headings[i]) > 0.6
        before, after = ((p[near] - places[i]) @ headings[i] >= 0 for p in (a, b))
        out[i] = int((along & (before != after)).sum())
    return out


def varied(strokes: Sequence[Points], rng: np.random.Generator) -> list[Points]:
    """Return strokes another size, slant, stretch and turn: as another day or another writer would have it."""
    turn, lean, stretch = rng.normal(0, 0.06), rng.normal(0, 0.12), rng.uniform(0.85, 1.18)
    way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    way = rng.uniform(0.75, 1.3) * way @ np.array([[1, lean], [0, 1]]) @ np.diag([stretch, 1 / stretch])
    return [np.asarray(s, float) @ way.T for s in strokes]


def train(x: Floats, twice: NDArray[np.bool_], *, seed: int) -> dict[str, NDArray[np.float32]]:
    """Return the arrays of a network fitted to the places (scikit-learn's multi-layer perceptron)."""
    from sklearn.neural_network import MLPClassifier

    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-6
    net = MLPClassifier(
        HIDDEN, alpha=0.1, batch_size=512, max_iter=60, early_stopping=True, n_iter_no_change=8, random_state=seed
    ).fit(np.clip((x - mean) / spread, -6, 6), twice)
    share = float(twice.mean())
    kept = {"mean": mean, "spread": spread, "at": np.array(np.log(share / (1 - share)))}
    for k, (weights, offsets) in enumerate(zip(net.coefs_, net.intercepts_, strict=True)):
        kept |= {f"weights_{k}": weights, f"offsets_{k}": offsets}
    return {name: np.asarray(values, np.float32) for name, values in kept.items()}


def score(name: str, value: Floats, twice: NDArray[np.bool_]) -> None:
    """Print how well `value` tells places passed twice from others."""
    from sklearn.metrics import roc_auc_score

    print(f"{name:<14} area under the curve {roc_auc_score(twice, value):.4f}", flush=True)
