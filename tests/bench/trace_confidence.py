"""The weights of confidence: `python -m tests.bench trace_confidence --data FOLDER`.

Readings of people on whom nothing else was fitted (the validation part of `tests.bench.people`), with KanjiVG, Hershey
and half of the kana whose character is not told: a logistic regression (Cox 1958) of whether a reading is right in
paths, order and direction on what is known of it. With `--write` the weights go into their data file. Printed: the
reliability of the confidence in use and of the fitted one, cross-validated by writer.
"""

from __future__ import annotations

import argparse
import zlib
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from capture.files import write_bytes
from skeleton.fitted_values import FittedValues, fitted_values_text
from skeleton.pipeline import analyse
from skeleton.scoring import confidence as module
from skeleton.scoring.confidence import LOG_ODDS, Judged, told
from skeleton.scoring.minimum_bayes_risk import minimum_bayes_risk
from skeleton.selection import finish, judge
from tests.bench.people import BY_LOT, broken, source_of
from tests.bench.trace_data import Case, data_sets, fitted, people
from tests.bench.trace_reliability import report
from tests.bench.trace_rows import DISCS, Setting, picture
from tests.bench.trace_score import score
from tests.bench.training.provenance import fitted_on

Floats = NDArray[np.float64]
FOLDS = 5
SEED = 3
RIDGE = 0.5
WEIGHT = {"kanjivg": 2.0, "hershey": 2.0}


@dataclass(frozen=True)
class Judgement:
    """A reading and whether it is right."""

    source: str
    writer: str
    of: Judged
    right: bool

    @property
    def fold(self) -> int:
        """The part of the readings that it is in: people stay together."""
        return zlib.crc32(f"{self.source}/{self.writer}".encode()) % FOLDS


def main(argv: list[str]) -> int:
    """Print reliability tables; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_confidence", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--most", type=int, default=1500, help="at most this many characters of a data set, by lot")
    parser.add_argument("--write", type=Path, nargs="?", const=Path(), help="write the weights: here, or where used")
    parser.add_argument("--cores", type=int, help="processes; all cores if not said")
    a = parser.parse_args(argv)
    every = list(judgements(cases(a.data, a.most), a.cores))
    rows = matrix(every)
    right = np.array([j.right for j in every])
    weight = np.array([WEIGHT.get(j.source, 1.0) for j in every])
    print(report("in use", np.array([module.confidence(j.of) for j in every]), right))
    held = np.empty(len(every))
    folds = np.array([j.fold for j in every])
    # where the readings of one writer are all there is, every reading for itself
    folds = folds if len(set(folds)) == FOLDS else np.arange(len(every)) % FOLDS
    for k in range(FOLDS):
        on = folds != k
        held[~on] = probability(rows[~on], fit(rows[on], right[on], weight[on]))
    print(report("fitted, people left out of the fit", held, right))
    if a.write is not None:
        file = a.write if a.write.name else Path(module.__file__).with_name("confidence_log_odds.json")
        table = refitted(fit(rows, right, weight), fitted_on([(j.source, j.writer) for j in every]), date.today())
        write_bytes(file, fitted_values_text(table).encode())
        print(f"written: {file}; now look at skeleton/NOTICE")
    return 0


def cases(paths: Sequence[Path], most: int) -> list[tuple[str, Case]]:
    """Return the characters to be read, each with its data set: nobody's on whom anything was fitted, nor left out."""
    sets = {k: v for k, v in data_sets().items() if k != "sample hand"}
    sets["kana"] = [c for c in sets["kana"] if fitted("kana", "", c.char)]
    for path in paths:
        sets |= {k: v for k, v in people(path, "val").items() if source_of(k) in BY_LOT}
    rng = np.random.default_rng(SEED)
    kept = []
    for name, cases in sets.items():
        source = source_of(name)
        every = [c for c in cases if not broken(source, c.writer)]
        some = sorted(rng.choice(len(every), min(most, len(every)), replace=False))
        kept += [(source, every[i]) for i in some]
    return kept


def judgements(every: Sequence[tuple[str, Case]], processes: int | None = None) -> Iterator[Judgement]:
    """Yield what is known of the reading of every character that left any ink; `processes`: all cores if not said."""
    numbered = [(source, case, i) for i, (source, case) in enumerate(every)]
    if processes == 1:
        yield from (j for j in map(_judgement, numbered) if j is not None)
        return
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        yield from (j for j in pool.map(_judgement, numbered, chunksize=16) if j is not None)


def _judgement(numbered: tuple[str, Case, int]) -> Judgement | None:
    source, case, number = numbered
    setting = Setting(kind=DISCS)
    image, off = picture(case, setting, number)
    found = analyse(image, setting.dpi, case.char if case.known else None)
    if found is None or not found.options:
        return None
    cost = np.array([o.cost for o in found.options])
    odds = np.exp(cost.min() - cost)
    option = found.options[minimum_bayes_risk(lambda i: found.options[i].shape, odds)]
    strokes = finish(option, found)
    of, _ = judge(found, option, strokes, odds)
    result = score([s.points_mm for s in strokes], [s + off for s in case.strokes], setting.pen_mm)
    return Judgement(source, case.writer, of, result.full)


def matrix(every: Sequence[Judgement]) -> Floats:
    """Return the features of readings, shape (readings, features), in the order of the fitted table."""
    return np.array([[told(j.of)[name] for name in LOG_ODDS.names] for j in every])


def probability(rows: Floats, weights: Floats) -> Floats:
    """Return the probability of being right, shape (readings,)."""
    out: Floats = 1 / (1 + np.exp(-(rows @ weights)))
    return out


def fit(rows: Floats, right: NDArray[np.bool_], weight: Floats) -> Floats:
    """Return the log odds of greatest likelihood, shape (features,), a ridge on all but the first, the constant."""
    sign = np.where(right, 1.0, -1.0)
    ridge = np.full(rows.shape[1], RIDGE)
    ridge[0] = 0.0

    def loss(w: Floats) -> tuple[float, Floats]:
        margin = sign * (rows @ w)
        slope = -weight * sign / (1 + np.exp(margin))
        return float(weight @ np.logaddexp(0, -margin) + 0.5 * ridge @ (w * w)), rows.T @ slope + ridge * w

    return np.asarray(minimize(loss, np.zeros(rows.shape[1]), jac=True, method="L-BFGS-B").x, float)


def refitted(weights: Floats, data: Sequence[dict[str, str]], day: date) -> FittedValues:
    """Return the table in use with other log odds, where they come from, and the day."""
    values = {name: (float(w),) for name, w in zip(LOG_ODDS.names, np.round(weights, 3) + 0.0, strict=True)}
    recipe = (
        f"Logistic regression, ridge {RIDGE}; readings of people on whom neither the pen-event network nor the choice "
        "was fitted (the validation part of tests.bench.people), 0.5 mm, 300 dpi, ink of a drawing library's discs; "
        "KanjiVG and Hershey count twice; python -m tests.bench trace_confidence"
    )
    return replace(LOG_ODDS, values=values, recipe=recipe, fitted_on=tuple(data), date=day.isoformat())
