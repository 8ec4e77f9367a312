"""The network of `skeleton.scoring.writing_habits` in PyTorch, to be fitted; on a graphics card where there is one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from skeleton.pipeline import FIT_COST_WINDOW, FIT_TOP_N, MAX_HYPOTHESES, MAX_JUDGED_READINGS
from skeleton.scoring.writing_habits import FINE_SCALE, MAX_FEATURE_SPREADS, MAX_UNLIKE, MAX_UNLIKE_FINE, Habits
from tests.bench.training.choices import Choices
from tests.bench.training.weights import half

Floats = NDArray[np.float64]

HIDDEN, AGAIN = (256, 128), 32
DROPOUT, DECAY, RATE, BATCH = 0.3, 0.05, 2e-3, 512
UNKNOWN_SHARE = 0.03
"""Share of the characters that the network is not told while it is fitted, for what all have in common."""

PATHS_WORTH = 0.15
"""What a reading is worth that is right in its paths alone."""

FIRST_LOOK_SHARE = 0.3
"""Weight of the surprise at the first look, which chooses what is fitted to the ink, beside that at the second."""

FIRST_RESIDUAL_INK = 1.75
"""Where the fit of `Habits.residual_ink` starts, before it is made positive."""

MISSING = 1e4
"""Cost of a reading that is not there."""


@dataclass(frozen=True, eq=False)
class Batch:
    """The choices of some characters side by side, filled up to `MAX_JUDGED_READINGS` readings."""

    strokes: Tensor
    along: Tensor
    features: Tensor
    linear: Tensor
    """Shape (characters, readings, ...)."""

    unlike: Tensor
    """Shape (characters, readings): beyond the reading that explains the ink best, the worst's where not fitted."""

    fitted: Tensor
    there: Tensor
    paths: Tensor
    full: Tensor
    """Shape (characters, readings)."""

    row: Tensor
    seen: Tensor
    weight: Tensor
    """Shape (characters,)."""


@dataclass(frozen=True, eq=False)
class Told:
    """Choices on the machine that fits."""

    begin: Tensor
    counts: Tensor
    readings: dict[str, Tensor]
    row: Tensor
    seen: Tensor
    weight: Tensor


def ready(every: Choices, row: Mapping[int, int], weights: Mapping[str, float], *, all_unseen: bool = False) -> Told:
    """Return choices where they are worked on; row: of each code point; weights: of data sets, 1 if not said."""
    device = "cuda" if torch.cuda.is_available() else "cpu"

    def there(x: NDArray[np.generic]) -> Tensor:
        return torch.as_tensor(np.ascontiguousarray(x)).to(device)

    counts = every.counts.astype(np.int64)
    names = ("strokes", "along", "features", "linear", "unlike", "paths", "full")
    return Told(
        there(np.concatenate([[0], np.cumsum(counts)[:-1]])),
        there(counts),
        {name: there(getattr(every, name)) for name in names},
        there(np.array([row.get(int(c), 0) for c in every.char])),
        there(np.zeros(len(counts), np.float32) if all_unseen else every.seen.astype(np.float32)),
        there(np.array([weights.get(str(s), 1.0) for s in every.source], np.float32)),
    )


def batch(every: Told, at: Tensor) -> Batch:
    """Return the choices of characters `at`, shape (n,)."""
    place = torch.arange(MAX_JUDGED_READINGS, device=at.device)[None]
    there = place < every.counts[at][:, None]
    i = every.begin[at][:, None] + torch.where(there, place, 0)
    r = {name: x[i] for name, x in every.readings.items()}
    fitted = there & ~torch.isnan(r["unlike"])
    unlike = beyond_best(torch.nan_to_num(r["unlike"]), fitted)
    linear = torch.where(there, r["linear"], MISSING)
    return Batch(
        r["strokes"].float(), r["along"].float(), r["features"], linear, unlike, fitted, there,
        r["paths"] & there, r["full"] & there, every.row[at], every.seen[at], every.weight[at],
    )  # fmt: skip


def beyond_best(unlike: Tensor, fitted: Tensor) -> Tensor:
    """Return ink left unexplained beyond what the best one leaves; those not fitted leave what the worst does."""
    worst = torch.where(fitted, unlike, -MISSING).amax(1, keepdim=True)
    best = torch.where(fitted, unlike, MISSING).amin(1, keepdim=True)
    out = torch.where(fitted, unlike, worst) - best
    return torch.where(fitted.any(1, keepdim=True), out, torch.zeros_like(out))


