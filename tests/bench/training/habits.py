"""The network of `skeleton.scoring.writing_habits` in PyTorch, to be fitted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from skeleton.hypotheses.labelled import NAMES, WEIGHTS
from skeleton.pipeline import MAX_JUDGED_READINGS, RESIDUAL_INK_COST
from skeleton.scoring.writing_habits import MAX_FEATURE_SPREADS, stroke_inputs
from tests.bench.training.examples import Example

Floats = NDArray[np.float64]

HIDDEN = (128, 64)
DROPOUT = 0.2
UNKNOWN_SHARE = 0.05
"""Share of the characters that the network is not told while it is fitted, for what all have in common."""

PATHS_WORTH = 0.15
"""What a reading is worth that is right in its paths alone."""

MISSING = 1e4
"""Cost of a reading that is not there."""


@dataclass(frozen=True, eq=False)
class Choices:
    """The readings considered for characters, the likeliest first, filled up to `MAX_JUDGED_READINGS`."""

    strokes: NDArray[np.float16]
    """Shape (characters, readings, inputs)."""

    features: NDArray[np.float32]
    """Shape (characters, readings, features + 1): as `writing_habits.habit_costs` takes them."""

    cost: NDArray[np.float32]
    """Shape (characters, readings): the linear cost and that of residual ink, `MISSING` where there is no reading."""

    worth: NDArray[np.float32]
    """Shape (characters, readings): 1 for right ones, `PATHS_WORTH` for those right in their paths."""

    row: NDArray[np.int64]
    """Shape (characters,): which character it is, 0 for one that is rare."""

    weight: NDArray[np.float32]
    """Shape (characters,)."""


def choices(every: Sequence[Example], row: Mapping[str, int], weights: Mapping[str, float]) -> Choices:
    """Return examples as arrays; row: of each character; weights: of data sets, 1 where not said."""
    n, k, half = len(every), MAX_JUDGED_READINGS, len(NAMES)
    strokes: NDArray[np.float16] | None = None
    features = np.zeros((n, k, half + 1), np.float32)
    cost, worth = np.full((n, k), MISSING, np.float32), np.zeros((n, k), np.float32)
    for i, e in enumerate(every):
        linear = e.features[:, : 2 * half] @ WEIGHTS
        first = np.argsort(linear, kind="stable")[:k]
        seen = stroke_inputs([e.shapes[j] for j in first])
        strokes = np.zeros((n, k, seen.shape[1]), np.float16) if strokes is None else strokes
        m = len(first)
        strokes[i, :m] = seen
        features[i, :m] = told(e.features[first])
        whole = (linear + RESIDUAL_INK_COST * e.features[:, -1])[first]
        cost[i, :m] = whole - whole.min()
        worth[i, :m] = np.where(e.full[first], 1.0, PATHS_WORTH * e.paths[first])
    assert strokes is not None
    rows = np.array([row.get(e.char, 0) for e in every])
    return Choices(
        strokes, features, cost, worth, rows, np.array([weights.get(e.source, 1.0) for e in every], np.float32)
    )


def told(features: Floats) -> Floats:
    """Return what the network is told of an example's features: those of a fluent hand, and how drafted."""
    half = len(NAMES)
    fluent, drafted = features[:, :half], features[:, half : 2 * half]
    largest = np.abs(fluent).argmax(axis=1)[:, None]
    share = np.take_along_axis(drafted, largest, 1) / np.maximum(np.take_along_axis(fluent, largest, 1), 1e-9)
    return np.concatenate([fluent, share], axis=1)


