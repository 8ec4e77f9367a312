"""The network that tells where a pen came down, went up, went twice: `python -m tests.bench trace_clues --data FOLDER`.

Characters whose strokes are known are inked, most of them slanted, stretched, bent a little, with several pens and
resolutions; at every place of the ink it is known what the pen did. `--write FILE` trains the network of
`pen_events` anew (PyTorch) and keeps it there with what it was trained on; with UNIPEN and DigiLeTs these are some
140,000 inked characters, for which a graphics card pays (`--device cuda`). `--without K` leaves one part of the
training data out, for `trace_weights --clues`. `--words FILE`: the network for words instead, trained on these and,
since no choice is fitted on what it says, on the characters of all training people. Printed, for people not trained on
(of the large sets the validation part): area under the curve and mean surprise (nats) of the network; for second
passings, of the width of the ink alone as well.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.files import write_bytes
from skeleton.cues import pen_events
from skeleton.cues.local_features_kernels import AROUND
from tests.bench.trace_data import FOLDS
from tests.bench.training.provenance import fitted_on, network_file, provenance
from tests.bench.training.samples import Sample, Written, samples, times_beside_words, written, written_words

Floats = NDArray[np.float64]


def main(argv: list[str]) -> int:
    """Print the scores; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_clues", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--words", type=Path, help="file of words, for the network that reads words")
    parser.add_argument("--write", type=Path, help="file to keep the trained network in")
    parser.add_argument("--without", type=int, choices=range(FOLDS), help="part of the training data to leave out")
    parser.add_argument("--epochs", type=float, default=4.0)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--share", type=float, default=1.0, help="share of the characters, drawn by lot")
    parser.add_argument("--device", default="cpu", help="PyTorch's name of where to train: cpu, cuda")
    a = parser.parse_args(argv)
    lot = np.random.default_rng(a.seed)
    every = written(a.data) + (written_words(a.words) if a.words else [])
    every = [w for w in every if lot.random() < a.share]
    held = list(samples([w for w in every if w.checked], seed=a.seed, times=lambda _: 1))
    network = pen_events.trained(bool(a.words))
    if a.write:
        known = [w for w in every if w.trains or (a.words and w.of_training_part)]
        network = _trained([w for w in known if w.fold != a.without], a)
    for source in sorted({s.source for s in held}):
        _score(source, network, [s for s in held if s.source == source])
    return 0


def _trained(characters: Sequence[Written], a: argparse.Namespace) -> pen_events.Trained:
    from tests.bench.training.network import kept, train

    known = list(samples(characters, seed=a.seed, **({"times": times_beside_words, "broad": True} if a.words else {})))
    print(f"{len(known):,} samples", flush=True)

    def progress(step: int, steps: int, loss: float) -> None:
        print(f"  step {step} of {steps}, loss {loss:.3f}", flush=True)

    arrays = kept(train(known, epochs=a.epochs, seed=a.seed, progress=progress, device=a.device))
    recipe = (
        f"python -m tests.bench trace_clues --epochs {a.epochs:g} --seed {a.seed}"
        + (f" --share {a.share:g}" if a.share < 1 else "")
        + (" --words FILE" if a.words else "")
        + ("" if a.without is None else f" --without {a.without}")
        + f"; {len(known):,} inked characters"
    )
    made = provenance(recipe, fitted_on([(w.source, w.writer) for w in characters]), date.today())
    write_bytes(a.write, network_file(arrays, made))
    return pen_events.network_of(pen_events.arrays(a.write))


def _score(source: str, network: pen_events.Trained, some: Sequence[Sample]) -> None:
    found = [
        pen_events.told(network, s.picture[None] / np.float32(200), s.places, s.headings, s.measured) for s in some
    ]
    for k, name in enumerate(("landed", "lifted")):
        odds = np.concatenate([(c.landed, c.lifted)[k] for c in found])
        _row(source, name, odds, np.concatenate([s.asked[:, k].reshape(-1) for s in some]))
    there = np.concatenate([s.passed > 0 for s in some])
    again = np.concatenate([s.passed > 1 for s in some])[there]
    _row(source, "twice", np.concatenate([c.twice for c in found])[there], again)
    _row(source, "... by width", np.concatenate([s.measured[:, AROUND] for s in some])[there], again, odds=False)


def _row(source: str, name: str, value: Floats, true: NDArray[np.bool_], *, odds: bool = True) -> None:
    from sklearn.metrics import roc_auc_score

    surprise = f"{np.logaddexp(0, np.where(true, -value, value)).mean():.4f} nats" if odds else ""
    print(f"{source:<10}{name:<14}area under the curve {roc_auc_score(true, value):.4f}  {surprise}", flush=True)
