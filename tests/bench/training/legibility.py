"""Fits the network of `legibility` in PyTorch (extra `train`)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from skeleton.words.legibility import STRIDES
from skeleton.words.letter_pictures import ROWS, SIZE
from tests.bench.training.letter_examples import LetterExamples
from tests.bench.training.weights import Course, convolutions, fitted, kept_layers

CHANNELS, KERNELS = (24, 40, 48), (5, 3, 3)
HIDDEN = 96
DROPOUT = 0.3
COURSE = Course(rate=2e-3, decay=0.1, batch=1024, first_steps=500)

STRETCH, LEAN, TILT, SHIFT = (0.08, 0.06), 0.1, 0.04, 0.03
"""Standard deviations of how pictures are changed as the network is trained: of the logarithms of width and height, of
slant and slope, and of a shift, in halves of a picture."""


class Reader(nn.Module):
    """Three convolutions and two layers; see `legibility.ReadingNetwork`."""

    def __init__(self) -> None:
        super().__init__()
        self.convolutions, seen = convolutions((1, SIZE, SIZE), CHANNELS, KERNELS, STRIDES)
        self.first, self.last = nn.Linear(seen, HIDDEN), nn.Linear(HIDDEN, ROWS)

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
