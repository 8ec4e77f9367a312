"""Which way to write a word loses least, learned: `python -m tests.bench trace_ways --data FILE [--write FILE]`.

Fits the network of `skeleton.words.lost_line` on ways to write words as they are found in the ink of training people's
words, in PyTorch (extra `train`); `--device cuda` for a graphics card. FILE holds words as `tests.bench words` takes
them. Printed, of people of the validation part: the share of the written line that is passed in the same sequence, and
by how many strokes a word is off, by the way that leaves least unexplained, by the one that the network says loses
least, by both, by both and the number of strokes, and by the best of all. With `--write` by a network trained anew,
which is kept in FILE.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np

from capture.files import write_bytes
from skeleton.words import lost_line
from skeleton.words.lost_line import STROKE, UNEXPLAINED, LostLineNetwork, likely_lost, log_odds_along, network_of
from tests.bench.training.provenance import fitted_on, network_file, provenance
from tests.bench.training.way_examples import WordExample, jobs_of, made
from tests.bench.words import words_of

SEED = 3

ROWS = {"joined": ("cee/", "kar/"), "some joined": ("kai/",), "print": ("art/", "phi/")}


def main(argv: Sequence[str]) -> int:
    """Print scores; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_ways", description=__doc__)
    parser.add_argument("--data", type=Path, required=True, help="file of words")
    parser.add_argument("--inks", type=int, default=3, help="ways in which every word is inked")
    parser.add_argument("--epochs", type=int, default=24)
    parser.add_argument("--channels", type=int, default=64)
    parser.add_argument("--dropout", type=float, default=0.1)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1, help="processes; all cores if not said")
    parser.add_argument("--device", default="cpu", help="PyTorch's name of where to train: cpu, cuda")
    parser.add_argument("--write", type=Path, help="file to keep a network trained anew in")
    a = parser.parse_args(argv)
    words = list(words_of(a.data))
    others = made(jobs_of(words, "val", 1, SEED), a.cores)
    if a.write:
        write_bytes(a.write, _fitted(made(jobs_of(words, "train", a.inks, SEED), a.cores), a))
    _score(others, network_of(a.write) if a.write else lost_line.trained())
    return 0


def _fitted(known: Sequence[WordExample], a: argparse.Namespace) -> bytes:
    """Return the file of a network fitted on ways."""
    from tests.bench.training.lost_lines import fit_lost_lines

    def progress(epoch: int, of: int, loss: float) -> None:
        print(f"  epoch {epoch} of {of}, loss {loss:.4f}", flush=True)

    arrays = fit_lost_lines(
        known, channels=a.channels, dropout=a.dropout, epochs=a.epochs, seed=SEED, device=a.device, progress=progress
    )
    recipe = (
        "Convolutions along ways to write words, cross entropy of lost line and begins, and what the chosen way loses "
        f"(AdamW, one cycle, running mean); python -m tests.bench trace_ways --inks {a.inks} --epochs {a.epochs} "
        f"--channels {a.channels}; {sum(len(w.ways) for w in known):,} ways"
    )
    data = fitted_on(("words", w.writer) for w in known)
    made_of = [{**d, "part": d["part"].replace("characters", "inked words")} for d in data]
    return network_file(arrays, provenance(recipe, made_of, date.today()))


def _score(others: Sequence[WordExample], network: LostLineNetwork) -> None:
    """Print which ways are chosen."""
    for name, writers in ROWS.items():
        mine = [w for w in others if w.writer.startswith(writers)]
        rows: dict[str, list[tuple[float, int]]] = {}
        for word in mine:
            odds = log_odds_along(network, [way.told for way in word.ways])
            said_of = [likely_lost(o) for o in odds]
            lost, begun = np.array([a.sum() for a, _ in said_of]), np.array([b for _, b in said_of])
            left = np.array([way.unexplained for way in word.ways])
            share = np.array([way.way for way in word.ways])
            said = {"unexplained": left, "lost": lost, "best": -share}
            both = lost + UNEXPLAINED * left
            off = np.abs(begun - [way.strokes for way in word.ways])
            said |= {"lost and unexplained": both, "... and strokes": both + STROKE * off}
            for how, cost in said.items():
                best = word.ways[int(np.argmin(cost))]
                rows.setdefault(how, []).append((best.way, abs(best.strokes - word.true_strokes)))
        for how, each in rows.items():
            way, lifts = np.mean(each, axis=0)
            print(f"  {name:<12}{len(mine):>5} words  {how:<24} way {way:.4f}  lifts off {lifts:.3f}", flush=True)
