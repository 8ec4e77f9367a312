"""Fits the network of `skeleton.words.lost_line` in PyTorch (extra `train`)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from skeleton.words.along_ways import INPUTS, LETTERS
from skeleton.words.lost_line import APART, FIRST_WIDTH, MOST_LOST
from tests.bench.training.way_examples import WordExample
from tests.bench.training.weights import RunningMean, half

LETTER_NUMBERS = 8
RATE, DECAY = 3e-3, 2e-2
GRAIN = 0.02
"""Standard deviation of noise added to what the network is told."""

BATCH, NEAR_IN_SIZE = 24, 20
"""Words of a batch; batches out of which words of like length are put together."""

OF_BEGINS, OF_CHOICE = 0.5, 0.006
"""Weights beside the cross entropy of lost line: of that of begins, and of the steps that the likeliest way loses more
than the best of its word."""

CLOSE, MOST_MORE = 2.0, 60.0
"""Steps by which a way is that many e-folds less likely to be chosen, and most that one may lose more."""

FIRST_STEPS = 300


class LostLines(nn.Module):
    """See `lost_line.LostLineNetwork`."""

    def __init__(self, channels: int, dropout: float) -> None:
        super().__init__()
        self.of_letter = nn.Embedding(LETTERS, LETTER_NUMBERS)
        self.first = nn.Conv1d(INPUTS + 3 * LETTER_NUMBERS, channels, FIRST_WIDTH, padding=FIRST_WIDTH // 2)
        self.wide = nn.ModuleList([nn.Conv1d(channels, channels, 3, padding=d, dilation=d) for d in APART])
        self.mixing = nn.ModuleList([nn.Conv1d(channels, channels, 1) for _ in APART])
        self.last = nn.Conv1d(channels, 2, 1)
        self.dropout = dropout

    def forward(self, told: Tensor, letters: Tensor, there: Tensor) -> Tensor:
        """Return log odds (ways, 2, points); told (ways, points, inputs), letters (ways, points, 3), there (…)."""
        x = torch.cat([told, self.of_letter(letters).flatten(2)], 2).transpose(1, 2) * there[:, None]
        x = torch.relu(self.first(x)) * there[:, None]
        for wide, mixing in zip(self.wide, self.mixing, strict=True):
            y = torch.relu(wide(functional.dropout(x, self.dropout, self.training)))
            x = x + mixing(y) * there[:, None]
        out: Tensor = self.last(torch.relu(x))
        return out


class Ways:
    """The ways of all words, on a device."""

    def __init__(self, words: Sequence[WordExample], device: str) -> None:
        ways = [way for word in words for way in word.ways]
        self.device = device
        self.told = torch.from_numpy(np.concatenate([w.told.inputs for w in ways]).astype(np.float16)).to(device)
        self.letters = torch.from_numpy(np.concatenate([w.told.letters for w in ways]).astype(np.uint8)).to(device)
        self.lost = torch.from_numpy(np.concatenate([w.lost for w in ways])).to(device)
        self.begun = torch.from_numpy(np.concatenate([w.begun for w in ways])).to(device)
        self.counts = np.array([len(w.lost) for w in ways])
        self.starts = np.concatenate([[0], np.cumsum(self.counts)])
        last = np.cumsum([len(word.ways) for word in words])
        self.of_word = [np.arange(b - len(w.ways), b) for b, w in zip(last.tolist(), words, strict=True)]
        self.longest = np.array([self.counts[of].max() for of in self.of_word])

    def batch(self, words: Sequence[int]) -> tuple[Tensor, ...]:
        """Return what is told, letters, which points are there, lost, begun, and the word of every way."""
        ways = np.concatenate([self.of_word[i] for i in words])
        k = torch.arange(int(self.counts[ways].max()), device=self.device)[None]
        there = k < torch.from_numpy(self.counts[ways]).to(self.device)[:, None]
        at = torch.where(there, torch.from_numpy(self.starts[ways]).to(self.device)[:, None] + k, 0)
        word = np.repeat(np.arange(len(words)), [len(self.of_word[i]) for i in words])
        return (
            self.told[at].float(), self.letters[at].long(), there.float(), self.lost[at] * there,
            self.begun[at] * there, torch.from_numpy(word).to(self.device),
        )  # fmt: skip


def _loss(odds: Tensor, there: Tensor, lost: Tensor, begun: Tensor, word: Tensor) -> Tensor:
    cross = functional.binary_cross_entropy_with_logits
    count = there.sum()
    share = lost.clamp(max=MOST_LOST) / MOST_LOST
    of_lost = (cross(odds[:, 0], share, reduction="none") * there).sum() / count
    of_begins = (cross(odds[:, 1], begun.clamp(max=1), reduction="none") * there).sum() / count
    said, truly = MOST_LOST * (torch.sigmoid(odds[:, 0]) * there).sum(1), lost.sum(1)
    words = int(word[-1]) + 1

    def least(x: Tensor) -> Tensor:
        return torch.zeros(words, device=x.device).scatter_reduce(0, word, x, "amin", include_self=False)[word]

    likely = torch.exp((least(said) - said) / CLOSE)
    likely = likely / torch.zeros(words, device=said.device).index_add(0, word, likely)[word]
    more = (likely * (truly - least(truly)).clamp(max=MOST_MORE)).sum() / words
    return of_lost + OF_BEGINS * of_begins + OF_CHOICE * more


def fit_lost_lines(
    words: Sequence[WordExample],
    *,
    channels: int,
    dropout: float,
    epochs: int,
    seed: int,
    device: str,
    progress: Callable[[int, int, float], None],
) -> dict[str, NDArray[Any]]:
    """Return the arrays of a network trained on ways (AdamW, one cycle of the rate, running mean)."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    known = Ways(words, device)
    network = LostLines(channels, dropout).to(device)
    mean = RunningMean(network, FIRST_STEPS)
    optimiser = torch.optim.AdamW(network.parameters(), RATE, weight_decay=DECAY)
    batches = _batches(known, rng)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, RATE, total_steps=epochs * len(batches), pct_start=0.1)
    network.train()
    for epoch in range(epochs):
        total = 0.0
        for some in batches if epoch == 0 else _batches(known, rng):
            told, letters, there, lost, begun, word = known.batch(some)
            odds = network(told + GRAIN * torch.randn_like(told), letters, there)
            loss = _loss(odds, there, lost, begun, word)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            mean.follow()
            total += loss.item()
        progress(epoch + 1, epochs, total / len(batches))
    mean.settle()
    return _kept(network)


