"""The network of `skeleton.cues.pen_events` in PyTorch, to be trained."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from skeleton.cues.local_features_kernels import FEATURE_COUNT
from tests.bench.training.samples import Sample

CHANNELS = (8, 32, 64, 96, 128)
HIDDEN = (128, 96)
QUESTIONS = 3
"""Landed, lifted, went: asked for both headings; the last only helps the others to be learned."""


PREPARING = 3
"""Threads that put batches together while the network is trained."""


def _convolution(before: int, after: int, k: int, stride: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(before, after, k, stride, k // 2, bias=False), nn.BatchNorm2d(after), nn.ReLU(inplace=True)
    )


class ClueNetwork(nn.Module):
    """Convolutions, each level half as fine as the one before, and a perceptron on what the levels hold at places."""

    def __init__(self) -> None:
        super().__init__()
        c = CHANNELS
        self.levels = nn.ModuleList([nn.Sequential(_convolution(1, c[0], 5, 2), _convolution(c[0], c[0], 3, 1))])
        for a, b in pairwise(c[:-1]):
            self.levels.append(nn.Sequential(_convolution(a, b, 3, 2), _convolution(b, b, 3, 1)))
        self.levels.append(nn.Sequential(_convolution(c[-2], c[-1], 3, 2)))
        self.scale = nn.BatchNorm1d(FEATURE_COUNT)
        self.perceptron = nn.Sequential(
            nn.Dropout(0.1), nn.Linear(sum(c) + FEATURE_COUNT + 4, HIDDEN[0]), nn.ReLU(),
            nn.Dropout(0.15), nn.Linear(HIDDEN[0], HIDDEN[1]), nn.ReLU(),
            nn.Dropout(0.1), nn.Linear(HIDDEN[1], 3 * QUESTIONS + 1),
        )  # fmt: skip

    def forward(
        self, pictures: Tensor, at: Tensor, which: Tensor, headings: Tensor, measured: Tensor, where: Tensor
    ) -> tuple[Tensor, Tensor]:
        """Return log odds (places, QUESTIONS, 2) and (places,): of the questions both ways, and of a second passing."""
        x, told = pictures, []
        for k, level in enumerate(self.levels):
            x = level(x)
            told.append(_between(x, at / 2.0 ** (k + 1), which))
        axis = torch.stack([headings[:, 0] ** 2 - headings[:, 1] ** 2, 2 * headings[:, 0] * headings[:, 1]], 1)
        y = self.perceptron(torch.cat([*told, self.scale(measured), axis, where], 1))
        along = (y[:, QUESTIONS : 3 * QUESTIONS].reshape(-1, QUESTIONS, 2) * headings[:, None]).sum(2)
        return torch.stack([y[:, :QUESTIONS] + along, y[:, :QUESTIONS] - along], 2), y[:, -1]


def _between(x: Tensor, at: Tensor, which: Tensor) -> Tensor:
    """Return what x (pictures, channels, h, w) holds at points between its cells, shape (n, channels)."""
    _, c, h, w = x.shape
    across, down = at[:, 0].clamp(0, w - 1), at[:, 1].clamp(0, h - 1)
    left, top = across.floor().long(), down.floor().long()
    right, bottom = (left + 1).clamp(max=w - 1), (top + 1).clamp(max=h - 1)
    u, v = (across - left)[:, None], (down - top)[:, None]
    cells = x.permute(0, 2, 3, 1).reshape(-1, c)
    base = which * h * w
    upper = cells[base + top * w + left] * (1 - u) + cells[base + top * w + right] * u
    lower = cells[base + bottom * w + left] * (1 - u) + cells[base + bottom * w + right] * u
    return upper * (1 - v) + lower * v


def batch(some: Sequence[Sample], rng: np.random.Generator | None = None) -> tuple[Tensor, ...]:
    """Return what the network takes: pictures side by side, each somewhere on paper as large as the largest."""
    h, w = (max(s.picture.shape[k] for s in some) for k in (0, 1))
    finest = 2 ** len(CHANNELS)
    h, w = h + -h % finest, w + -w % finest
    pictures = np.zeros((len(some), 1, h, w), np.float32)
    at, where, which = [], [], []
    for i, s in enumerate(some):
        a, b = s.picture.shape
        y, x = (0, 0) if rng is None else (rng.integers(0, h - a + 1), rng.integers(0, w - b + 1))
        pictures[i, 0, y : y + a, x : x + b] = s.picture / 200.0
        at.append(s.places + np.array([x, y]))
        low = s.places.min(axis=0)
        where.append((s.places - low) / max(float((s.places.max(axis=0) - low).max()), 1.0))
        which.append(np.full(len(s.places), i))
    parts = (at, [s.headings for s in some], [s.measured for s in some], where)
    places, headings, measured, inside = (torch.from_numpy(np.concatenate(p).astype(np.float32)) for p in parts)
    of = torch.from_numpy(np.concatenate(which))
    fast = torch.from_numpy(pictures).to(memory_format=torch.channels_last)
    return fast, places, of, headings, measured, inside


@dataclass(frozen=True, eq=False)
class _Batch:
    taken: tuple[Tensor, ...]
    asked: Tensor
    passed: Tensor


def _prepared(known: Sequence[Sample], which: NDArray[np.int64], seed: tuple[int, int]) -> _Batch:
    some = [known[i] for i in which]
    asked = torch.from_numpy(np.concatenate([s.asked for s in some]).astype(np.float32))
    passed = torch.from_numpy(np.concatenate([s.passed for s in some]).astype(np.float32))
    return _Batch(batch(some, np.random.default_rng(seed)), asked, passed)


def _loss(network: ClueNetwork, some: _Batch, device: str) -> Tensor:
    asked, passed = some.asked.to(device), some.passed.to(device)
    both, twice = network(*(x.to(device) for x in some.taken))
    each = functional.binary_cross_entropy_with_logits(both, asked, reduction="none")
    again = functional.binary_cross_entropy_with_logits(twice, (passed > 1).float(), reduction="none")
    there = (passed > 0).float()
    return each[:, :2].sum(1).mean() + (each[:, 2].mean(1) * there).mean() + (again * there).mean()


def _batches(known: Sequence[Sample], steps: int, size: int, seed: int) -> Iterator[_Batch]:
    """Yield batches of pictures of like size; the next ones are prepared in threads meanwhile."""
    rng = np.random.default_rng(seed)
    areas = np.array([s.picture.size for s in known])
    queue: list[NDArray[np.int64]] = []
    ahead: deque[Future[_Batch]] = deque()
    with ThreadPoolExecutor(PREPARING) as pool:
        for step in range(steps):
            if not queue:
                order = np.argsort(areas * rng.uniform(0.8, 1.25, len(areas)))
                batches = [order[i : i + size] for i in range(0, max(len(order) - size + 1, 1), size)]
                queue = [batches[i] for i in rng.permutation(len(batches))]
            ahead.append(pool.submit(_prepared, known, queue.pop(), (seed, step)))
            if len(ahead) > 2 * PREPARING:
                yield ahead.popleft().result()
        while ahead:
            yield ahead.popleft().result()


def train(
    known: Sequence[Sample],
    *,
    epochs: float,
    seed: int,
    progress: Callable[[int, int, float], None],
    size: int = 64,
    device: str = "cpu",
) -> ClueNetwork:
    """Return a network trained on samples (AdamW, one cycle of the rate), pictures of like size together.

    `device` is PyTorch's name of where it is trained; the network comes back to the processor.
    """
    torch.manual_seed(seed)
    network = ClueNetwork().to(device, memory_format=torch.channels_last)
    steps = max(1, int(epochs * len(known) / size))
    optimizer = torch.optim.AdamW(network.parameters(), 3e-3, weight_decay=2e-2)
    rate = torch.optim.lr_scheduler.OneCycleLR(optimizer, 3e-3, total_steps=steps, pct_start=0.1)
    network.train()
    for step, some in enumerate(_batches(known, steps, size, seed)):
        loss = _loss(network, some, device)
        optimizer.zero_grad()
        loss.backward()
        optimizer.step()
        rate.step()
        if (step + 1) % 200 == 0 or step + 1 == steps:
            progress(step + 1, steps, float(loss.detach()))
    return network.to("cpu").eval()


def kept(network: ClueNetwork) -> dict[str, NDArray[np.generic]]:
    """Return the arrays that `skeleton.cues.pen_events` works with: scales folded into kernels, in half precision."""
    out: dict[str, NDArray[np.generic]] = {}
    layers: list[tuple[int, bool]] = []
    for level in network.levels:
        for j, (convolution, norm, _) in enumerate(level):
            gain = (norm.weight / torch.sqrt(norm.running_var + norm.eps)).detach()
            kernels = convolution.weight.detach() * gain[:, None, None, None]
            out[f"kernels_{len(layers)}"] = kernels.reshape(len(gain), -1).numpy().astype(np.float16)
            out[f"kernel_offsets_{len(layers)}"] = (
                (norm.bias.detach() - norm.running_mean * gain).numpy().astype(np.float16)
            )
            layers.append((convolution.stride[0], j == len(level) - 1))
    out["layers"] = np.array(layers, np.int8)
    gain = (network.scale.weight / torch.sqrt(network.scale.running_var + network.scale.eps)).detach()
    out["scale"], out["shift"] = gain.numpy(), (network.scale.bias.detach() - network.scale.running_mean * gain).numpy()
    # "went" is not asked for: its sum, and its vector
    asked = [0, 1, *range(QUESTIONS, QUESTIONS + 4), 3 * QUESTIONS]
    dense = [layer for layer in network.perceptron if isinstance(layer, nn.Linear)]
    for k, layer in enumerate(dense):
        weights, offsets = layer.weight.detach().numpy().T, layer.bias.detach().numpy()
        if k == len(dense) - 1:
            weights, offsets = weights[:, asked], offsets[asked]
        out[f"weights_{k}"], out[f"offsets_{k}"] = weights.astype(np.float16), offsets.astype(np.float16)
    return out
