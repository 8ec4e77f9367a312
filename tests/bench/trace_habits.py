"""How people write, learned: `python -m tests.bench trace_habits --data FOLDER`.

Fits the network of `skeleton.scoring.writing_habits` on the readings considered for people's characters (as
`trace_weights` does, after it: the linear costs are what the network adds to), in PyTorch (extra `train`). Printed: the
share of characters read right by the linear costs and by the network, of people on whom it was not fitted (marked `*`)
and of the small sets. `--write FILE` keeps the network there with what it was fitted on.
"""

from __future__ import annotations

import argparse
import io
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.files import write_bytes
from skeleton.hypotheses.labelled import NAMES, WEIGHTS
from skeleton.pipeline import MAX_HYPOTHESES, MAX_JUDGED_READINGS, RESIDUAL_INK_COST
from skeleton.scoring import writing_habits
from skeleton.scoring.minimum_bayes_risk import minimum_bayes_risk
from tests.bench.training.examples import Example, examples, tasks
from tests.bench.training.provenance import fitted_on, provenance

Floats = NDArray[np.float64]
WEIGHT = {"uji": 3.0, "omniglot": 3.0, "kanjivg": 4.0, "hershey": 6.0, "museum": 20.0}
SEED = 11
FEWEST = 8
"""Characters of which fewer were seen are not told apart."""


def main(argv: list[str]) -> int:
    """Print scores; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_habits", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--inks", type=int, default=1, help="ways in which every character is inked")
    parser.add_argument("--most", type=int, help="at most this many characters of a data set, drawn by lot")
    parser.add_argument("--epochs", type=int, default=8)
    parser.add_argument("--cores", type=int, help="processes; all cores if not said")
    parser.add_argument(
        "--of-network", type=int, default=0, help="so many characters of a set, by lot, of the network's people besides"
    )
    parser.add_argument("--write", type=Path, help="file to keep the network in")
    a = parser.parse_args(argv)
    asked = tasks(a.data, a.inks, SEED, most=a.most, checked=True, of_network=a.of_network)
    every = list(examples(asked, processes=a.cores))
    network = writing_habits.trained()
    if a.write:
        made = fitted([e for e in every if not e.group.endswith("*")], a)
        write_bytes(a.write, made)
        network = writing_habits.habits_of(a.write)
    rate(every, network)
    return 0


def fitted(known: Sequence[Example], a: argparse.Namespace) -> bytes:
    """Return the file of a network fitted on examples."""
    from tests.bench.training.habits import choices, fit, kept

    counts: dict[str, int] = {}
    for e in known:
        counts[e.char] = counts.get(e.char, 0) + 1
    row = {c: i + 1 for i, c in enumerate(sorted(c for c, n in counts.items() if n >= FEWEST and len(c) == 1))}

    def progress(epoch: int, epochs: int, loss: float) -> None:
        print(f"  epoch {epoch} of {epochs}, loss {loss:.3f}", flush=True)

    network = fit(choices(known, row, WEIGHT), len(row) + 1, epochs=a.epochs, seed=SEED, progress=progress)
    recipe = (
        "Conditional logit (McFadden 1974) over the readings considered for each character, what the network adds to "
        f"their linear costs (AdamW, one cycle); python -m tests.bench trace_habits --inks {a.inks} --epochs {a.epochs}"
        + (f" --most {a.most}" if a.most else "")
        + (f" --of-network {a.of_network}" if a.of_network else "")
        + f"; {len(known):,} inked characters"
    )
    made = provenance(recipe, fitted_on((e.source, e.group.split("/", 1)[1]) for e in known), date.today())
    buffer = io.BytesIO()
    told = np.frombuffer(made.encode(), np.uint8)
    np.savez_compressed(buffer, allow_pickle=False, **kept(network, row), **{writing_habits.PROVENANCE: told})
    return buffer.getvalue()


def rate(every: Sequence[Example], network: writing_habits.Habits) -> None:
    """Print the share of characters read right without and with a network, and among those considered."""
    from tests.bench.training.habits import told

    rows: dict[str, list[tuple[bool, ...]]] = {}
    half = len(NAMES)
    for e in every:
        linear = e.features[:, : 2 * half] @ WEIGHTS
        first = np.argsort(linear, kind="stable")[:MAX_JUDGED_READINGS]
        before = (linear + RESIDUAL_INK_COST * e.features[:, -1])[first]
        shapes = [e.shapes[i] for i in first]
        after = before + writing_habits.costs_by(network, e.char, shapes, told(e.features[first]))
        one, other = (int(first[_chosen(cost, e, first)]) for cost in (before, after))
        rows.setdefault(e.row, []).append((e.paths[one], e.paths[other], e.full[one], e.full[other], e.full.any()))
    for name in sorted(rows):
        p, q, f, g, any_full = np.mean(rows[name], axis=0)
        print(
            f"  {name:<12}{len(rows[name]):>6}  paths {p:.3f} to {q:.3f}   full {f:.3f} to {g:.3f} of {any_full:.3f}",
            flush=True,
        )


def _chosen(cost: Floats, e: Example, first: NDArray[np.int64]) -> int:
    rank = np.argsort(cost, kind="stable")[:MAX_HYPOTHESES]
    odds = np.exp(cost.min() - cost[rank])
    return int(rank[minimum_bayes_risk(lambda i: e.shapes[first[rank[i]]], odds)])
