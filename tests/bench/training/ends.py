"""Fits the network of `end_lengths` in PyTorch (extra `train`)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from skeleton.fitting.end_lengths import STRIDES
from skeleton.fitting.end_pictures import COLUMNS, MEASURES, MOST, ROWS
from skeleton.small_networks import MAX_MEASURE_SPREADS
from tests.bench.training.end_examples import EndExamples
from tests.bench.training.weights import Course, PictureLayers, fitted, half

CHANNELS, KERNELS = (12, 24, 36), (5, 3, 3)
HIDDEN, NARROW = 72, 64
DROPOUT = 0.25
COURSE = Course(rate=4e-3, decay=0.1, batch=2048, first_steps=500)

UNNAMED = 0.15
"""Share of the examples that are not told the character."""

SMOOTHED = 0.5
"""Points: standard deviation of where an end is said to be."""

CONTRAST, GRAIN = 0.08, 0.03
"""Standard deviations of what the ink's darkness is multiplied by, and of noise added to it."""


class Ends(PictureLayers):
    """Is also told the character; see `end_lengths.EndNetwork`."""

    def __init__(self, characters: int) -> None:
        # one measure more: whether the end was moved by lot
        super().__init__(
            (4, ROWS, COLUMNS), CHANNELS, KERNELS, STRIDES, (HIDDEN, NARROW), measures=MEASURES + 1,
            outcomes=2 * MOST + 1, dropout=DROPOUT,
        )  # fmt: skip
        self.character, self.last_of_character = (nn.Embedding(characters, n) for n in (HIDDEN, 2 * MOST + 1))
        for table in (self.character, self.last_of_character):
            nn.init.zeros_(table.weight)

    def forward(self, pictures: torch.Tensor, measures: torch.Tensor, row: torch.Tensor) -> torch.Tensor:
        """Return log odds of shifts, (ends, shifts)."""
        return self.outcome(self.summed(pictures, measures) + self.character(row)) + self.last_of_character(row)


def fit_ends(
    known: EndExamples,
    row: Mapping[int, int],
    *,
    epochs: int,
    seed: int,
    device: str,
    progress: Callable[[int, int, float], None],
) -> dict[str, NDArray[Any]]:
    """Return the arrays of a network trained on examples; row: of the characters that are told apart, from 1 on."""
    torch.manual_seed(seed)
    pictures = torch.from_numpy(known.pictures).to(device)
    shift, scale = known.measures.mean(axis=0), known.measures.std(axis=0) + 1e-3
    told = np.clip((known.measures - shift) / scale, -MAX_MEASURE_SPREADS, MAX_MEASURE_SPREADS)
    measures = torch.from_numpy(np.column_stack([told, known.perturbed]).astype(np.float32)).to(device)
    target = torch.from_numpy(known.shift.astype(np.int64) + MOST).to(device)
    rows = torch.tensor([row.get(c, 0) for c in known.char.tolist()], device=device)
    apart = torch.arange(2 * MOST + 1, device=device).float()
    smoothed = torch.exp(-0.5 * ((apart[:, None] - apart) / SMOOTHED) ** 2)
    smoothed /= smoothed.sum(dim=1, keepdim=True)
    network = Ends(len(row) + 1).to(device)

    def loss_of(numbers: torch.Tensor) -> torch.Tensor:
        some = numbers.to(device)
        seen = pictures[some].float()
        contrast = 1 + CONTRAST * torch.randn(len(some), 1, 1, device=device)
        seen[:, 0] = seen[:, 0] * contrast + GRAIN * torch.randn_like(seen[:, 0])
        named = rows[some] * (torch.rand(len(some), device=device) > UNNAMED)
        odds = functional.log_softmax(network(seen, measures[some], named), dim=1)
        return -(smoothed[target[some]] * odds).sum(dim=1).mean()

    fitted(network, loss_of, len(target), COURSE, epochs=epochs, progress=progress)
    return {"shift": shift, "scale": scale, **_kept(network), "characters": np.array(list(row), np.int32)}


def _kept(network: Ends) -> dict[str, NDArray[Any]]:
    """Return the arrays as `end_lengths.network_of` reads them, in half precision."""
    out = network.kept()
    # an end that is read was not moved by lot
    out["of_measures"] = half(network.measures.weight.T[:MEASURES])
    out["of_character"] = half(network.character.weight)
    out["last_of_character"] = half(network.last_of_character.weight)
    return out
