"""How a pictured character was written, learned: `python -m tests.bench trace_sketches --data FOLDER --write FILE`.

Trains the network of `skeleton.matching.sketches` on people's strokes, in PyTorch (extra `train`); `--device cuda` for
a graphics card. Pictures are drawn as they are needed, each stroke bent anew. Printed, of people of the validation
part: the surprise at what they wrote, the share of characters of which a guess is about right, and the first guess.
`--apart FOLDER` trains three networks besides, each without a third of the people (of what was drawn, of the
characters): what `trace_habits --sketches FOLDER` needs, for a network knows too well whom it was trained on.
"""

from __future__ import annotations

import argparse
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from capture.files import write_bytes
from tests.bench.people import BY_LOT, part
from tests.bench.trace_data import FOLDS, Case, fitted, fold
from tests.bench.training.characters import characters
from tests.bench.training.provenance import fitted_on, network_file, provenance

if TYPE_CHECKING:
    from tests.bench.training.sketching import Drawings, Sketcher

SEED = 3

WEIGHT = {"uji": 3.0, "omniglot": 2.0, "kanjivg": 4.0, "hershey": 6.0}
"""Of a character of these data sets, 1 where not said."""

OFTEN, EVENED = 100, 0.3
"""Of characters of which more were seen each counts less: the power of their number by which."""

Character = tuple[str, Case]


@dataclass(frozen=True)
class Apart:
    """A network that some characters are kept from."""

    name: str
    without: int | None
    """Number of the part of the training data (`trace_data.fold`), None for the network in use."""


def main(argv: Sequence[str]) -> int:
    """Print scores; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace_sketches", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--steps", type=int, default=36_000, help="batches of pictures to learn from")
    parser.add_argument("--device", default="cpu", help="PyTorch's name of where to train: cpu, cuda")
    parser.add_argument("--write", type=Path, required=True, help="file to keep the network in")
    parser.add_argument("--apart", type=Path, help="folder for networks from which a third of the people is kept")
    a = parser.parse_args(argv)
    every = [(source, c) for source, cases in characters(a.data) for _, c in cases if source != "kana"]
    known = [(s, c) for s, c in every if fitted(s, c.writer, c.char)]
    others = [(s, c) for s, c in every if s in BY_LOT and part(s, c.writer) == "val"]
    networks = [Apart(str(a.write), None)]
    if a.apart:
        a.apart.mkdir(parents=True, exist_ok=True)
        networks += [Apart(str(apart_file(a.apart, k)), k) for k in range(FOLDS)]
    for one in networks:
        some = [(s, c) for s, c in known if one.without is None or fold(s, c.writer, c.char) != one.without]
        print(f"  {one.name}: {len(some):,} characters", flush=True)
        write_bytes(Path(one.name), _fitted(some, others, a))
    return 0


def apart_file(folder: Path, number: int) -> Path:
    """Return the file of the network from which a part of the training data was kept."""
    return folder / f"without_{number}.npz"


def _fitted(known: Sequence[Character], others: Sequence[Character], a: argparse.Namespace) -> bytes:
    """Return the file of a network trained on characters; print how it does on others."""
    from tests.bench.training.sketching import fit_sketches, kept

    counts = Counter(_told(c) for _, c in known)
    row = {char: i + 1 for i, char in enumerate(sorted(c for c in counts if len(c) == 1))}

    def progress(step: int, of: int, loss: float) -> None:
        print(f"  step {step} of {of}, loss {loss:.3f}", flush=True)

    drawings = _drawings(known, row, lambda s, char: WEIGHT.get(s, 1.0) / max(counts[char], OFTEN) ** EVENED)
    network = fit_sketches(drawings, len(row) + 1, steps=a.steps, seed=SEED, device=a.device, progress=progress)
    for source in sorted({s for s, _ in others}):
        theirs = [(s, c) for s, c in others if s == source and _told(c) in row]
        _score(source, network, _drawings(theirs, row, lambda *_: 1.0), a.device)
    recipe = (
        "Convolutions over a picture of the character, a mixture of guesses at its strokes (Bishop 1994; AdamW, one "
        f"cycle, running mean); python -m tests.bench trace_sketches --steps {a.steps}; "
        f"{len(drawings.count):,} characters, bent and inked anew at each step"
    )
    made = provenance(recipe, fitted_on((s, c.writer) for s, c in known), date.today())
    return network_file(kept(network, row), made)


def _told(case: Case) -> str:
    return unicodedata.normalize("NFC", case.char)


def _drawings(some: Iterable[Character], row: dict[str, int], weight: Callable[[str, str], float]) -> Drawings:
    from tests.bench.training.sketching import Drawings, drawing

    found = [(d, s, c) for s, c in some if _told(c) in row and (d := drawing(c.strokes)) is not None]
    return Drawings(
        np.stack([d for d, _, _ in found]),
        np.array([len(c.strokes) for _, _, c in found]),
        np.array([row[_told(c)] for _, _, c in found]),
        np.array([weight(s, _told(c)) for _, s, c in found], np.float32),
    )


def _score(source: str, network: Sketcher, others: Drawings, device: str) -> None:
    from tests.bench.training.sketching import scored

    surprise, some, first = scored(network, others, device)
    print(
        f"  {source:<10}{len(others.count):>7} characters  surprise {surprise:.3f}   a guess is right {some:.3f}"
        f"   the first {first:.3f}",
        flush=True,
    )