class HabitNetwork(nn.Module):
    """Two layers of rectified sums; offsets and last weights by character."""

    def __init__(self, inputs: int, characters: int, shift: Tensor, scale: Tensor) -> None:
        super().__init__()
        self.shift, self.scale = shift, scale
        self.first, self.second = nn.Linear(inputs, HIDDEN[0]), nn.Linear(*HIDDEN)
        self.first_of, self.second_of = nn.Embedding(characters, HIDDEN[0]), nn.Embedding(characters, HIDDEN[1])
        self.last, self.last_of = nn.Linear(HIDDEN[1], 1, bias=False), nn.Embedding(characters, HIDDEN[1])
        self.drop = nn.Dropout(DROPOUT)
        for table in (self.first_of, self.second_of):
            nn.init.normal_(table.weight, 0, 0.1)
        nn.init.zeros_(self.last_of.weight)
        nn.init.zeros_(self.last.weight)

    def forward(self, strokes: Tensor, features: Tensor, row: Tensor) -> Tensor:
        """Return what is added to the costs, shape (characters, readings)."""
        spreads = ((features - self.shift) / self.scale).clamp(-MAX_FEATURE_SPREADS, MAX_FEATURE_SPREADS)
        y = torch.cat([strokes, spreads], -1)
        y = self.drop(torch.relu(self.first(y) + self.first_of(row)[:, None]))
        y = self.drop(torch.relu(self.second(y) + self.second_of(row)[:, None]))
        out: Tensor = (y * (self.last.weight + self.last_of(row))[:, None]).sum(-1)
        return out


def fit(
    known: Choices,
    characters: int,
    *,
    epochs: int,
    seed: int,
    progress: Callable[[int, int, float], None],
    size: int = 128,
    rate: float = 1.5e-3,
    decay: float = 1e-2,
) -> HabitNetwork:
    """Return a network fitted as a conditional logit, its output added to the cost (AdamW, one cycle of the rate)."""
    torch.manual_seed(seed)
    lot = np.random.default_rng(seed)
    there = known.cost < MISSING
    use = np.flatnonzero((known.worth.max(axis=1) > 0) & (there.sum(axis=1) > 1))
    some = known.features[use][there[use]]
    shift, scale = torch.tensor(some.mean(axis=0)), torch.tensor(some.std(axis=0) + 1e-3)
    network = HabitNetwork(known.strokes.shape[2] + known.features.shape[2], characters, shift, scale)
    optimizer = torch.optim.AdamW(network.parameters(), rate, weight_decay=decay)
    batches = max(1, len(use) // size)
    cycle = torch.optim.lr_scheduler.OneCycleLR(optimizer, rate, total_steps=epochs * batches)
    network.train()
    for epoch in range(epochs):
        order, total = lot.permutation(use), 0.0
        for b in range(batches):
            at = order[b * size : (b + 1) * size]
            row = np.where(lot.random(len(at)) < UNKNOWN_SHARE, 0, known.row[at])
            seen = torch.tensor(known.strokes[at], dtype=torch.float32), torch.tensor(known.features[at])
            cost = torch.tensor(known.cost[at]) + network(*seen, torch.tensor(row))
            cost = cost.masked_fill(~torch.tensor(there[at]), MISSING)
            right = torch.log(torch.tensor(known.worth[at]) + 1e-12)
            weight = torch.tensor(known.weight[at])
            loss = ((torch.logsumexp(-cost, 1) - torch.logsumexp(right - cost, 1)) * weight).sum() / weight.sum()
            optimizer.zero_grad()
            loss.backward()
            optimizer.step()
            cycle.step()
            total += float(loss.detach())
        progress(epoch + 1, epochs, total / batches)
    return network.eval()


def kept(network: HabitNetwork, row: Mapping[str, int]) -> dict[str, NDArray[np.generic]]:
    """Return the arrays that `skeleton.scoring.writing_habits` works with, in half precision."""

    def half(x: Tensor) -> NDArray[np.generic]:
        return x.detach().numpy().astype(np.float16)

    of = torch.tensor(list(row.values()))
    return {
        "characters": np.array([ord(c) for c in row], np.int32),
        "shift": network.shift.numpy(),
        "scale": network.scale.numpy(),
        "first": half(network.first.weight.T),
        "first_offsets": half(network.first.bias + network.first_of(of)),
        "second": half(network.second.weight.T),
        "second_offsets": half(network.second.bias + network.second_of(of)),
        "last": half(network.last.weight + network.last_of(of)),
    }
