"""Where strokes begin and end, learned: `python -m tests.bench trace_ends --data FOLDER --examples FOLDER`.

Fits the network of `skeleton.fitting.end_lengths` on the ends of people's strokes as they are read (after
`trace_habits`: what is read decides which ends there are), in PyTorch (extra `train`); `--device cuda` for a graphics
card. The examples are made first, on all cores, and kept in a folder: where that has some, they are taken. Printed, of
people of the validation part: the share of the strokes found that are right, before and after their ends were moved;
with `--write FILE` by a network trained anew, which is kept there with what it was fitted on.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np

from capture.files import write_bytes
from skeleton.fitting import end_lengths
from skeleton.fitting.end_lengths import EndNetwork, likeliest_shifts, network_of, shift_odds
from skeleton.fitting.end_pictures import MOST
from tests.bench.training.choices import written
from tests.bench.training.end_examples import EndExamples, load_ends, make_ends
from tests.bench.training.provenance import fitted_on, network_file, provenance

SEED = 12
FEWEST = 200
"""Ends of a character of which fewer were seen it is not told apart."""

CHECKED_INKS = 2


def main(argv: Sequence[str]) -> int:
    """Print scores; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_ends", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--examples", type=Path, required=True, help="folder that keeps what was read")
    parser.add_argument("--inks", type=int, default=6, help="ways in which every character is inked at most")
    parser.add_argument("--minutes", type=float, default=1e6, help="how long to make examples")
    parser.add_argument("--most", type=int, help="at most this many characters of people in each ink, by lot")
    parser.add_argument("--epochs", type=int, default=20)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1, help="processes; all cores if not said")
    parser.add_argument("--device", default="cpu", help="PyTorch's name of where to train: cpu, cuda")
    parser.add_argument("--write", type=Path, help="file to keep a network trained anew in")
    a = parser.parse_args(argv)
    parts = (("val", CHECKED_INKS), ("train", a.inks)) if a.write else (("val", CHECKED_INKS),)
    for part, inks in parts:
        if not list((a.examples / part).glob("*.npz")):
            print(f"  reading characters for the {part} part", flush=True)
            every = written(a.data, (part,), inks, SEED, a.most)
            make_ends(every, a.examples / part, cores=a.cores, seconds=60 * a.minutes)
    if a.write:
        write_bytes(a.write, _fitted(load_ends(a.examples / "train"), a))
    _score(load_ends(a.examples / "val"), network_of(a.write) if a.write else end_lengths.trained())
    return 0


def _fitted(known: EndExamples, a: argparse.Namespace) -> bytes:
    """Return the file of a network fitted on examples."""
    from tests.bench.training.ends import fit_ends

    counts = Counter(known.char.tolist())
    row = {c: i + 1 for i, c in enumerate(sorted(c for c, n in counts.items() if n >= FEWEST))}

    def progress(epoch: int, of: int, loss: float) -> None:
        print(f"  epoch {epoch} of {of}, loss {loss:.3f}", flush=True)

    arrays = fit_ends(known, row, epochs=a.epochs, seed=SEED, device=a.device, progress=progress)
    recipe = (
        "Convolutions over the ink about the ends of strokes, cross entropy of where they lie (AdamW, one cycle, "
        f"running mean); python -m tests.bench trace_ends --inks {a.inks} --epochs {a.epochs}; "
        f"{len(known.shift):,} ends"
    )
    data = fitted_on(zip(known.source.tolist(), known.writer.tolist(), strict=True))
    made = provenance(recipe, [{**d, "part": d["part"].replace("characters", "ends")} for d in data], date.today())
    return network_file(arrays, made)


def _score(others: EndExamples, network: EndNetwork) -> None:
    """Print how many strokes are right, before and after their ends are moved."""
    seen = np.flatnonzero(~others.perturbed)
    shifts = np.zeros(len(seen), int)
    for i, at in enumerate(seen):
        one = slice(at, at + 1)
        pictures = others.pictures[one].astype(np.float32)
        odds = shift_odds(network, chr(others.char[at]), pictures, others.measures[one])
        shifts[i] = likeliest_shifts(odds, float(others.point_mm[at]))[0]
    begin, end = shifts[::2] + MOST, shifts[1::2] + MOST
    number = np.arange(len(others.gaps))
    before, after = others.gaps[:, MOST, MOST] <= 1, others.gaps[number, begin, end] <= 1
    source = others.source[seen][::2]
    for name in sorted(set(source.tolist())):
        mine = source == name
        won, lost = (after & ~before)[mine].sum(), (before & ~after)[mine].sum()
        print(
            f"  {name:<10}{mine.sum():>7} strokes  right {before[mine].mean():.4f} to {after[mine].mean():.4f}"
            f"   won {won}, lost {lost}",
            flush=True,
        )
