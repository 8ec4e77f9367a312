"""How long a page takes, how much ink it needs: trapezoidal motion from the machine's speeds and acceleration.

Every stretch between two points is driven with constant acceleration up to the speed allowed and down again (Biagiotti
and Melchiorri, Trajectory Planning for Automatic Machines and Robots, 2008, 3.2); at each point the speed is bounded so
that the velocity changes by no more than the machine's corner figure, and by what can be reached and braked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ownhand.composer.plot.machine import Machine
from ownhand.composer.plot.plot_page import PlotPage, by_pen, flatten, pen_up_travel_mm
from ownhand.composer.plot.travel import least_travel
from ownhand.composer.variation.handwriting_statistics import Array


@dataclass(frozen=True)
class Effort:
    """What plotting a page takes."""

    seconds: float
    ink_mm: float
    travel_mm: float
    """Lifted, in the order in which the page is."""

    writing_travel_mm: float
    """Lifted, in the order of writing."""

    least_travel_mm: float | None
    """Lifted, in the order of least travel; None where it was not asked for."""

    lifts: int
    pens: int

    def __str__(self) -> str:
        minutes, seconds = divmod(round(self.seconds), 60)
        least = f", least found {self.least_travel_mm / 1000:.2f} m" if self.least_travel_mm is not None else ""
        return (
            f"{minutes} min {seconds} s, {self.ink_mm / 1000:.2f} m of ink, {self.lifts} pen lifts, pen-up travel "
            f"{self.travel_mm / 1000:.2f} m (in writing order {self.writing_travel_mm / 1000:.2f} m{least})"
        )


def effort(page: PlotPage, machine: Machine | None = None, *, compare: bool = False) -> Effort:
    """Return what plotting the page takes; `compare` also looks for the order of least travel."""
    machine, page = machine or Machine(), by_pen(page)
    points, starts = flatten(page.points_mm, page.starts, within_mm=0.02)
    n = len(page)
    ink = float(_lengths(points, starts).sum())
    travel = pen_up_travel_mm(page)
    seconds = drawing_seconds(points, starts, machine)
    if n:
        first, last = page.ends_mm
        hops = np.hypot(*(first - np.vstack([[[0.0, 0.0]], last[:-1]])).T)
        seconds += float(trapezoid_seconds(hops, machine.travel_mm_s, machine.acceleration_mm_s2).sum())
        seconds += n * (machine.lift_s + machine.lower_s)
    written = page.writing_travel_mm if page.writing_travel_mm is not None else travel
    least = None
    if compare:
        least = travel if page.writing_travel_mm is not None else pen_up_travel_mm(least_travel(page))
    return Effort(seconds, ink, travel, written, least, n, len(np.unique(page.pen)))


def trapezoid_seconds(length_mm: Array, speed: float, acceleration: float) -> Array:
    """Return the time of moves from rest to rest.

    Examples
    --------
    >>> trapezoid_seconds(np.array([0.0, 100.0]), 50.0, 100.0)
    array([0. , 2.5])
    """
    ramp = speed**2 / acceleration
    short = 2 * np.sqrt(length_mm / acceleration)
    long = length_mm / speed + speed / acceleration
    return np.asarray(np.where(length_mm < ramp, short, long), float)


def drawing_seconds(points: Array, starts: np.ndarray, machine: Machine) -> float:
    """Return the time with the pen down, for polylines as `flatten` returns them.

    points: shape (n, 2), mm; starts: shape (paths + 1,), where each path begins.
    """
    return float(path_seconds(points, starts, machine).sum())


def path_moments(points: Array, starts: np.ndarray, machine: Machine) -> tuple[Array, Array]:
    """Return when each path begins and when it ends, in seconds from the start at the page's corner.

    points: all paths' points in a row, shape (n, 2), mm, y down; starts: at which point each path begins, and n at the
    end, shape (paths + 1,). The results have shape (paths,).
    """
    if len(starts) < 2:
        return np.zeros(0), np.zeros(0)
    first, last = points[starts[:-1]], points[starts[1:] - 1]
    hops = np.hypot(*(first - np.vstack([[[0.0, 0.0]], last[:-1]])).T)
    before = trapezoid_seconds(hops, machine.travel_mm_s, machine.acceleration_mm_s2) + machine.lower_s
    drawn = path_seconds(points, starts, machine)
    ends = np.cumsum(before + drawn + machine.lift_s) - machine.lift_s
    return np.asarray(ends - drawn, float), np.asarray(ends, float)


def path_seconds(points: Array, starts: np.ndarray, machine: Machine) -> Array:
    """Return the time with the pen down of each path, for polylines as `flatten` returns them.

    points: shape (n, 2), mm; starts: shape (paths + 1,), where each path begins.
    """
    paths = len(starts) - 1
    step = np.diff(points, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    inner = np.ones(len(step), bool)
    inner[starts[1:-1] - 1] = False
    keep = inner & (length > 1e-9)
    if not keep.any():
        return np.zeros(paths)
    path = np.repeat(np.arange(paths), np.diff(starts))[:-1][keep]
    step, length = step[keep], length[keep]
    heading = step / length[:, None]
    # speed allowed at the end of each step: none at the end of a path
    change = np.hypot(*(heading[1:] - heading[:-1]).T)
    corner = np.minimum(machine.draw_mm_s, machine.corner_mm_s / np.maximum(change, 1e-9))
    corner = np.where(path[1:] == path[:-1], corner, 0.0)
    limit = [0.0, *(corner**2).tolist(), 0.0]
    twice = (2 * machine.acceleration_mm_s2 * length).tolist()
    for i in range(len(twice) - 1, -1, -1):
        limit[i] = min(limit[i], limit[i + 1] + twice[i])
    for i in range(len(twice)):
        limit[i + 1] = min(limit[i + 1], limit[i] + twice[i])
    square = np.array(limit)
    enter, leave = square[:-1], square[1:]
    peak = np.minimum(machine.draw_mm_s**2, (enter + leave) / 2 + machine.acceleration_mm_s2 * length)
    a, fast = machine.acceleration_mm_s2, np.sqrt(peak)
    ramps = (2 * peak - enter - leave) / (2 * a)
    seconds = (2 * fast - np.sqrt(enter) - np.sqrt(leave)) / a + np.maximum(length - ramps, 0.0) / fast
    return np.asarray(np.bincount(path, weights=seconds, minlength=paths), float)


def _lengths(points: Array, starts: np.ndarray) -> Array:
    """Return the length of every step inside a path."""
    step = np.hypot(*np.diff(points, axis=0).T) if len(points) > 1 else np.zeros(0)
    step[starts[1:-1] - 1] = 0.0
    return np.asarray(step, float)