class HabitNetwork(nn.Module):
    """Two layers of rectified sums, offsets and last weights by character; a third for the second look."""

    def __init__(self, inputs: int, characters: int, shift: Tensor, scale: Tensor) -> None:
        super().__init__()
        self.register_buffer("shift", shift)
        self.register_buffer("scale", scale)
        self.first, self.second = nn.Linear(inputs, HIDDEN[0]), nn.Linear(2 * HIDDEN[0], HIDDEN[1])
        self.first_of, self.second_of = nn.Embedding(characters, HIDDEN[0]), nn.Embedding(characters, HIDDEN[1])
        self.last, self.last_of = nn.Linear(HIDDEN[1], 1, bias=False), nn.Embedding(characters, HIDDEN[1])
        self.again, self.again_last = nn.Linear(HIDDEN[1] + 3, AGAIN), nn.Linear(AGAIN, 1, bias=False)
        self.residual_ink = nn.Parameter(torch.tensor(FIRST_RESIDUAL_INK))
        self.drop = nn.Dropout(DROPOUT)
        for table in (self.first_of, self.second_of):
            nn.init.normal_(table.weight, 0, 0.1)
        for zero in (self.last, self.last_of, self.again_last):
            nn.init.zeros_(zero.weight)

    def forward(self, of: Batch, row: Tensor) -> tuple[Tensor, Tensor]:
        """Return the costs at the first look, shape (characters, readings), and what the second look starts from."""
        told = ((of.features - self.shift) / self.scale).clamp(-MAX_FEATURE_SPREADS, MAX_FEATURE_SPREADS)
        # last whether the clues are of a person whom their network knows: they are worth more than they ever will be
        seen = of.seen[:, None, None].expand(-1, told.shape[1], 1)
        x = torch.cat([of.strokes, told, of.along, seen], -1)
        y = torch.relu(self.first(x) + self.first_of(row)[:, None])
        of_all = (torch.softmax(-of.linear, 1)[..., None] * y).sum(1, keepdim=True)
        y = self.drop(torch.cat([y, of_all.expand_as(y)], -1))
        z = self.drop(torch.relu(self.second(y) + self.second_of(row)[:, None]))
        more = (z * (self.last.weight + self.last_of(row))[:, None]).sum(-1)
        return torch.where(of.there, of.linear + more, MISSING), z

    def looked_again(self, cost: Tensor, traits: Tensor, unlike: Tensor, fitted: Tensor) -> Tensor:
        """Return the costs at the second look, shape (characters, readings)."""
        wide, fine = unlike.clamp(0, MAX_UNLIKE), FINE_SCALE * unlike.clamp(0, MAX_UNLIKE_FINE)
        x = torch.cat([traits, torch.stack([wide, fitted.float(), fine], -1)], -1)
        more = self.again_last(torch.relu(self.again(x))).squeeze(-1)
        out: Tensor = cost + nn.functional.softplus(self.residual_ink) * unlike + more
        return torch.where(cost < MISSING, out, MISSING)


