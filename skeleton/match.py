"""Reading with the label: each known form of the character walked over the ink, the best one kept.

The walk is a map matching (Newson & Krumm 2009): the model's points are the observations, the places and headings on
the network the hidden states, and the cheapest sequence of states is found by dynamic programming (Viterbi 1967). The
model is first laid over the ink by its box, then bent towards what the first walk found.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.agreement import Shape, shape_of
from skeleton.graph import line_length
from skeleton.network import Network
from skeleton.walk import States, Walks

PLACE = 0.16
"""Standard deviation of a model point's place, in sizes of the character."""

PRIOR = 0.12
"""Weight of the log of a form's prior in the rough pass."""


@dataclass(frozen=True, eq=False)
class Model:
    """A form to look for: strokes in any unit, y down."""

    name: str
    strokes: tuple[Points, ...]
    prior: float = 1.0

    @cached_property
    def shape(self) -> Shape:
        """What readings are compared with."""
        return shape_of(self.strokes)


@dataclass(frozen=True, eq=False)
class Match:
    """A model found in the ink."""

    model: Model
    end_to_end: Walks
    """Single steps from state to state, in writing order."""

    fit: float
    """Cost of place, direction and stretch per point of the model; 0 is perfect."""


@dataclass(frozen=True, eq=False)
class _Laid:
    """A model's points laid over the ink."""

    points: Points
    breaks: NDArray[np.int32]
    step: NDArray[np.float64]


def find_matches(net: Network, states: States, models: list[Model], *, keep: int = 9, rounds: int = 3) -> list[Match]:
    """Return the models found in the ink, after a rough pass that keeps the best `keep` of them.

    Every model kept is walked up to `rounds` times: the later ones are drawn to ink that was left bare.
    """
    from skeleton import model_kernels, walk_kernels

    laying: Any = model_kernels
    walking: Any = walk_kernels

    if not models or not len(states.here):
        return []
    lo, hi = states.here.min(axis=0), states.here.max(axis=0)
    size = float(max((hi - lo).max(), net.pen_px))
    total = float(sum(line_length(p) for p in net.pieces))
    step = max(0.6 * net.pen_px, total / 70)
    single = (states.step_to, states.step_len, states.step_cost, states.step_at)
    moves = walking.moves_within(*single, 2.6 * step)
    place = (states.here, states.heading, states.start_cost)
    nothing = np.zeros(len(states.here))
    rough = []
    for m in models:
        laid = _lay(m, lo, hi, step)
        walk, cost = walking.follow(
            laid.points, laying.tangents_of(laid.points, laid.breaks), laid.breaks, *place, nothing,
            *moves, laid.step, size * PLACE, 0.5, 0.8, 0.15, 1.0,
        )  # fmt: skip
        rough.append((cost / len(laid.points) - PRIOR * float(np.log(m.prior)), m, laid, walk))
    rough.sort(key=lambda r: r[0])
    out: dict[tuple[bytes, bytes], Match] = {}
    for _, m, laid, walk in rough[:keep]:
        for at, starts, fit in laying.match_model(
            laid.points, laid.breaks, laid.step, *place, states.piece, *moves, *single, walk, size, size * PLACE, rounds
        ):
            key = at.tobytes(), starts.tobytes()
            # of two models with the same walks the one that suits better and is more usual stands for both
            if key not in out or _merit(fit, m) < _merit(out[key].fit, out[key].model):
                out[key] = Match(m, (at, starts), float(fit))
    return list(out.values())


def _merit(fit: float, m: Model) -> float:
    return 6.0 * fit - float(np.log(m.prior))


def _lay(m: Model, lo: NDArray[np.float64], hi: NDArray[np.float64], step: float) -> _Laid:
    """Return the model fitted into the ink's box and divided into steps."""
    from skeleton.model_kernels import lay_model

    every = np.concatenate(m.strokes)
    a, b = every.min(axis=0), every.max(axis=0)
    have, want = b - a, hi - lo
    k = int(np.argmax(have))
    scale = np.full(2, want[k] / max(have[k], 1e-9))
    if have[k] < 1e-6:
        scale[:] = 1.0
    thin = have[1 - k] < 0.22 * have[k] or want[1 - k] < 0.22 * want[k]
    if not thin and have[1 - k] > 0:
        scale[1 - k] = want[1 - k] / have[1 - k]
    shift = 0.5 * (lo + hi) - 0.5 * (a + b) * scale
    starts = np.cumsum([0, *map(len, m.strokes)])
    return _Laid(*lay_model(every, starts, scale, shift, step))
