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
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from capture.files import write_bytes
from capture.units import Points, image_from_pixels
from sample_sheets.loose import loose_characters
from sample_sheets.writer.hand import GUEST, KEEPER
from skeleton.cues import pen_events
from skeleton.fitted_values import FittedValues, fitted_values_text
from skeleton.fitting.refinement import fit_context, fit_hypothesis
from skeleton.graph.junctions import Network
from skeleton.hypotheses import labelled, unlabelled
from skeleton.hypotheses.labelled import Hypothesis, candidates
from skeleton.ink.ink_map import InkMap
from skeleton.matching.stroke_distance import Shape, shape_along
from skeleton.matching.template_matching import find_matches
from skeleton.pipeline import MAX_HYPOTHESES, RESIDUAL_INK_COST, build_state_graph_of, models_of, shaped_like
from skeleton.scoring.minimum_bayes_risk import minimum_bayes_risk
from skeleton.states.state_graph import States, draw
from tests.bench.trace_data import FOLDS, LATIN, OTHER_DAY, Case, data_sets, fitted, fold, folder, kanji
from tests.bench.trace_ink import ink
from tests.bench.trace_score import gap, spread

Floats = NDArray[np.float64]
WITHIN_MM = 0.35
WEIGHT = {"uji": 2.0, "omniglot": 2.0, "kanjivg": 4.0, "hershey": 5.0, "museum": 6.0, "kana": 6.0, "kanji": 3.0}
KANJI = (0x4E03, 34, 9)
"""The first that is read, one in how many, and the most strokes."""

SOURCES = {
    "uji": ("UJI Pen Characters (UCI)", "CC BY 4.0"),
    "unipen": ("UNIPEN", "CC BY 4.0"),
    "omniglot": ("Omniglot (B. Lake)", "MIT"),
    "digilets": ("DigiLeTs", "published for research"),
    "kanjivg": ("KanjiVG (U. Apel)", "CC BY-SA 3.0"),
    "kana": ("KanjiVG (U. Apel)", "CC BY-SA 3.0"),
    "kanji": ("KanjiVG (U. Apel)", "CC BY-SA 3.0"),
    "hershey": ("Hershey fonts (NBS SP 424)", "free use with acknowledgement"),
    "museum": ("the project's simulated hands", "MIT"),
}
"""Name and licence of each data set, by the first word of its file's name."""

Apart = tuple[InkMap, Network, States]
Readings = tuple[list[Hypothesis], list[Shape], Floats]
How = Callable[[Apart, str], Readings]


@dataclass(frozen=True, eq=False)
class Example:
    """The readings considered for one inked character."""

    group: str
    """Data set and writer: what a cross-validation leaves out together."""

    char: str
    features: Floats
    """Shape (readings, len(FEATURES) + 1): last, how unlike the ink their strokes are."""

    shapes: list[Shape]
    paths: NDArray[np.bool_]
    full: NDArray[np.bool_]

    @property
    def source(self) -> str:
        """The data set."""
        return self.group.split("/")[0]

    @property
    def fold(self) -> int:
        """The part of the training data that it is in."""
        return fold(*self.group.split("/"), self.char)

    @property
    def row(self) -> str:
        """The row of the table it counts in: writers not fitted stand apart."""
        return self.source + ("*" if self.group.endswith("*") else "")


