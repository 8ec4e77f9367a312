"""How the pen gets along a path: the sigma-lognormal model of hand movement.

A stroke is a chain of strokelets, each a circular arc between two virtual targets, run through with a lognormal speed
and begun before the one before it has ended (Plamondon 1995, *A kinematic theory of rapid human movements*, Biological
Cybernetics 72, 295-320; O'Reilly & Plamondon 2009, *Development of a Sigma-Lognormal representation for on-line
signatures*, Pattern Recognition 42, 3324-3337). Because they overlap, the pen cuts the corner at a virtual target; a
practised writer aims beyond it. Physiological tremor (8-12 Hz) lies on top.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr  # type: ignore[import-untyped, unused-ignore]

from sample_sheets.writer.letterforms import Path

Array = NDArray[np.float64]

STEP_S = 0.004


@dataclass(frozen=True)
class Manner:
    """How a person moves; lengths in the unit of the path."""

    rhythm_s: float = 0.085
    """Time between the onsets of two strokelets on a smooth curve."""

    spread: float = 0.27
    """Sigma of the lognormal speed profiles."""

    reach_s: float = 0.19
    """exp(mu): median time of a strokelet after its onset."""

    practice: float = 0.93
    """Share of the corner-cutting that the writer compensates by aiming beyond; 1: none is cut."""

    aim_sd: float = 0.016
    """Standard deviation of a virtual target about where it should be."""

    bend_sd_deg: float = 4.0
    """Standard deviation of the turning of a strokelet's arc."""

    bow_sd_deg: float = 12.0
    """The same of one that was meant straight: nobody's straight lines are."""

    timing_sd: float = 0.13
    """Standard deviation of the logarithm of the time between onsets."""

    overshoot: float = 0.03
    """Standard deviation of the share by which the last strokelet goes too far or stops short."""

    tremor: float = 0.003
    """Root mean square of the tremor."""


@dataclass(frozen=True, eq=False)
class Movement:
    """A pen-down movement, sampled every `STEP_S` seconds."""

    at: Array
    """Shape (n, 2)."""

    speed: Array
    """Shape (n,): units of the path a second."""


def _wrap(angle: Array) -> Array:
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)


def _arcs(targets: Array, bend: Array, done: Array) -> Array:
    """Return where the pen is, (t, 2), with arcs of turning `bend` (n,) run through to the shares `done` (t, n)."""
    chord = np.diff(targets, axis=0)
    length = np.hypot(chord[:, 0], chord[:, 1])
    half = np.where(np.abs(bend) < 1e-6, 1e-6, bend) / 2
    way = length * half / np.sin(half)  # length of the arc over its chord
    start = np.arctan2(chord[:, 1], chord[:, 0]) - half
    radius = way / (2 * half)
    now = start + 2 * half * done
    x = (radius * (np.sin(now) - np.sin(start))).sum(axis=1)
    y = (radius * (np.cos(start) - np.cos(now))).sum(axis=1)
    return np.asarray(targets[0] + np.column_stack([x, y]))


def move(path: Path, manner: Manner, rng: np.random.Generator) -> Movement:
    """Return one attempt at `path`."""
    at = path.at
    n = len(at) - 1
    chord = np.diff(at, axis=0)
    length = np.hypot(chord[:, 0], chord[:, 1])
    out = np.arctan2(path.leaving[:-1, 1], path.leaving[:-1, 0])
    into = np.arctan2(path.arriving[1:, 1], path.arriving[1:, 0])
    bend = np.clip(_wrap(into - out), -2.4, 2.4)
    corner = np.abs(_wrap(out[1:] - into[:-1]))

    # Long strokelets and sharp corners take more time (isochrony holds only roughly).
    gap = manner.rhythm_s * (0.6 + 0.7 * (length[:-1] / 0.6) ** 0.4) * (1 + 0.75 * np.minimum(corner, 2.2) / 2.2)
    gap = gap * np.where(corner > 0.5, 1.25, 1.0)
    onset = np.r_[0.0, np.cumsum(gap)]
    median, spread = manner.reach_s, manner.spread

    # Where a practised writer aims so that the pen comes by the knots.
    aims = at.copy()
    passing = (onset[:-1] + onset[1:]) / 2 + median
    done = _progress(passing, onset, np.full(n, median), np.full(n, spread))
    for _ in range(8 if n > 1 else 0):
        aims[1:-1] += 0.8 * (at[1:-1] - _arcs(aims, bend, done))
    aims[1:-1] = at[1:-1] + manner.practice * (aims[1:-1] - at[1:-1])

    # Today's attempt.
    aims += rng.normal(0, manner.aim_sd, aims.shape)
    if n >= 1:
        aims[-1] += (aims[-1] - aims[-2]) * rng.normal(0.0, manner.overshoot)
    meant_straight = np.exp(-np.abs(bend) / 0.3)
    strays = manner.bend_sd_deg * np.minimum(1, 0.35 + np.abs(bend)) * (1 - meant_straight)
    bend = bend + np.radians(strays + manner.bow_sd_deg * meant_straight) * rng.normal(size=n)
    onset = np.r_[0.0, np.cumsum(gap * np.exp(rng.normal(0, manner.timing_sd, len(gap))))]
    medians = median * np.exp(rng.normal(0, 0.05, n))
    spreads = spread * np.exp(rng.normal(0, 0.10, n))

    begin = onset[0] + medians[0] * np.exp(-2.4 * spreads[0])
    end = onset[-1] + medians[-1] * np.exp(2.4 * spreads[-1])
    time = np.arange(begin, end + STEP_S, STEP_S)
    done = _progress(time, onset, medians, spreads)
    xy = _arcs(aims, bend, done)
    xy = xy + _tremor(len(time), rng) * manner.tremor
    speed = np.hypot(*np.gradient(xy, STEP_S, axis=0).T) if len(xy) > 1 else np.zeros(1)
    return Movement(xy, speed)


def _progress(time: Array, onset: Array, median: Array, spread: Array) -> Array:
    """Return the share of each strokelet (columns) done at each time (rows): the lognormal distribution function."""
    since = np.maximum(time[:, None] - onset[None, :], 1e-9)
    return np.asarray(ndtr(np.log(since / median) / spread))


def _tremor(n: int, rng: np.random.Generator) -> Array:
    """Return a wobble of unit root mean square, (n, 2): three beating tones of 8-12 Hz and a slow one."""
    t = np.arange(n) * STEP_S
    out = np.zeros((n, 2))
    for low, high, weight in ((8.0, 12.0, 0.6), (8.0, 12.0, 0.6), (3.0, 6.0, 0.9)):
        f, phase = rng.uniform(low, high), rng.uniform(0, 2 * np.pi, 2)
        out += weight * np.sin(2 * np.pi * f * t[:, None] + phase) * rng.normal(0, 1, 2)
    return out