def _batches(known: Ways, rng: np.random.Generator) -> list[list[int]]:
    """Return words by lot, those of a batch of like length."""
    order = rng.permutation(len(known.of_word))
    out = []
    many = BATCH * NEAR_IN_SIZE
    for k in range(0, len(order), many):
        alike = order[k : k + many][np.argsort(known.longest[order[k : k + many]])]
        out += [alike[i : i + BATCH].tolist() for i in range(0, len(alike), BATCH)]
    return [out[i] for i in rng.permutation(len(out))]


def _kept(network: LostLines) -> dict[str, NDArray[Any]]:
    """Return the arrays as `lost_line.network_of` reads them, in half precision."""
    out: dict[str, NDArray[Any]] = {"of_letter": half(network.of_letter.weight), "characters": np.zeros(0, np.int32)}
    for i, layer in enumerate([network.first, *network.wide]):
        # points first, then channels, as they are laid side by side
        out[f"weights_{i}"] = half(layer.weight.transpose(1, 2).flatten(1))
        out[f"offsets_{i}"] = half(layer.bias)
    for i, layer in enumerate(network.mixing):
        out[f"mixing_{i}"], out[f"mixing_offsets_{i}"] = half(layer.weight[:, :, 0]), half(layer.bias)
    out["last"], out["last_offsets"] = half(network.last.weight[:, :, 0]), half(network.last.bias)
    return out