def fit(
    known: Told,
    characters: int,
    *,
    epochs: int,
    seed: int,
    progress: Callable[[int, int, float], None],
    rate: float = RATE,
    begun: Habits | None = None,
) -> HabitNetwork:
    """Return a network fitted as a conditional logit, its output added to the cost (AdamW, one cycle of the rate).

    begun: a network whose fit goes on, with the same characters in the same rows.
    """
    torch.manual_seed(seed)
    device = known.counts.device
    of = torch.repeat_interleave(torch.arange(len(known.counts), device=device), known.counts)
    right = (known.readings["full"] | known.readings["paths"]).float()
    any_right = torch.zeros(len(known.counts), device=device).index_add_(0, of, right) > 0
    use = torch.nonzero(any_right & (known.counts > 1)).flatten()
    features = known.readings["features"]
    shift, scale = features.mean(0), features.std(0) + 1e-3
    inputs = known.readings["strokes"].shape[1] + features.shape[1] + known.readings["along"].shape[1] + 1
    network = HabitNetwork(inputs, characters, shift, scale)
    if begun is not None:
        _take_up(network, begun)
    network = network.to(device)
    optimizer = torch.optim.AdamW(network.parameters(), rate, weight_decay=DECAY)
    batches = max(1, len(use) // BATCH)
    cycle = torch.optim.lr_scheduler.OneCycleLR(optimizer, rate, total_steps=epochs * batches)
    network.train()
    for epoch in range(epochs):
        order, total = use[torch.randperm(len(use), device=device)], torch.zeros((), device=device)
        for b in range(batches):
            x = batch(known, order[b * BATCH : (b + 1) * BATCH])
            row = torch.where(torch.rand(len(x.row), device=device) < UNKNOWN_SHARE, 0, x.row)
            first, traits = network(x, row)
            worth = torch.where(x.full, 1.0, PATHS_WORTH * x.paths.float())
            second = network.looked_again(first, traits, x.unlike, x.fitted)
            loss = (surprise(second, worth) + FIRST_LOOK_SHARE * surprise(first, worth)) @ x.weight / x.weight.sum()
            optimizer.zero_grad()
            loss.backward()
            optimizer.step()
            cycle.step()
            total += loss.detach()
        progress(epoch + 1, epochs, float(total) / batches)
    return network.eval()


@torch.no_grad()
def _take_up(network: HabitNetwork, begun: Habits) -> None:
    """Give a network what one that was kept has; `kept` the other way round."""

    def lay(into: Tensor, x: NDArray[np.float32]) -> None:
        into.copy_(torch.as_tensor(x))

    lay(network.shift, begun.shift)
    lay(network.scale, begun.scale)
    network.first.weight.zero_()
    lay(network.first.weight[:, :-1], begun.first.T)
    lay(network.second.weight[:, : HIDDEN[0]], begun.second.T)
    lay(network.second.weight[:, HIDDEN[0] :], begun.second_of_all.T)
    # what all characters have in common is the mean of what each has
    for shared, own, rows in (
        (network.first.bias, network.first_of.weight, begun.first_offsets),
        (network.second.bias, network.second_of.weight, begun.second_offsets),
        (network.last.weight[0], network.last_of.weight, begun.last),
    ):
        lay(shared, rows.mean(axis=0))
        own[0] = 0.0
        lay(own[1:], rows - rows.mean(axis=0))
    lay(network.again.weight, begun.again.T)
    lay(network.again.bias, begun.again_offsets)
    lay(network.again_last.weight[0], begun.again_last)
    network.residual_ink.fill_(float(np.log(np.expm1(begun.residual_ink))))


def surprise(cost: Tensor, worth: Tensor) -> Tensor:
    """Return minus the log likelihood of the right readings, shape (characters,)."""
    return torch.logsumexp(-cost, 1) - torch.logsumexp(torch.log(worth + 1e-12) - cost, 1)


@torch.no_grad()
def rated(network: HabitNetwork, every: Told) -> Floats:
    """Return shape (characters, 5): whether the linear costs, and the network, read right; paths; any right reading.

    Columns: paths by linear costs, paths by the network, full by either, full among those considered.
    """
    network.eval()
    out = []
    for at in torch.arange(len(every.counts), device=every.counts.device).split(4096):
        x = batch(every, at)
        first, traits = network(x, x.row)
        rank = first.argsort(1).argsort(1)
        fitted = x.fitted & (rank < FIT_TOP_N) & (first <= first.amin(1, keepdim=True) + FIT_COST_WINDOW)
        fitted &= fitted.sum(1, keepdim=True) > 1
        second = network.looked_again(first, traits, beyond_best(x.unlike, fitted), fitted)
        second = torch.where(rank < MAX_HYPOTHESES, second, MISSING)
        one, other = x.linear.argmin(1, keepdim=True), second.argmin(1, keepdim=True)
        columns = [x.paths.gather(1, one), x.paths.gather(1, other), x.full.gather(1, one), x.full.gather(1, other)]
        out.append(torch.cat([*columns, x.full.any(1, keepdim=True)], 1).double().cpu().numpy())
    return np.concatenate(out)


def kept(network: HabitNetwork, row: Mapping[int, int]) -> dict[str, NDArray[np.generic]]:
    """Return the arrays that `skeleton.scoring.writing_habits` works with, most in half precision."""
    of = torch.tensor(list(row.values()), device=network.first.weight.device)
    return {
        "characters": np.array(list(row), np.int32),
        "shift": network.shift.cpu().numpy(),
        "scale": network.scale.cpu().numpy(),
        # nobody's clues are known any more: without the last input
        "first": half(network.first.weight[:, :-1].T),
        "first_offsets": half(network.first.bias + network.first_of(of)),
        "second": half(network.second.weight[:, : HIDDEN[0]].T),
        "second_of_all": half(network.second.weight[:, HIDDEN[0] :].T),
        "second_offsets": half(network.second.bias + network.second_of(of)),
        "last": half(network.last.weight + network.last_of(of)),
        "again": half(network.again.weight.T),
        "again_offsets": half(network.again.bias),
        "again_last": half(network.again_last.weight[0]),
        "residual_ink": nn.functional.softplus(network.residual_ink).detach().cpu().double().numpy(),
    }
