"""Trains the network of `sketches` in PyTorch (extra `train`), on pictures that are drawn as it is trained."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from capture.units import Points
from skeleton.matching.sketches import BOX_PX, LEAST_PROBABILITY, MOST_STROKES, PICTURE_PX, POINTS, SKETCHES, STRIDES
from tests.bench.training.weights import RunningMean, convolutions, half, kept_layers

CHANNELS, KERNELS = (32, 64, 80, 96), (5, 3, 3, 3)
HIDDEN, NARROW = 416, 288
BATCH = 1024
RATE, DECAY, DROPOUT = 2e-3, 0.05, 0.05

DRAWN_POINTS = 64
"""Points of a stroke, of which its ink is drawn."""

SHARPNESS = (4.0, 60.0)
"""Log odds that a sketch loses for each half size by which it is off, at the begin and at the end of training: the
sketches of a character part while it is small."""

RIGHT_HALF_SIZES, SCORED_AT_ONCE = 0.2, 500
"""Mean distance of a stroke from the one that was written, in half sizes, up to which a guess is about right; and how
many characters are scored together."""

UNNAMED = 0.03
"""Share of the pictures whose character is not told."""

TURN_DEGREES, SHEAR, STRETCH = 6.0, 0.18, 0.18
"""Standard deviations: of the turn, of the shear, of the log of width to height."""

BEND, WAVES = 0.035, (0.35, 0.6, 1.0)
"""Standard deviation of each wave that bends, in half sizes, and how many of them go into a half size."""

PEN_HALF_SIZES = (0.05, 0.6)
"""The least and the greatest width of the pen, in half sizes of the character: a small letter under a pen of 0.8 mm has
0.46."""

PRESSURE, GRAIN, CONTRAST = 0.15, 0.06, 0.1
"""Standard deviations: of the log of the width along a stroke, of noise, of the log of a factor of darkness."""

FIRST_STEPS = 501
"""Steps that the running mean of the weights, which is what is kept, forgets sooner."""


@dataclass(frozen=True, eq=False)
class Drawings:
    """Characters as they were written."""

    points: NDArray[np.float16]
    """Shape (characters, MOST_STROKES, DRAWN_POINTS, 2): at equal arc lengths, in half sizes about the middle, y down;
    strokes that are not there repeat the first."""

    count: NDArray[np.int64]
    """Shape (characters,): number of strokes."""

    row: NDArray[np.int64]
    weight: NDArray[np.float32]


def drawing(strokes: Sequence[Points]) -> NDArray[np.float16] | None:
    """Return a row of `Drawings.points`, None where there are too many strokes; strokes: (n, 2) each, any unit."""
    if not 0 < len(strokes) <= MOST_STROKES:
        return None
    every = np.concatenate(list(strokes))
    low, high = every.min(axis=0), every.max(axis=0)
    half = max(float((high - low).max()) / 2, 1e-3)
    out = np.zeros((MOST_STROKES, DRAWN_POINTS, 2), np.float16)
    for i in range(MOST_STROKES):
        s = (strokes[i if i < len(strokes) else 0] - (low + high) / 2) / half
        gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(s, axis=0).T))])
        at = np.linspace(0, gone[-1], DRAWN_POINTS)
        out[i] = np.stack([np.interp(at, gone, s[:, k]) for k in (0, 1)], axis=1)
    return out


class Sketcher(nn.Module):
    """Convolutions and a perceptron that knows the character; see `sketches.SketchNetwork`."""

    def __init__(self, characters: int) -> None:
        super().__init__()
        self.convolutions, seen = convolutions((1, PICTURE_PX, PICTURE_PX), CHANNELS, KERNELS, STRIDES)
        self.first, self.second = nn.Linear(seen, HIDDEN), nn.Linear(HIDDEN, NARROW)
        self.last = nn.Linear(NARROW, SKETCHES * (MOST_STROKES * (2 * POINTS + 1) + 1))
        self.character = nn.Embedding(characters, HIDDEN)
        self.second_of_character = nn.Embedding(characters, NARROW)
        self.last_of_character = nn.Embedding(characters, self.last.out_features)
        nn.init.normal_(self.character.weight, std=0.3)
        nn.init.normal_(self.second_of_character.weight, std=0.3)
        nn.init.normal_(self.last_of_character.weight, std=0.15)

    def forward(self, pictures: Tensor, row: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """Return points (n, SKETCHES, MOST_STROKES, POINTS, 2), log odds of numbers of strokes, and of sketches."""
        x = pictures
        for convolution in self.convolutions:
            x = functional.relu(convolution(x))
        x = functional.dropout(x.flatten(1), DROPOUT, self.training)
        x = functional.relu(self.first(x) + self.character(row))
        x = functional.dropout(x, DROPOUT, self.training)
        x = functional.relu(self.second(x) + self.second_of_character(row))
        x = functional.dropout(x, DROPOUT, self.training)
        y = (self.last(x) + self.last_of_character(row)).reshape(len(x), SKETCHES, -1)
        places = y[..., : MOST_STROKES * POINTS * 2].reshape(len(x), SKETCHES, MOST_STROKES, POINTS, 2)
        return places, y[..., -MOST_STROKES - 1 : -1], y[..., -1]


def bent(points: Tensor) -> Tensor:
    """Return drawings (n, strokes, points, 2) as they might have been written another time, their boxes anew."""
    n, device = len(points), points.device
    turn = torch.deg2rad(TURN_DEGREES * torch.randn(n, device=device))
    shear, stretch = SHEAR * torch.randn(n, device=device), torch.exp(STRETCH * torch.randn(n, device=device))
    cos, sin, one, zero = turn.cos(), turn.sin(), torch.ones_like(turn), torch.zeros_like(turn)
    turned = torch.stack([torch.stack([cos, -sin], 1), torch.stack([sin, cos], 1)], 1)
    matrix = turned @ torch.stack([torch.stack([stretch, shear], 1), torch.stack([zero, one], 1)], 1)
    waves = torch.tensor(WAVES, device=device)
    high = BEND * torch.randn(n, 1, 1, 2, 2, len(waves), device=device)
    phase = 2 * torch.pi * torch.rand(n, 1, 1, 2, 2, len(waves), device=device)
    angles = 2 * torch.pi * points[:, :, :, None, :, None] * waves + phase
    moved = (points + (high * angles.sin()).sum(dim=(4, 5))) @ matrix.transpose(1, 2)[:, None]
    low, top = moved.amin(dim=(1, 2), keepdim=True), moved.amax(dim=(1, 2), keepdim=True)
    half = ((top - low).amax(dim=3, keepdim=True) / 2).clamp(min=1e-3)
    out: Tensor = (moved - (low + top) / 2) / half
    return out


def inked(points: Tensor, count: Tensor) -> tuple[Tensor, Tensor]:
    """Return pictures (n, 1, PICTURE_PX, PICTURE_PX) of drawings, and the drawings in half sizes of their ink."""
    n, device = len(points), points.device
    least, greatest = PEN_HALF_SIZES
    pen = least * (greatest / least) ** torch.rand(n, 1, 1, 1, device=device)
    points = points / (1 + pen / 2)
    pen = pen / (1 + pen / 2)
    side = torch.arange(PICTURE_PX, device=device).float()
    side = (side - (PICTURE_PX - 1) / 2) / (BOX_PX / 2)
    at = torch.stack(torch.meshgrid(side, side, indexing="xy"), -1).reshape(1, -1, 1, 2)
    there = torch.arange(points.shape[1], device=device) < count[:, None]
    radius = pen[..., 0] / 2 * torch.exp(PRESSURE * _slow(n, points.shape[1], points.shape[2] - 1, device))
    radius = torch.where(there[:, :, None], radius, -1e3)
    starts, ends = points[:, :, :-1].flatten(1, 2), points[:, :, 1:].flatten(1, 2)
    dark = _depth(at, starts, ends, radius.flatten(1))
    # a pixel's share of ink, blurred by the scanner
    blur = 1.0 + 0.8 * torch.rand(n, 1, device=device)
    dark = (dark * (BOX_PX / 2) / blur + 0.5).clamp(0, 1)
    dark = dark * torch.exp(CONTRAST * torch.randn(n, 1, device=device)) + GRAIN * torch.rand(
        n, 1, device=device
    ) * torch.randn_like(dark)
    return dark.reshape(n, 1, PICTURE_PX, PICTURE_PX), points


@torch.compile(dynamic=False, disable=not torch.cuda.is_available())
def _depth(at: Tensor, starts: Tensor, ends: Tensor, radius: Tensor) -> Tensor:
    """Return how deep in the ink of round pens places lie, shape (n, places), the paper below nothing.

    at: shape (1, places, 1, 2); starts, ends: of straight pieces, (n, pieces, 2); radius: (n, pieces).
    """
    along = ends - starts
    away = at - starts[:, None]
    share = ((away * along[:, None]).sum(-1) / (along.square().sum(-1)[:, None] + 1e-9)).clamp(0, 1)
    gap = (away - share[..., None] * along[:, None]).square().sum(-1).sqrt()
    return (radius[:, None] - gap).amax(-1)


def _slow(n: int, strokes: int, points: int, device: Any) -> Tensor:
    """Return what varies slowly along strokes, shape (n, strokes, points), with a standard deviation of about 1."""
    at = torch.linspace(0, 1, points, device=device)
    wave = 0.5 + 2.5 * torch.rand(n, strokes, 1, device=device)
    return 1.4 * torch.sin(2 * torch.pi * (at * wave + torch.rand(n, strokes, 1, device=device)))


def thinned(points: Tensor) -> Tensor:
    """Return the strokes of drawings at `POINTS` points."""
    at = torch.linspace(0, DRAWN_POINTS - 1, POINTS, device=points.device)
    low = at.floor().long().clamp(max=DRAWN_POINTS - 2)
    share = (at - low)[:, None]
    out: Tensor = points[:, :, low] * (1 - share) + points[:, :, low + 1] * share
    return out


def surprise(network: Sketcher, pictures: Tensor, points: Tensor, count: Tensor, row: Tensor, sharp: float) -> Tensor:
    """Return -log likelihood of drawings (n, strokes, points, 2), shape (n,): the sketches are a mixture."""
    places, counts, odds = network(pictures, row)
    want = thinned(points)
    there = (torch.arange(MOST_STROKES, device=count.device) < count[:, None]).float()
    length = (want[:, :, 1:] - want[:, :, :-1]).norm(dim=3).sum(2) * there + 1e-3 * there
    share = there * 0.5 / count[:, None] + 0.5 * length / length.sum(1, keepdim=True)
    off = ((places - want[:, None]).square().sum(-1) + 1e-5).sqrt().mean(-1)
    off = (off * share[:, None]).sum(-1)
    told = functional.log_softmax(counts, dim=2).gather(2, (count - 1)[:, None, None].expand(-1, SKETCHES, 1))[..., 0]
    return -torch.logsumexp(functional.log_softmax(odds, 1) + told - sharp * off, 1)


def fit_sketches(
    known: Drawings,
    characters: int,
    *,
    steps: int,
    seed: int,
    device: str,
    progress: Callable[[int, int, float], None],
) -> Sketcher:
    """Return a network trained on drawings."""
    torch.manual_seed(seed)
    points = torch.from_numpy(known.points).to(device)
    count, row = torch.from_numpy(known.count).to(device), torch.from_numpy(known.row).to(device)
    weight = torch.from_numpy(known.weight).to(device)
    network = Sketcher(characters).to(device)
    mean = RunningMean(network, FIRST_STEPS)
    optimiser = torch.optim.AdamW(network.parameters(), RATE, weight_decay=DECAY)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, RATE, total_steps=steps, pct_start=0.1)
    network.train()
    total = 0.0
    for step in range(steps):
        some = torch.multinomial(weight, BATCH, replacement=True)
        with torch.no_grad():
            pictures, drawn = inked(bent(points[some].float()), count[some])
        named = row[some] * (torch.rand(len(some), device=device) > UNNAMED)
        sharp = SHARPNESS[0] * (SHARPNESS[1] / SHARPNESS[0]) ** min(1.0, step / (0.5 * steps))
        loss = surprise(network, pictures, drawn, count[some], named, sharp).mean()
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 5.0)
        optimiser.step()
        schedule.step()
        mean.follow()
        total += float(loss.detach()) if step % 50 == 0 else 0.0
        if (step + 1) % 500 == 0:
            progress(step + 1, steps, total / 10)
            total = 0.0
    mean.settle()
    network.eval()
    return network


@torch.no_grad()
def scored(network: Sketcher, others: Drawings, device: str) -> tuple[float, float, float]:
    """Return the surprise at drawings, and the shares of which a guess, and the first, is about right."""
    torch.manual_seed(1)
    found = []
    for at in torch.arange(len(others.count)).split(SCORED_AT_ONCE):
        points = torch.from_numpy(others.points[at.numpy()]).to(device).float()
        count, row = (torch.from_numpy(x[at.numpy()]).to(device) for x in (others.count, others.row))
        pictures, drawn = inked(points, count)
        surprised = surprise(network, pictures, drawn, count, row, SHARPNESS[1])
        places, counts, odds = network(pictures, row)
        off = (places - thinned(drawn)[:, None]).norm(dim=-1).mean(-1)
        there = torch.arange(MOST_STROKES, device=device) < count[:, None]
        right = ((off < RIGHT_HALF_SIZES) | ~there[:, None]).all(-1) & (counts.argmax(-1) + 1 == count[:, None])
        taken = (right & (odds.softmax(1) >= LEAST_PROBABILITY)).any(1)
        found.append(torch.stack([surprised, taken.float(), right.gather(1, odds.argmax(1)[:, None])[:, 0].float()]))
    a, b, c = torch.cat(found, 1).mean(1).tolist()
    return a, b, c


def kept(network: Sketcher, row: Mapping[str, int]) -> dict[str, NDArray[Any]]:
    """Return the arrays as `sketches.network_of` reads them, in half precision."""
    out: dict[str, NDArray[Any]] = dict(
        kept_layers(network.convolutions, (network.first, network.second, network.last))
    )
    for i, table in enumerate((network.character, network.second_of_character, network.last_of_character)):
        out[f"of_character_{i}"] = half(table.weight)
    return {**out, "characters": np.array([ord(c) for c in row], np.int32)}
