"""Which letters were cut rightly out of words, learned: `python -m tests.bench trace_cuts --data FOLDER --examples F`.

Fits the network of `skeleton.words.cut_rightness` on letters cut out of words by people for training and of words put
together of people's single letters (`tests.bench.training.joined_words`), as they are read and as other ways to write
the words would cut them, in PyTorch (extra `train`); `--device cuda` for a graphics card. The letters of words that do
not say where they end are found along the pen's own path. FOLDER holds words as `tests.bench words` takes them and
characters as `tests.bench trace` does. The examples are made first, on all cores, and kept in a folder: where that has
some, they are taken. Printed, of people for validation: the share of letters that overlap the written ones by less than
.65, how well the network and the cost of the word tell them (area under the curve), the network's surprise in nats, and
of how many it says so; with `--write FILE` by a network trained anew, which is kept there.
"""

from __future__ import annotations

import argparse
import itertools
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.files import write_bytes
from skeleton.words import cut_rightness
from skeleton.words.cut_rightness import OVERLAPS, RIGHT, CutNetwork, log_odds, network_of
from tests.bench.people import broken, part, source_of
from tests.bench.trace_data import Case, folder
from tests.bench.training.cut_examples import CutExamples, WrittenWord, load_cuts, make_cuts, texts_to_compose
from tests.bench.training.joined_words import Letters, letters_by_writer
from tests.bench.training.provenance import fitted_on, network_file, provenance
from tests.bench.words import Word, words_of

SEED = 13

LANGUAGES = ("en", "fr", "de", "es", "pl", "cs", "it", "sv", "tr")
MOST_WORDS = 2500
"""Words of each language, the commonest, that are put together."""

CAPITAL = 0.12
"""Share of these words that begin with a capital."""

COMPOSED = 2
"""Words put together for every one that somebody wrote."""

SUITING = 3.0
"""Cost of a word up to which its letters are scored: what is kept of a hand's letters."""


def main(argv: Sequence[str]) -> int:
    """Print scores; return 0."""
    a = options("trace_cuts", __doc__, words=60_000, epochs=30).parse_args(argv)
    make_examples(a, make_cuts)
    if a.write:
        write_bytes(a.write, _fitted(load_cuts(a.examples / "train"), a))
    _score(load_cuts(a.examples / "val"), network_of(a.write) if a.write else cut_rightness.trained())
    return 0


def options(name: str, doc: str | None, *, words: int, epochs: int) -> argparse.ArgumentParser:
    """Return the options of a benchmark whose network is fitted on letters of words."""
    parser = argparse.ArgumentParser(prog=f"tests.bench {name}", description=doc)
    parser.add_argument("--data", type=Path, required=True, help="folder of words and characters")
    parser.add_argument("--examples", type=Path, required=True, help="folder that keeps what was made of them")
    parser.add_argument("--words", type=int, default=words, help="at most this many words")
    parser.add_argument("--minutes", type=float, default=1e6, help="how long to make examples")
    parser.add_argument("--epochs", type=int, default=epochs)
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1, help="processes; all cores if not said")
    parser.add_argument("--device", default="cpu", help="PyTorch's name of where to train: cpu, cuda")
    parser.add_argument("--write", type=Path, help="file to keep a network trained anew in")
    return parser


