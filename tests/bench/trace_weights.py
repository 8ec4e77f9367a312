"""Weights of the choice between readings: `python -m tests.bench trace_weights --data FOLDER`.

Characters whose strokes are known are inked in several ways; every reading that the tracer considers is compared with
what was written, and a conditional logit (McFadden 1974) is fitted: the log odds of a reading are minus its cost, the
cost is linear in the features of `labelled`. Readings right in path, order and direction are what is
asked for; where there is none, those right in path. With `--unnamed` the character is not told, half the kana and some
kanji are added, only paths are asked for, and the weights are those of `unlabelled`. Printed: held-out scores of
a cross-validation by writer, and the weight of unexplained ink. With `--write` the weights go into their data file.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from capture.files import write_bytes
from skeleton.fitted_values import FittedValues, fitted_values_text
from skeleton.hypotheses import labelled, unlabelled
from skeleton.pipeline import MAX_HYPOTHESES, RESIDUAL_INK_COST
from skeleton.scoring.minimum_bayes_risk import minimum_bayes_risk
from tests.bench.trace_data import FOLDS
from tests.bench.training.examples import Example, examples, tasks
from tests.bench.training.provenance import fitted_on

Floats = NDArray[np.float64]
WEIGHT = {"uji": 2.0, "omniglot": 2.0, "kanjivg": 4.0, "hershey": 5.0, "museum": 6.0, "kana": 6.0, "kanji": 3.0}
SEED = 11


def main(argv: list[str]) -> int:
    """Print scores and weights; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_weights", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--inks", type=int, default=2, help="ways in which every character is inked")
    parser.add_argument("--ridge", type=float, default=0.005)
    parser.add_argument("--share", type=float, default=1.0, help="share of the characters, drawn by lot")
    parser.add_argument("--most", type=int, help="at most this many characters of a data set, drawn by lot")
    parser.add_argument("--checked", action="store_true", help="also score the writers that are not fitted")
    parser.add_argument("--cores", type=int, help="processes; all cores if not said")
    parser.add_argument("--unnamed", action="store_true", help="the readings of characters of which nothing is known")
    parser.add_argument(
        "--clues", type=Path, nargs=FOLDS, help="networks trained without one part of the data each, for that part"
    )
    parser.add_argument(
        "--write", type=Path, nargs="?", const=Path(), help="write the weights: into this file, or where they are used"
    )
    a = parser.parse_args(argv)
    asked = tasks(
        a.data, a.inks, SEED, unnamed=a.unnamed, share=a.share, most=a.most, checked=a.checked, networks=a.clues or ()
    )
    every = list(examples(asked, unnamed=a.unnamed, processes=a.cores))
    module = unlabelled if a.unnamed else labelled
    fitted_weights = report(every, a.ridge, np.append(module.WEIGHTS, RESIDUAL_INK_COST))
    if a.write is not None:
        file = a.write if a.write.name else Path(module.__file__).with_name(f"{Path(module.__file__).stem}_costs.json")
        table = refitted(module.COSTS, fitted_weights[:-1], data_sets_of(every), date.today())
        write_bytes(file, fitted_values_text(table).encode())
        print(f"written: {file}; now look at skeleton/NOTICE")
    return 0


def refitted(before: FittedValues, weights: Floats, fitted_on: Sequence[dict[str, str]], day: date) -> FittedValues:
    """Return a table with other numbers; weights: all columns one after the other, shape (columns * features,)."""
    rows = np.round(weights.reshape(len(before.columns), -1).T, 2) + 0.0
    values = {name: tuple(row) for name, row in zip(before.names, rows.tolist(), strict=True)}
    return replace(before, values=values, fitted_on=tuple(fitted_on), date=day.isoformat())


def data_sets_of(every: Sequence[Example]) -> list[dict[str, str]]:
    """Return name, part and licence of every data set that examples to be fitted come from."""
    return fitted_on((e.source, e.group.split("/", 1)[1]) for e in every if not e.group.endswith("*"))


def report(every: Sequence[Example], ridge: float, used: Floats) -> Floats:
    """Print what the weights in use choose and what fitted ones do held out; return the fitted ones."""
    chosen = [e for e in every if not e.group.endswith("*")]
    held = [e for e in every if e.group.endswith("*")]
    print("in use:")
    rate(every, [used] * len(every))
    trained = [fit([e for e in chosen if e.fold != k], ridge, used) for k in range(FOLDS)]
    print("left out of the fit:")
    rate(chosen, [trained[e.fold] for e in chosen])
    w = fit(chosen, ridge, used)
    if held:
        print("writers never fitted:")
        rate(held, [w] * len(held))
    print(f"weight of unexplained ink: {w[-1]:.1f}")
    return w


def rate(every: Sequence[Example], weights: Sequence[Floats]) -> None:
    """Print the share of characters read right, chosen and among those considered."""
    for source in sorted({e.row for e in every}):
        here = [(e, w) for e, w in zip(every, weights, strict=True) if e.row == source]
        best = [_chosen(e, e.features @ w) for e, w in here]
        paths = np.mean([e.paths[k] for (e, _), k in zip(here, best, strict=True)])
        full = np.mean([e.full[k] for (e, _), k in zip(here, best, strict=True)])
        any_paths, any_full = np.mean([e.paths.any() for e, _ in here]), np.mean([e.full.any() for e, _ in here])
        print(
            f"  {source:<12}{len(here):>5}  paths {paths:.3f} of {any_paths:.3f}   full {full:.3f} of {any_full:.3f}"
            f"   {np.mean([len(e.paths) for e, _ in here]):.1f} readings",
            flush=True,
        )


def _chosen(e: Example, cost: Floats) -> int:
    """Return the reading that the tracer would choose."""
    rank = np.argsort(cost)[:MAX_HYPOTHESES]
    return int(rank[minimum_bayes_risk(lambda i: e.shapes[rank[i]], np.exp(cost.min() - cost[rank]))])


def fit(every: Sequence[Example], ridge: float, used: Floats) -> Floats:
    """Return the weights of greatest likelihood, a ridge towards those in use, per spread of a feature."""
    rows = [(e.features, np.where(e.full, 1.0, 0.15 * e.paths), WEIGHT.get(e.source, 1.0)) for e in every]
    rows = [r for r in rows if r[1].any() and len(r[1]) > 1]
    scale = np.maximum(np.std(np.concatenate([f - f.mean(axis=0) for f, _, _ in rows]), axis=0), 1e-3)
    at = np.cumsum([0, *(len(y) for _, y, _ in rows)])[:-1]
    x = np.concatenate([f for f, _, _ in rows]) / scale
    y = np.concatenate([y for _, y, _ in rows])
    q = np.array([q for _, _, q in rows])
    sizes = np.diff([*at, len(y)])
    centre = used * scale

    def loss(v: Floats) -> tuple[float, Floats]:
        e = -(x @ v)
        e = np.exp(e - np.repeat(np.maximum.reduceat(e, at), sizes))
        z, r = np.add.reduceat(e, at), np.add.reduceat(e * y, at) + 1e-12
        g = np.repeat(q / r, sizes) * e * y - np.repeat(q / z, sizes) * e
        d = v - centre
        return float((q * np.log(z / r)).sum() + ridge * q.sum() * (d @ d)), x.T @ g + 2 * ridge * q.sum() * d

    got = minimize(loss, centre, jac=True, method="L-BFGS-B", options={"maxiter": 500})
    return np.asarray(got.x / scale, float)
