"""How people write, learned: `python -m tests.bench trace_habits --data FOLDER --examples FOLDER`.

Fits the network of `skeleton.scoring.writing_habits` on the readings considered for people's characters (after
`trace_weights`: the linear costs are what the network adds to), in PyTorch (extra `train`), on a graphics card where
there is one. The examples are made first, on all cores, and kept in a folder: where that has some, they are taken.
Printed: the share of characters read right by the linear costs and by the network, of people of the validation part, in
the usual ink and in another. `--write FILE` keeps the network there with what it was fitted on. `--on` goes on with the
network in use, on other examples: a small rate and a few epochs.
"""

from __future__ import annotations

import argparse
import json
import os
from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np

from capture.files import write_bytes
from skeleton.matching.sketches import network_of
from skeleton.scoring import writing_habits
from skeleton.small_networks import PROVENANCE
from tests.bench.trace_data import FOLDS
from tests.bench.trace_sketches import apart_file
from tests.bench.training.choices import Choices, load, make, written
from tests.bench.training.provenance import fitted_on, network_file, provenance

WEIGHT = {"digilets": 1.5, "uji": 3.0, "omniglot": 2.0, "kanjivg": 4.0, "hershey": 6.0, "museum": 40.0}
"""Of data sets, 1 where not said; the museum's are read in their own ink alone."""

WEIGHT_ON = {"kanjivg": 4.0, "hershey": 6.0, "museum": 5.0}
"""The same where a fit goes on, on a few characters of people and all that were drawn."""

SEED = 12
FEWEST = 12
"""Characters of which fewer were seen are not told apart."""

CHECKED_INKS = 2


def main(argv: list[str]) -> int:
    """Print scores; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_habits", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--examples", type=Path, required=True, help="folder that keeps what was read")
    parser.add_argument("--inks", type=int, default=2, help="ways in which every character is inked at most")
    parser.add_argument("--minutes", type=float, default=1e6, help="how long to make examples")
    parser.add_argument("--epochs", type=int, default=8)
    parser.add_argument("--rate", type=float, default=2e-3, help="of learning, at its highest")
    parser.add_argument("--on", action="store_true", help="go on with the network in use")
    parser.add_argument("--most", type=int, help="at most this many characters of a set of people in each ink, by lot")
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1, help="processes; all cores if not said")
    parser.add_argument("--write", type=Path, help="file to keep the network in")
    parser.add_argument("--sketches", type=Path, help="folder of networks of `trace_sketches --apart`")
    a = parser.parse_args(argv)
    networks = [network_of(apart_file(a.sketches, k)) for k in range(FOLDS)] if a.sketches else []
    for part, inks in (("val", CHECKED_INKS), ("train", a.inks)):
        if not list((a.examples / part).glob("*.npz")):
            print(f"  reading characters for the {part} part", flush=True)
            every = written(a.data, (part,), inks, SEED, a.most)
            apart = networks if part == "train" else ()
            make(every, a.examples / part, cores=a.cores, seconds=60 * a.minutes, networks=apart)
    known, others = load(a.examples / "train"), load(a.examples / "val")
    made = fitted(known, others, a)
    if a.write:
        write_bytes(a.write, made)
    return 0


def fitted(known: Choices, others: Choices, a: argparse.Namespace) -> bytes:
    """Return the file of a network fitted on examples; print how it reads others."""
    from tests.bench.training.habits import fit, kept, rated, ready

    begun = writing_habits.trained() if a.on else None
    counts = Counter(known.char.tolist())
    row = {c: i + 1 for i, c in enumerate(sorted(c for c, n in counts.items() if n >= FEWEST))}
    if begun is not None:
        row = {ord(c): i + 1 for c, i in begun.row.items()}

    def progress(epoch: int, of: int, loss: float) -> None:
        print(f"  epoch {epoch} of {of}, loss {loss:.3f}", flush=True)

    weights = WEIGHT_ON if a.on else WEIGHT
    told = ready(known, row, weights)
    network = fit(told, len(row) + 1, epochs=a.epochs, seed=SEED, progress=progress, rate=a.rate, begun=begun)
    _rate(others, rated(network, ready(others, row, {}, all_unseen=True)))
    options = f"--inks {a.inks}" + (f" --most {a.most}" if a.most else "") + f" --epochs {a.epochs} --rate {a.rate:g}"
    options += (" --sketches FOLDER" if a.sketches else "") + (" --on" if a.on else "")
    recipe = (
        "Conditional logit (McFadden 1974) over the readings considered for each character, what the network adds to "
        f"their linear costs (AdamW, one cycle); python -m tests.bench trace_habits {options}; "
        f"{len(known.counts):,} inked characters"
    )
    data = fitted_on(zip(known.source.tolist(), known.writer.tolist(), strict=True))
    if a.on:
        before = json.loads(_provenance())
        recipe += f"; what went on was: {before['recipe']}"
        data += before["fitted_on"]
    return network_file(kept(network, row), provenance(recipe, data, date.today()))


def _rate(others: Choices, scores: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> None:
    for source in sorted(set(others.source.tolist())):
        for k in range(CHECKED_INKS):
            mine = scores[(others.source == source) & (others.ink == k)]
            if len(mine):
                p, q, f, g, considered = mine.mean(axis=0)
                print(
                    f"  {source:<10}ink {k}{len(mine):>7}  paths {p:.3f} to {q:.3f}   full {f:.3f} to {g:.3f}"
                    f" of {considered:.3f}",
                    flush=True,
                )


def _provenance() -> str:
    with np.load(Path(writing_habits.__file__).with_name(writing_habits.NAME)) as now:
        return bytes(now[PROVENANCE]).decode()