def make_examples(a: argparse.Namespace, make: Callable[..., None]) -> None:
    """Make the examples that are not there yet; make: takes words, a folder, cores and seconds."""
    for which, most in (("val", a.words // 40), *((("train", a.words),) if a.write else ())):
        if not list((a.examples / which).glob("*.npz")):
            print(f"  making examples of words for the {which} part", flush=True)
            every = list(itertools.islice(words_to_read(a.data, which), most))
            make(every, a.examples / which, cores=a.cores, seconds=60 * a.minutes)


def words_to_read(data: Path, which: str) -> Iterator[WrittenWord]:
    """Yield words by a part's people, without end: one that somebody wrote and some that are put together, in turn.

    data: folder; which: 'train' or 'val'.
    """
    real = [w for w in _words(data) if len(w.text) > 1 and w.text.isalpha() and part("unipen", w.writer) == which]
    made = texts_to_compose(texts(), _letters(data, which), SEED * 10**6)
    rng = np.random.default_rng(SEED)
    number = 0
    while True:
        for i in rng.permutation(len(real)):
            number += 1
            yield WrittenWord("words", number, word=real[i])
            yield from itertools.islice(made, COMPOSED)


def texts() -> list[str]:
    """Return common words of some languages, some of them with a capital."""
    import wordfreq

    rng = np.random.default_rng(SEED)
    every = [w for tag in LANGUAGES for w in wordfreq.top_n_list(tag, MOST_WORDS, "small") if w.isalpha()]
    return [w.capitalize() if rng.random() < CAPITAL else w for w in every if 1 < len(w) < 13]


def _words(data: Path) -> list[Word]:
    return [w for file in sorted(data.glob("*words*.json*")) for w in words_of(file)]


def _letters(data: Path, which: str) -> Letters:
    """Return the single letters of a part's people, by writers' names with that of the data set before them."""
    cases: list[Case] = []
    for name, found in folder(data).items():
        source = source_of(name)
        if source in ("unipen", "digilets"):
            mine = (c for c in found if part(source, c.writer) == which and not broken(source, c.writer))
            cases += [Case(c.name, c.char, c.strokes, c.known, f"{source}/{c.writer}") for c in mine]
    return letters_by_writer(cases)


def _fitted(known: CutExamples, a: argparse.Namespace) -> bytes:
    """Return the file of a network fitted on examples."""
    from tests.bench.training.cuts import fit_cuts

    def progress(epoch: int, of: int, loss: float) -> None:
        print(f"  epoch {epoch} of {of}, loss {loss:.4f}", flush=True)

    arrays = fit_cuts(known, epochs=a.epochs, seed=SEED, device=a.device, progress=progress)
    sources = (s.split(",")[0] for s in known.source.tolist())
    return network_file(
        arrays,
        provenance(
            recipe(a.epochs, len(known.overlap)), letters_fitted_on(sources, known.writer.tolist()), date.today()
        ),
    )


def recipe(epochs: int, letters: int) -> str:
    """Return how the network was fitted."""
    return (
        "Convolutions over letters as they were cut and their neighbours, cross entropy of overlaps with the written "
        f"letter of {OVERLAPS} (AdamW, one cycle, running mean); python -m tests.bench trace_cuts --epochs {epochs}; "
        f"{letters:,} letters"
    )


def letters_fitted_on(sources: Iterable[str], writers: Iterable[str]) -> list[dict[str, str]]:
    """Return what `fitted_on` does of letters, of each its data set and its writer."""
    data = fitted_on(zip(sources, writers, strict=True))
    return [{**d, "part": d["part"].replace("characters", "letters")} for d in data]


def _score(others: CutExamples, network: CutNetwork) -> None:
    """Print how well letters that were cut wrongly are told."""
    odds = log_odds(network, others.pictures.astype(np.float32) / 255, others.measures, others.rows.astype(np.int64))
    right = 1 / (1 + np.exp(-odds[:, RIGHT]))
    wrong, cost = others.overlap < OVERLAPS[RIGHT], others.measures[:, 1]
    for name in sorted(set(others.source.tolist())):
        mine = (others.source == name) & ~(cost > SUITING)
        w, p = wrong[mine], right[mine]
        if not 0 < w.sum() < len(w):
            continue
        surprise = -np.log(np.where(w, 1 - p, p) + 1e-9).mean()
        by_cost = f"{_area(w, cost[mine]):.3f}" if np.isfinite(cost[mine]).all() else "-"
        print(
            f"  {name:<18}{len(w):>7} letters  wrong {w.mean():.3f}  area {_area(w, -p):.3f} (cost {by_cost})"
            f"  nats {surprise:.3f}  said so {(p < 0.5).mean():.3f}  wrong of the others {w[p >= 0.5].mean():.3f}",
            flush=True,
        )


def _area(wrong: NDArray[np.bool_], told: NDArray[np.floating[Any]]) -> float:
    """Return the area under the curve by which what is told finds what is wrong (Mann & Whitney 1947)."""
    rank = np.empty(len(told))
    rank[np.argsort(told, kind="stable")] = np.arange(1, len(told) + 1)
    n = int(wrong.sum())
    return float((rank[wrong].sum() - n * (n + 1) / 2) / (n * (len(wrong) - n)))
