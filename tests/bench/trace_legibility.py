"""As which letters drawn letters are read: `python -m tests.bench trace_legibility --data FOLDER --examples FOLDER`.

Fits the network of `skeleton.words.legibility` on letters of words by people for training, whose own letters are known
or found along the pen's path, and of words put together of people's single letters
(`tests.bench.training.joined_words`), in PyTorch (extra `train`); `--device cuda` for a graphics card. FOLDER holds
words as `tests.bench words` takes them and characters as `tests.bench trace` does. The examples are made first, on all
cores, and kept in a folder: where that has some, they are taken. Printed, of people for validation: the share of
letters that are read as themselves, and of those that are likely to be another by ten to one; with `--write FILE` by a
network trained anew, which is kept there.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import date

import numpy as np

from capture.files import write_bytes
from skeleton.words import legibility
from skeleton.words.along_ways import OTHERS
from skeleton.words.legibility import NAMES, ReadingNetwork, likelihoods, network_of
from tests.bench.trace_cuts import SEED, letters_fitted_on, make_examples, options
from tests.bench.training.letter_examples import LetterExamples, load_letters, make_letters
from tests.bench.training.provenance import network_file, provenance

ILLEGIBLE = 0.1
AT_ONCE = 2000


def main(argv: Sequence[str]) -> int:
    """Print scores; return 0."""
    a = options("trace_legibility", __doc__, words=90_000, epochs=60).parse_args(argv)
    make_examples(a, make_letters)
    if a.write:
        write_bytes(a.write, _fitted(load_letters(a.examples / "train"), a))
    _score(load_letters(a.examples / "val"), network_of(a.write) if a.write else legibility.trained())
    return 0


def _fitted(known: LetterExamples, a: argparse.Namespace) -> bytes:
    """Return the file of a network fitted on examples."""
    from tests.bench.training.legibility import fit_reader

    def progress(epoch: int, of: int, loss: float) -> None:
        print(f"  epoch {epoch} of {of}, loss {loss:.4f}", flush=True)

    arrays = fit_reader(known, epochs=a.epochs, seed=SEED, device=a.device, progress=progress)
    data = letters_fitted_on(known.source.tolist(), known.writer.tolist())
    return network_file(arrays, provenance(recipe(a.epochs, len(known.rows)), data, date.today()))


def recipe(epochs: int, letters: int) -> str:
    """Return how the network was fitted."""
    return (
        "Convolutions over letters of words as they were written, cross entropy of their names (AdamW, one cycle, "
        f"running mean); python -m tests.bench trace_legibility --epochs {epochs}; {letters:,} letters"
    )


def _score(others: LetterExamples, network: ReadingNetwork) -> None:
    """Print how many letters are read as themselves."""
    parts = [others.pictures[k : k + AT_ONCE] for k in range(0, len(others.rows), AT_ONCE)]
    told = np.concatenate([likelihoods(network, p.astype(np.float32) / 255) for p in parts])
    own = others.rows % (OTHERS + 1) - 1
    for name in sorted(set(others.source.tolist())):
        mine = others.source == name
        share = told[mine, own[mine]]
        print(
            f"  {name:<12}{mine.sum():>7} letters of {len(NAMES)}  read as themselves "
            f"{(told[mine].argmax(axis=1) == own[mine]).mean():.3f}  as another {(share < ILLEGIBLE).mean():.3f}",
            flush=True,
        )
