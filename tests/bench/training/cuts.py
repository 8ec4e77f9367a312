"""Fits the network of `cut_rightness` in PyTorch (extra `train`)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from skeleton.small_networks import MAX_MEASURE_SPREADS
from skeleton.words.cut_rightness import OVERLAPS, STRIDES
from skeleton.words.letter_pictures import MEASURES, ROWS, SIZE
from tests.bench.training.cut_examples import CutExamples
from tests.bench.training.weights import Course, PictureLayers, fitted, half

CHANNELS, KERNELS = (24, 40, 48), (5, 3, 3)
HIDDEN, NARROW = 96, 48
DROPOUT = 0.4
COURSE = Course(rate=2e-3, decay=0.1, batch=1024, first_steps=500)

NO_MEASURES = 0.15
"""Share of the examples that are told no measures."""

MOVED = 1
"""Places by which pictures are moved at most, either way."""


class Cuts(PictureLayers):
    """Is also told the letters; see `cut_rightness.CutNetwork`."""

    def __init__(self) -> None:
        super().__init__(
            (3, SIZE, SIZE), CHANNELS, KERNELS, STRIDES, (HIDDEN, NARROW), measures=MEASURES, outcomes=len(OVERLAPS),
            dropout=DROPOUT,
        )  # fmt: skip
        self.letters = nn.ModuleList(nn.Embedding(ROWS, HIDDEN) for _ in range(3))
        for table in self.letters:
            nn.init.zeros_(table.weight)

    def forward(self, pictures: torch.Tensor, measures: torch.Tensor, rows: torch.Tensor) -> torch.Tensor:
        """Return log odds, (letters, overlaps)."""
        x = self.summed(pictures, measures)
        for k, table in enumerate(self.letters):
            x = x + table(rows[:, k])
        return self.outcome(x)


def fit_cuts(
    known: CutExamples,
    *,
    epochs: int,
    seed: int,
    device: str,
    progress: Callable[[int, int, float], None],
) -> dict[str, NDArray[Any]]:
    """Return the arrays of a network trained on examples."""
    torch.manual_seed(seed)
    pictures = torch.from_numpy(known.pictures).to(device)
    shift, scale = np.nanmean(known.measures, axis=0), np.nanstd(known.measures, axis=0) + 1e-3
    told = np.clip((known.measures - shift) / scale, -MAX_MEASURE_SPREADS, MAX_MEASURE_SPREADS)
    measures = torch.from_numpy(np.nan_to_num(told).astype(np.float32)).to(device)
    rows = torch.from_numpy(known.rows.astype(np.int64)).to(device)
    target = torch.from_numpy((known.overlap[:, None] >= np.array(OVERLAPS)).astype(np.float32)).to(device)
    network = Cuts().to(device)

    def loss_of(numbers: torch.Tensor) -> torch.Tensor:
        some = numbers.to(device)
        by = torch.randint(-MOVED, MOVED + 1, (2,)).tolist()
        seen = torch.roll(pictures[some].float() / 255, by, (2, 3))
        of = measures[some] * (torch.rand(len(some), 1, device=device) > NO_MEASURES)
        return functional.binary_cross_entropy_with_logits(network(seen, of, rows[some]), target[some])

    fitted(network, loss_of, len(target), COURSE, epochs=epochs, progress=progress)
    return {"shift": shift, "scale": scale, **_kept(network), "characters": np.zeros(0, np.int32)}


def _kept(network: Cuts) -> dict[str, NDArray[Any]]:
    """Return the arrays as `cut_rightness.network_of` reads them, in half precision."""
    out = network.kept()
    out["of_measures"] = half(network.measures.weight.T)
    for k, table in enumerate(network.letters):
        out[f"of_letters_{k}"] = half(table.weight)
    return out
