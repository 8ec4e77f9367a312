"""Reading with the label: each known form of the character walked over the ink, the best one kept.

The walk is a map matching (Newson & Krumm 2009): the model's points are the observations, the places and headings on
the network the hidden states, and the cheapest sequence of states is found by dynamic programming (Viterbi 1967). The
model is first laid over the ink by its box, then bent towards what the first walk found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.graph import at_lengths, line_length
from skeleton.network import Network
from skeleton.walk import States, coverage, fill_in

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


@dataclass(frozen=True, eq=False)
class Match:
    """A model found in the ink."""

    model: Model
    walks: tuple[list[int], ...]
    """Single steps from state to state, one list a stroke, in writing order."""

    fit: float
    """Cost of place, direction and stretch per point of the model; 0 is perfect."""

    shape: float
    """Distance between the walk and the model after an affine map, at equal arc lengths, in sizes of the character."""


@dataclass(frozen=True, eq=False)
class _Laid:
    """A model's points laid over the ink."""

    points: Points
    breaks: NDArray[np.int32]
    step: NDArray[np.float64]


def find_matches(net: Network, states: States, models: list[Model], *, keep: int = 4) -> list[Match]:
    """Return the models found in the ink, after a rough pass that keeps the best `keep` of them."""
    from skeleton.kernels import moves_within

    if not models or not len(states.here):
        return []
    lo, hi = states.here.min(axis=0), states.here.max(axis=0)
    size = float(max((hi - lo).max(), net.pen_px))
    total = float(sum(line_length(p) for p in net.pieces))
    step = max(0.6 * net.pen_px, total / 70)
    moves = moves_within(states.step_to, states.step_len, states.step_cost, states.step_at, 2.6 * step)
    rough = []
    for m in models:
        laid = _lay(m, lo, hi, step)
        walk, cost = _follow(laid, states, moves, size * PLACE)
        rough.append((cost / len(laid.points) - PRIOR * float(np.log(m.prior)), m, laid, walk))
    rough.sort(key=lambda r: r[0])
    out = []
    for _, m, laid, walk in rough[:keep]:
        extra = np.zeros(len(states.here))
        for share in (0.6, 0.85):
            laid = _bend_towards(laid, states.here[walk], size, share)
            walk, cost = _follow(laid, states, moves, size * PLACE * 0.75)
        out.append(_match(states, m, laid, walk, cost, size))
        for bonus in (0.35, 0.7):
            bare = np.repeat(coverage(states, _cut(states, laid, walk)) == 0, 2)
            if bare.sum() * 0.5 * 0.5 < 1.0:
                break
            extra[bare] -= bonus
            laid = _bend_towards(laid, states.here[walk], size, 0.85)
            walk, cost = _follow(laid, states, moves, size * PLACE, extra)
            cost -= float(extra[walk].sum())
            out.append(_match(states, m, laid, walk, cost, size))
    return out


def _lay(m: Model, lo: NDArray[np.float64], hi: NDArray[np.float64], step: float) -> _Laid:
    """Return the model fitted into the ink's box and divided into steps."""
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
    points, breaks, steps = [], [], []
    for s in m.strokes:
        line = s * scale + shift
        total = line_length(line) if len(line) > 1 else 0.0
        n = max(1 if total < 0.2 * step else 2, round(total / step) + 1)
        points.append(at_lengths(line, np.linspace(0, total, n)) if n > 1 else line.mean(axis=0, keepdims=True))
        breaks += [1] + [0] * (n - 1)
        steps += [max(total / max(n - 1, 1), 0.3 * step)] * n
    return _Laid(np.concatenate(points), np.array(breaks, np.int32), np.array(steps))


def _tangents(laid: _Laid) -> Points:
    p, first = laid.points, laid.breaks == 1
    last = np.append(first[1:], True)
    nxt, prv = np.roll(p, -1, axis=0), np.roll(p, 1, axis=0)
    d = np.where(last[:, None], p, nxt) - np.where(first[:, None], p, prv)
    size = np.sqrt((d * d).sum(axis=1))
    return d / np.maximum(size, 1e-9)[:, None] * (size > 1e-6)[:, None]


