"""How well a reading's strokes suit the known forms of the character, number, order and direction included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skeleton.agreement import SAMPLES
from skeleton.choice_kernels import UNKNOWN, suits
from skeleton.match import Model

Floats = NDArray[np.float64]

NO_FORM = (-float(np.log(UNKNOWN)), -float(np.log(UNKNOWN)), 0.3, 0.5, 0.5, -float(np.log(0.02)))
"""Features of a reading with a number of strokes that no form has."""


@dataclass(frozen=True, eq=False)
class _Group:
    shapes: Floats
    lengths: Floats
    priors: Floats
    surprise: float
    """At the number of strokes."""


class Forms:
    """The forms of a character by number of strokes, ready for comparing."""

    def __init__(self, models: Sequence[Model]) -> None:
        by_count: dict[int, list[Model]] = {}
        for m in models:
            by_count.setdefault(len(m.strokes), []).append(m)
        whole = max(sum(m.prior for m in models), 1e-9)
        self._groups: dict[int, _Group] = {}
        for n, group in by_count.items():
            shapes = [m.shape for m in group]
            priors = np.array([m.prior / whole for m in group])
            self._groups[n] = _Group(
                np.array([s.strokes for s in shapes]),
                np.array([s.lengths for s in shapes]),
                priors,
                -float(np.log(float(priors.sum()) + 0.02)),
            )

    def features(self, walk: NDArray[np.int32], starts: NDArray[np.int64], here: Floats) -> list[float]:
        """Return surprise at the shape (narrow, wide), distances from the nearest form, surprise at the number."""
        group = self._groups.get(len(starts) - 1)
        if group is None:
            return list(NO_FORM)
        told = suits(walk, starts, here, SAMPLES, group.shapes, group.lengths, group.priors)
        return [*told, group.surprise]
