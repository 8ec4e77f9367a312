"""How well a reading's strokes suit the known forms of the character, number, order and direction included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skeleton.agreement import SAMPLES
from skeleton.match import Model

Floats = NDArray[np.float64]

SPREAD = 0.035
"""Distance, in sizes of the character, at which a form is 1/e as likely as a perfect one."""

WIDE = 0.1

UNKNOWN = 0.004
"""Likelihood of a form that is in no table."""


NO_FORM = (-float(np.log(UNKNOWN)), -float(np.log(UNKNOWN)), 0.3, 0.5, 0.5, -float(np.log(0.02)))
"""Features of a reading with a number of strokes that no form has."""


@dataclass(frozen=True, eq=False)
class _Group:
    shapes: Floats
    lengths: Floats
    priors: Floats


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
            self._groups[n] = _Group(
                np.array([s.strokes for s in shapes]),
                np.array([s.lengths for s in shapes]),
                np.array([m.prior / whole for m in group]),
            )

    def features(self, walk: NDArray[np.int32], starts: NDArray[np.int64], here: Floats) -> list[float]:
        """Return surprise at the shape (narrow, wide), distances from the nearest form, surprise at the number."""
        from skeleton.choice_kernels import how_far, shape_of_walks

        group = self._groups.get(len(starts) - 1)
        if group is None:
            return list(NO_FORM)
        strokes, lengths = shape_of_walks(walk, starts, here, SAMPLES)
        far = how_far(strokes, lengths, group.shapes, group.lengths)
        mean = far[:, 0]
        likely = float((group.priors * np.exp(-mean / SPREAD)).sum()) + UNKNOWN
        widely = float((group.priors * np.exp(-mean / WIDE)).sum()) + UNKNOWN
        count = float(group.priors.sum()) + 0.02
        near = far[int(np.argmin(mean - WIDE * np.log(group.priors)))]
        return [
            -float(np.log(likely)), -float(np.log(widely)), float(min(near[0], 0.3)), float(min(near[1], 0.5)),
            float(min(near[2], 0.5)), -float(np.log(count)),
        ]  # fmt: skip
