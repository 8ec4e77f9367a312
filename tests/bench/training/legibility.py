"""Letters of words as they are drawn; fits the network of `legibility` to them in PyTorch (extra `train`)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from capture.units import Points
from skeleton.words.along_ways import OTHERS, row_of
from skeleton.words.legibility import STRIDES
from skeleton.words.letter_pictures import ROWS, SIZE, picture_of
from tests.bench.training.cut_examples import WrittenWord
from tests.bench.training.example_files import load_files, make_files
from tests.bench.training.joined_words import composed
from tests.bench.training.letter_forms import X_HEIGHT_MM, found_on_path
from tests.bench.training.weights import Course, fitted, kept_layers
from tests.bench.words import Word

CHANNELS, KERNELS = (24, 40, 48), (5, 3, 3)
HIDDEN = 96
DROPOUT = 0.3
COURSE = Course(rate=2e-3, decay=0.1, batch=1024, first_steps=500)

STRETCH, LEAN, TILT, SHIFT = (0.08, 0.06), 0.1, 0.04, 0.03
"""Standard deviations of how pictures are changed as the network is trained: of the logarithms of width and height, of
slant and slope, and of a shift, in halves of a picture."""


@dataclass(frozen=True, eq=False)
class LetterExamples:
    """Letters of words as they were written."""

    pictures: NDArray[np.uint8]
    """Shape (letters, SIZE, SIZE), 255 for line."""

    rows: NDArray[np.int16]
    """Shape (letters,): see `along_ways.row_of`."""

    source: NDArray[np.str_]
    writer: NDArray[np.str_]


def make_letters(every: Sequence[WrittenWord], where: Path, *, cores: int, seconds: float) -> None:
    """Draw the letters of words for some time, and write them to files in a folder."""
    make_files(every, examples_of, where, cores=cores, seconds=seconds)


def load_letters(where: Path) -> LetterExamples:
    """Return what `make_letters` wrote into a folder."""
    return load_files(LetterExamples, where)


def examples_of(one: WrittenWord) -> list[LetterExamples]:
    """Return the letters a to z of a word; none where it is not known which line belongs to which."""
    word = one.word or composed(one.text, one.letters or {}, np.random.default_rng(one.seed))
    letters = on_the_line(word, put_together=one.word is None) if word is not None else []
    known = [(row_of(c), lines) for c, lines in letters if row_of(c) % (OTHERS + 1) != OTHERS]
    if word is None or not known:
        return []
    pictures = np.stack([np.round(picture_of(lines) * 255).astype(np.uint8) for _, lines in known])
    rows = np.array([row for row, _ in known], np.int16)
    return [LetterExamples(pictures, rows, *(np.full(len(rows), x) for x in (one.source, word.writer)))]


def on_the_line(word: Word, *, put_together: bool) -> list[tuple[str, list[Points]]]:
    """Return the letters of a word in x-heights, baseline at y = 0, y down; none where they are not known."""
    if put_together:
        return [(c, [p / X_HEIGHT_MM for p in pieces]) for c, pieces in word.letters or []]
    found = found_on_path(word)
    if found is None:
        return []
    frame, letters = found[0], word.letters or found[1]
    if len(letters) != len(word.text):
        return []

    def upright(p: Points) -> Points:
        return np.stack([p[:, 0], p[:, 1] - frame.y - frame.slope * (p[:, 0] - frame.x)], axis=1) / frame.x_height

    return [(c, [upright(p) for p in pieces]) for c, pieces in letters]


class Reader(nn.Module):
    """Three convolutions and two layers; see `legibility.ReadingNetwork`."""

    def __init__(self) -> None:
        super().__init__()
        before, size = 1, SIZE
        convolutions = []
        for channels, k, stride in zip(CHANNELS, KERNELS, STRIDES, strict=True):
            convolutions.append(nn.Conv2d(before, channels, k, stride, k // 2))
            before, size = channels, -(-size // stride)
        self.convolutions = nn.ModuleList(convolutions)
        self.first, self.last = nn.Linear(before * size * size, HIDDEN), nn.Linear(HIDDEN, ROWS)

    def forward(self, pictures: torch.Tensor) -> torch.Tensor:
        """Return log odds, (letters, ROWS)."""
        x = pictures
        for convolution in self.convolutions:
            x = functional.relu(convolution(x))
        x = functional.dropout(x.flatten(1), DROPOUT, self.training)
        x = functional.relu(self.first(x))
        return self.last(functional.dropout(x, DROPOUT, self.training))


def changed(pictures: torch.Tensor) -> torch.Tensor:
    """Return pictures, (n, 1, SIZE, SIZE), in other widths, heights, slants, slopes and places."""
    n, device = len(pictures), pictures.device
    by = torch.zeros(n, 2, 3, device=device)
    for k, of in enumerate(STRETCH):
        by[:, k, k] = torch.exp(of * torch.randn(n, device=device))
    by[:, 0, 1], by[:, 1, 0] = LEAN * torch.randn(n, device=device), TILT * torch.randn(n, device=device)
    by[:, :, 2] = SHIFT * torch.randn(n, 2, device=device)
    grid = functional.affine_grid(by, list(pictures.shape), align_corners=False)
    return functional.grid_sample(pictures, grid, align_corners=False)


def fit_reader(
    known: LetterExamples, *, epochs: int, seed: int, device: str, progress: Callable[[int, int, float], None]
) -> dict[str, NDArray[Any]]:
    """Return the arrays of a network trained on examples, as `legibility.network_of` reads them.

    How common a letter is, is told to it in training, so that it does not learn it: log odds adjusted as by Menon et
    al. (Long-tail learning via logit adjustment, ICLR 2021).
    """
    torch.manual_seed(seed)
    pictures = torch.from_numpy(known.pictures).to(device)
    rows = torch.from_numpy(known.rows.astype(np.int64)).to(device)
    count = torch.bincount(rows, minlength=ROWS).float()
    # what is never seen must be learned to be unlikely
    common = torch.log(torch.where(count > 0, count, count.max()))
    network = Reader().to(device)

    def loss_of(numbers: torch.Tensor) -> torch.Tensor:
        some = numbers.to(device)
        seen = changed(pictures[some, None].float() / 255)
        return functional.cross_entropy(network(seen) + common, rows[some])

    fitted(network, loss_of, len(rows), COURSE, epochs=epochs, progress=progress)
    return {**kept_layers(network.convolutions, (network.first, network.last)), "characters": np.zeros(0, np.int32)}