def main(argv: list[str]) -> int:
    """Print scores and weights; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_weights", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--inks", type=int, default=2, help="ways in which every character is inked")
    parser.add_argument("--ridge", type=float, default=0.005)
    parser.add_argument("--share", type=float, default=1.0, help="share of the characters, drawn by lot")
    parser.add_argument("--checked", action="store_true", help="also score the writers that are not fitted")
    parser.add_argument("--unnamed", action="store_true", help="the readings of characters of which nothing is known")
    parser.add_argument(
        "--clues", type=Path, nargs=FOLDS, help="networks trained without one part of the data each, for that part"
    )
    parser.add_argument(
        "--write", type=Path, nargs="?", const=Path(), help="write the weights: into this file, or where they are used"
    )
    a = parser.parse_args(argv)
    rng = np.random.default_rng(11)
    how = _unnamed if a.unnamed else _named
    every = list(collect(a.data, a.inks, rng, how, share=a.share, checked=a.checked, networks=a.clues))
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
    out = []
    for source in sorted({e.source for e in every}):
        writers = sorted({e.group.split("/")[1] for e in every if e.source == source and not e.group.endswith("*")})
        if not writers:
            continue
        name, licence = SOURCES.get(source, (source, "not stated"))
        chars = sum(e.source == source and not e.group.endswith("*") for e in every)
        part = f"{source}, {chars} inked characters" + (f"; writers {', '.join(writers)}" if any(writers) else "")
        out.append({"name": name, "part": part, "licence": licence})
    return out


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


def collect(
    paths: Iterable[Path],
    inks: int,
    rng: np.random.Generator,
    how: How,
    *,
    share: float = 1.0,
    checked: bool = False,
    networks: Sequence[Path] | None = None,
) -> Iterator[Example]:
    """Yield the readings of every character for fitting, in several inks; `checked`: the others too, marked by `*`.

    `networks` are the clues' for each part of the training data, trained without it: what a network says of strokes
    that it was trained on is worth more than it will ever be again.
    """
    blind = [pen_events.network_of(pen_events.arrays(file)) for file in networks or ()]

    def seen(group: str, char: str, picture: tuple[NDArray[np.uint8], float, list[Points]]) -> Example:
        if not blind or group.endswith("*"):
            return _example(group, char, how, *picture)
        with patch.object(pen_events, "trained", return_value=blind[fold(*group.split("/"), char)]):
            return _example(group, char, how, *picture)

    sets = {k: v for k, v in data_sets().items() if k != "sample hand" and (k != "kana" or how is _unnamed)}
    if how is _unnamed:
        sets["kanji"] = kanji(*KANJI)
    for path in paths:
        sets |= folder(path)
    for name, cases in sets.items():
        source = name.split("_")[0]
        for case in cases:
            used = fitted(source, case.writer, case.char)
            if not (used or checked) or rng.random() > share:
                continue
            for k in range(inks):
                yield seen(f"{source}/{case.writer}{'' if used else '*'}", case.char, _inked(case, rng, k))
    for habits, writer in ((KEEPER, "keeper"), (GUEST, "guest")):
        for c in loose_characters(LATIN, 1, habits=habits, seed=OTHER_DAY):
            if rng.random() < share:
                yield seen(f"museum/{writer}", c.char, (c.grey, 300, list(c.strokes)))


def _inked(case: Case, rng: np.random.Generator, k: int) -> tuple[NDArray[np.uint8], float, list[Points]]:
    dpi = float(rng.choice([200, 300, 300, 400, 600])) if k else 300.0
    pen = float(rng.uniform(0.3, 0.8)) if k else 0.5
    kind = str(rng.choice(["clean", "noisy", "skipping"])) if k else "noisy"
    pressure = float(rng.uniform(0.05, 0.25)) if k else 0.15
    image, off = ink(case.strokes, dpi=dpi, pen_mm=pen, kind=kind, seed=int(rng.integers(1 << 30)), pressure=pressure)
    return image, dpi, [s + off for s in case.strokes]


def _named(ground: Apart, char: str) -> Readings:
    """Return the readings that a tracer who is told the character considers, and their shapes."""
    _, net, states = ground
    models = models_of(char, "right", ())
    every = candidates(net, states, find_matches(net, states, models), models)
    return every, [shape_along(c.end_to_end, states.here) for c in every], _unlike(ground, every)


def _unnamed(ground: Apart, char: str) -> Readings:
    """Return the readings that a tracer who is not told the character considers, and their shapes."""
    _, net, states = ground
    every = unlabelled.readings(net, states)
    return every, [shaped_like(states, every[0].end_to_end, c) for c in every], _unlike(ground, every)


def _unlike(ground: Apart, every: Sequence[Hypothesis]) -> Floats:
    """Return how unlike the ink each reading is, those that are not likely as unlike as the worst."""
    found, net, states = ground
    paper = fit_context(found)
    some = [fit_hypothesis([draw(net, states, w) for w in c.walks], paper).unlike for c in every[:MAX_HYPOTHESES]]
    return np.array(some + [max(some, default=0.0)] * (len(every) - len(some)))


def _example(group: str, char: str, how: How, grey: NDArray[np.uint8], dpi: float, true: list[Points]) -> Example:
    apart = build_state_graph_of(grey, dpi)
    assert apart is not None
    found, net, states = apart
    every, shapes, unlike = how(apart, char)
    want = [spread(s) for s in true]
    paths, full = np.zeros(len(every), bool), np.zeros(len(every), bool)
    for i, c in enumerate(every):
        if len(c.walks) != len(want):
            continue
        got = [spread(image_from_pixels(draw(net, states, w), px_per_mm=found.px_per_mm)) for w in c.walks]
        ahead = np.array([[gap(p, q) for q in want] for p in got]) <= WITHIN_MM
        either = ahead | (np.array([[gap(p[::-1], q) for q in want] for p in got]) <= WITHIN_MM)
        left = list(range(len(want)))
        for row in either:
            hit = next((j for j in left if row[j]), None)
            if hit is not None:
                left.remove(hit)
        paths[i] = not left
        full[i] = paths[i] and (how is _unnamed or bool(np.diag(ahead).all()))
    features = np.column_stack([[c.features for c in every], unlike])
    return Example(group, char, features, shapes, paths, full)
