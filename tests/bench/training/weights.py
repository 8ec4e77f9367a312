"""Weights of networks in PyTorch: how they are fitted, their mean over the last steps, and how they are kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

AVERAGED, AVERAGED_FIRST = 0.002, 0.02
"""Share of every step in the running mean of the weights, and of the first steps."""


class RunningMean:
    """The mean of a network's weights over the steps of its training, the last ones counting most."""

    def __init__(self, network: nn.Module, first_steps: int) -> None:
        self._network, self._first, self._seen = network, first_steps, 0
        self._mean = {name: value.detach().clone() for name, value in network.state_dict().items()}

    def follow(self) -> None:
        """Take a step into the mean."""
        self._seen += 1
        share = AVERAGED if self._seen > self._first else AVERAGED_FIRST
        for name, value in self._network.state_dict().items():
            self._mean[name].lerp_(value.detach(), share)

    def settle(self) -> None:
        """Give the network its mean weights."""
        self._network.load_state_dict(self._mean)


@dataclass(frozen=True)
class Course:
    """How a network is fitted: AdamW, one cycle of the rate, the running mean of the weights kept."""

    rate: float
    decay: float
    batch: int
    """Examples of a step; of fewer all."""

    first_steps: int
    """See `RunningMean`."""

    warm_up: float = 0.15
    """Share of the steps in which the rate rises."""


def fitted(
    network: nn.Module,
    loss_of: Callable[[Tensor], Tensor],
    count: int,
    course: Course,
    *,
    epochs: int,
    progress: Callable[[int, int, float], None],
) -> None:
    """Fit a network's weights.

    Parameters
    ----------
    loss_of
        Of the numbers of a step's examples, shape (examples,), on the processor.
    count
        How many examples there are.
    progress
        Is told each epoch: its number, of how many, and the loss of its last step.
    """
    mean = RunningMean(network, course.first_steps)
    optimiser = torch.optim.AdamW(network.parameters(), course.rate, weight_decay=course.decay)
    batch = min(course.batch, count)
    steps = epochs * (count // batch)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, course.rate, total_steps=steps, pct_start=course.warm_up)
    network.train()
    for epoch in range(epochs):
        order = torch.randperm(count)
        for at in range(0, count - batch + 1, batch):
            loss = loss_of(order[at : at + batch])
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
            schedule.step()
            mean.follow()
        progress(epoch + 1, epochs, loss.item())
    mean.settle()


def convolutions(
    picture: tuple[int, int, int], channels: Sequence[int], kernels: Sequence[int], strides: Sequence[int]
) -> tuple[nn.ModuleList, int]:
    """Return convolutions over pictures, and how many numbers the last one gives of each.

    picture: channels, height and width. The others: of each convolution.
    """
    before, height, width = picture
    layers = nn.ModuleList()
    for after, k, stride in zip(channels, kernels, strides, strict=True):
        layers.append(nn.Conv2d(before, after, k, stride, k // 2))
        before, height, width = after, -(-height // stride), -(-width // stride)
    return layers, before * height * width


class PictureLayers(nn.Module):
    """Convolutions, and three layers of a perceptron that is also told measures; see `small_networks.PictureNetwork`.

    Parameters
    ----------
    picture
        Channels, height and width of the pictures.
    channels, kernels, strides
        Of the convolutions.
    hidden
        Numbers that the first and the second layer of the perceptron give.
    measures, outcomes
        How many there are.
    dropout
        Share of the numbers that are left out on the way into the perceptron's first two layers.
    """

    def __init__(
        self,
        picture: tuple[int, int, int],
        channels: Sequence[int],
        kernels: Sequence[int],
        strides: Sequence[int],
        hidden: tuple[int, int],
        *,
        measures: int,
        outcomes: int,
        dropout: float,
    ) -> None:
        super().__init__()
        self.dropout = dropout
        self.convolutions, seen = convolutions(picture, channels, kernels, strides)
        self.first, self.second = nn.Linear(seen, hidden[0]), nn.Linear(*hidden)
        self.last = nn.Linear(hidden[1], outcomes)
        self.measures = nn.Linear(measures, hidden[0], bias=False)

    def summed(self, pictures: Tensor, measures: Tensor) -> Tensor:
        """Return what the first layer sums, (n, hidden)."""
        x = pictures
        for convolution in self.convolutions:
            x = functional.relu(convolution(x))
        x = functional.dropout(x.flatten(1), self.dropout, self.training)
        out: Tensor = self.first(x) + self.measures(measures)
        return out

    def outcome(self, summed: Tensor) -> Tensor:
        """Return what comes of these sums, (n, outcomes)."""
        x = functional.dropout(functional.relu(summed), self.dropout, self.training)
        out: Tensor = self.last(functional.relu(self.second(x)))
        return out

    def kept(self) -> dict[str, NDArray[np.float16]]:
        """Return the weights of the convolutions and the perceptron; see `kept_layers`."""
        return kept_layers(self.convolutions, (self.first, self.second, self.last))


def half(x: Tensor) -> NDArray[np.float16]:
    """Return weights in half precision."""
    out: NDArray[np.float16] = x.detach().cpu().numpy().astype(np.float16)
    return out


def kept_layers(convolutions: Sequence[nn.Conv2d], layers: Sequence[nn.Linear]) -> dict[str, NDArray[np.float16]]:
    """Return kernels and weights with their offsets, by the names under which the tracer looks for them."""
    out = {}
    for i, convolution in enumerate(convolutions):
        out[f"kernels_{i}"], out[f"kernel_offsets_{i}"] = half(convolution.weight), half(convolution.bias)
    for i, layer in enumerate(layers):
        out[f"weights_{i}"], out[f"offsets_{i}"] = half(layer.weight.T), half(layer.bias)
    return out