def _follow(
    laid: _Laid,
    states: States,
    moves: tuple[NDArray[np.int64], NDArray[np.int32], Points, Points],
    place: float,
    extra: NDArray[np.float64] | None = None,
) -> tuple[NDArray[np.int32], float]:
    from skeleton.kernels import follow

    if extra is None:
        extra = np.zeros(len(states.here))
    walk, cost = follow(
        laid.points, _tangents(laid), laid.breaks, states.here, states.heading, states.start_cost, extra,
        *moves, laid.step, place, 0.5, 0.8, 0.15, 1.0,
    )  # fmt: skip
    return walk, float(cost)


def _bend_towards(laid: _Laid, found: Points, size: float, share: float) -> _Laid:
    """Return the model moved towards where the walk found it: an affine map, then what neighbours agree on."""
    p = laid.points
    x = np.column_stack([p, np.ones(len(p))])
    ridge = 0.02 * len(p) * np.diag([1.0, 1.0, 0.0])
    w = np.ones(len(p))
    mid = np.append(p.mean(axis=0), 0.0)
    x = x - mid
    for _ in range(2):
        a = np.linalg.solve(x.T @ (w[:, None] * x) + ridge * size * size * 0.05, x.T @ (w[:, None] * (found - p)))
        r = found - p - x @ a
        d = np.sqrt((r * r).sum(axis=1))
        w = 1 / (1 + (d / (0.08 * size)) ** 2)
    moved = p + x @ a
    r = found - moved
    gap = moved[:, None] - moved[None]
    near = np.exp(-(gap * gap).sum(axis=2) / (2 * (0.14 * size) ** 2))
    # only neighbours on the same stroke bend together
    stroke = np.cumsum(laid.breaks)
    near *= np.where(stroke[:, None] == stroke[None], 1.0, 0.15) * w
    local = near @ r / near.sum(axis=1, keepdims=True)
    points = moved + share * local
    d = np.sqrt((np.diff(points, axis=0, prepend=points[:1]) ** 2).sum(axis=1))
    step = np.where(laid.breaks == 1, laid.step, np.maximum(d, 0.3 * laid.step))
    return _Laid(points, laid.breaks, step)


def _match(states: States, m: Model, laid: _Laid, walk: NDArray[np.int32], cost: float, size: float) -> Match:
    walks = _cut(states, laid, walk)
    return Match(m, tuple(walks), cost / len(laid.points), _shape_distance(states, m, walks) / size)


def _shape_distance(states: States, m: Model, walks: list[list[int]]) -> float:
    """Return the mean distance between walks and model strokes after the affine map that suits them best."""
    total = sum(line_length(s) for s in m.strokes if len(s) > 1)
    model, walk = [], []
    for s, w in zip(m.strokes, walks, strict=True):
        long = line_length(s) if len(s) > 1 else 0.0
        n = max(2, round(48 * long / max(total, 1e-9)))
        u = np.linspace(0, 1, n)
        model.append(at_lengths(s, u * long) if long > 0 else np.repeat(s[:1], n, axis=0))
        line = states.here[w]
        reach = line_length(line) if len(line) > 1 else 0.0
        walk.append(at_lengths(line, u * reach) if reach > 0 else np.repeat(line[:1], n, axis=0))
    a, b = np.concatenate(model), np.concatenate(walk)
    a, b = a - a.mean(axis=0), b - b.mean(axis=0)
    ridge = 0.02 * float((a * a).sum()) * np.eye(2)
    scale = np.sqrt(float((b * b).sum()) / max(float((a * a).sum()), 1e-12))
    m_ = np.linalg.solve(a.T @ a + ridge + 1e-9 * np.eye(2), a.T @ b + ridge * scale)
    r = b - a @ m_
    return float(np.sqrt((r * r).sum(axis=1)).mean())


def _cut(states: States, laid: _Laid, walk: NDArray[np.int32]) -> list[list[int]]:
    return [fill_in(states, w) for w in np.split(walk, np.flatnonzero(laid.breaks)[1:])]
