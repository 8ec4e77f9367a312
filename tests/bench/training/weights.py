"""Weights of networks in PyTorch: their mean over the last steps of a training, and how they are kept."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from torch import Tensor, nn

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
