"""Bends of lines that may join in a junction: compiled loops of `skeleton.graph.junctions`."""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import Indices, Line, Matrix, Stack
from skeleton.geometry.jit import compiled, inner
from skeleton.geometry.polyline import points_at, total_length


@inner
def wrap(angle: float) -> float:
    """Return an angle brought between -pi and pi."""
    return (angle + math.pi) % (2 * math.pi) - math.pi


@compiled
def turn_cost(angle: float) -> float:
    """Return the cost of turning by `angle` at a junction: little up to 25 degrees, one at 90."""
    return (max(angle - 0.25, 0.0) / 1.32) ** 2


@compiled
def bend_between(
    dx: float, dy: float, ex: float, ey: float, gap_x: float, gap_y: float, curving: float, pen: float
) -> float:
    """Return the angle (0..pi) by which a pen must turn from one end to another; see `skeleton.graph.junctions.bend`.

    dx, dy: direction at the first end; ex, ey: direction into the second. gap: the way between. curving: by how much
    more the first line bends than the second.
    """
    leaving, entering = math.atan2(dy, dx), math.atan2(ey, ex)
    turn = wrap(entering - leaving)
    size = math.hypot(gap_x, gap_y)
    own = 0.5 * curving * min(size, 2.5 * pen)
    if own * turn > 0:
        turn = max(abs(turn) - abs(own), 0.0)
    # sideways: both lines straight but not in line
    if size > 0.6 * pen:
        across = math.atan2(gap_y, gap_x)
        return max(abs(turn), 0.5 * (abs(wrap(across - leaving)) + abs(wrap(entering - across))))
    return abs(turn)


@compiled("float64[:, ::1](float64[:, ::1])")
def _from_the_end(line: Line) -> Line:
    """Return the points of a line from its other end."""
    n = len(line)
    out = np.empty((n, 2))
    for k in range(n):
        out[k, 0], out[k, 1] = line[n - 1 - k, 0], line[n - 1 - k, 1]
    return out


@compiled
def last_stretches(points: Line, starts: Indices, pen: float) -> tuple[Stack, Stack, Matrix]:
    """Return (near, far, reach) of both ends of pieces end to end: the ways of the last stretch, and the one before.

    A stretch is 1.3 pen widths, less where there is less: reach (pieces, 2). near, far (pieces, 2, 2) head for the end;
    far is (0, 0) where the piece is too short.
    """
    n = len(starts) - 1
    near, far, reach = np.zeros((n, 2, 2)), np.zeros((n, 2, 2)), np.ones((n, 2))
    where = np.empty(3)
    for p in range(n):
        line = points[starts[p] : starts[p + 1]]
        for end in range(2):
            line = _from_the_end(line)
            total = total_length(line)
            length = min(1.3 * pen, total)
            where[0], where[1], where[2] = total, total - length, max(total - 2 * length, 0.0)
            at = points_at(line, where)
            if math.hypot(at[0, 0] - at[1, 0], at[0, 1] - at[1, 1]) < 1e-9:
                near[p, end, 0] = 1.0
                continue
            reach[p, end] = length
            for c in range(2):
                near[p, end, c] = at[0, c] - at[1, c]
                far[p, end, c] = at[1, c] - at[2, c] if total > 1.8 * length else 0.0
    return near, far, reach
