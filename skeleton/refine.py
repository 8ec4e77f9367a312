"""Centre lines made true to the grey ink: moved to the middle of its profile, smoothed as far as its noise allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from capture.units import Points
from skeleton.evidence import sample
from skeleton.graph import along, even_steps
from skeleton.ink_map import InkMap

STEP = 1.0
"""px between points while refining."""


@dataclass(frozen=True, eq=False)
class Refined:
    """A refined line. Frame: px of the working image."""

    line: Points
    """Shape (n, 2)."""

    width: NDArray[np.float64]
    """Shape (n,): width of the ink across the line, px."""

    closed: bool
    """Whether the line ends where it began."""


def refine(
    line: Points,
    firm: NDArray[np.bool_],
    ink: InkMap,
    *,
    ends: tuple[bool, bool] = (True, True),
    to_ink: bool = True,
    smoothly: bool = True,
) -> Refined:
    """Return a line moved to the middle of the ink, corners kept.

    Parameters
    ----------
    line, firm
        Points of a stroke and which of them lie on ink of this stroke alone; the others, in junctions, follow.
    ends
        Which ends are free tips, to be led to half a pen width inside the ink's end.
    """
    pen = ink.pen_px
    s_old = along(line)
    points = even_steps(line, STEP)
    solid = np.interp(along(points), s_old, firm.astype(float)) > 0.6
    if to_ink:
        points = _lead_out(points, ink, ends)
    width = np.full(len(points), pen)
    for _ in range(2):
        normal = _normals(points)
        shift, width, trust = _offsets(points, normal, ink)
        trust = trust * np.where(solid, 1.0, 0.02)
        target = points + shift[:, None] * normal * (1.0 if to_ink else 0.0)
        points = target if not smoothly else smooth(target, trust, corners=find_corners(points, pen), stiffness=2.0)
    closed = len(points) > 8 and bool(np.hypot(*(points[-1] - points[0])) < 0.25 * pen)
    if closed:
        points[0] = points[-1] = 0.5 * (points[0] + points[-1])
    return Refined(points, width, closed)


def _normals(points: Points) -> Points:
    d = np.empty_like(points)
    if len(points) < 3:
        d[:] = points[-1] - points[0]
    else:
        k = 2 if len(points) > 6 else 1
        d[k:-k] = points[2 * k :] - points[: -2 * k]
        d[:k] = points[k] - points[0]
        d[-k:] = points[-1] - points[-1 - k]
    d /= np.maximum(np.sqrt((d * d).sum(axis=1)), 1e-9)[:, None]
    return np.stack([-d[:, 1], d[:, 0]], axis=1)


def _offsets(
    points: Points, normal: Points, ink: InkMap
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return shift along the normal, width, and trust at every point from the ink's profile across it."""
    pen = ink.pen_px
    reach = 0.95 * pen
    t = np.linspace(-reach, reach, 2 * int(np.ceil(reach / 0.5)) + 1)
    dark = np.clip(sample(ink, points[:, None] + t[:, None] * normal[:, None]), 0, 1.1)
    # walk out from the middle and stop at paper, so that a neighbour's ink does not pull
    mid = len(t) // 2
    ink_here = dark > 0.18
    right = np.minimum.accumulate(ink_here[:, mid:], axis=1)
    left = np.minimum.accumulate(ink_here[:, mid::-1], axis=1)[:, ::-1]
    run = np.concatenate([left, right[:, 1:]], axis=1)
    weight = np.where(run, dark, 0.0)
    total = weight.sum(axis=1)
    shift = (weight * t).sum(axis=1) / np.maximum(total, 1e-6)
    width = total * (t[1] - t[0]) / 0.93
    open_side = (run[:, 0] | run[:, -1]).astype(float)
    odd = np.abs(width / pen - 1.0)
    trust = np.where(total > 1.0, np.exp(-((odd / 0.35) ** 2)), 0.0) * (1 - 0.97 * open_side)
    return np.clip(shift, -0.5 * pen, 0.5 * pen), width, trust


def find_corners(points: Points, pen: float) -> NDArray[np.int64]:
    """Return the indices of points where the line turns by more than 50 degrees within one pen width."""
    k = max(2, round(0.55 * pen / STEP))
    n = len(points)
    if n < 2 * k + 1:
        return np.zeros(0, int)
    a = points[k:-k] - points[: -2 * k]
    b = points[2 * k :] - points[k:-k]
    cos = (a * b).sum(axis=1) / np.maximum(np.hypot(*a.T) * np.hypot(*b.T), 1e-9)
    out = []
    i = 0
    while i < len(cos):
        if cos[i] < 0.6:
            j = i
            while j + 1 < len(cos) and cos[j + 1] < 0.6:
                j += 1
            out.append(i + int(np.argmin(cos[i : j + 1])) + k)
            i = j + 1
        else:
            i += 1
    return np.array(out, int)


def smooth(target: Points, trust: NDArray[np.float64], *, corners: NDArray[np.int64], stiffness: float) -> Points:
    """Return the line that stays near `target` where trusted and changes its bend least.

    The penalty is on third differences (Whittaker 1923).

    It does not reach across corners.
    """
    n = len(target)
    if n < 5:
        return target
    w = np.clip(trust, 1e-4, None)
    keep = np.ones(n - 3)
    for c in corners:
        keep[max(c - 3, 0) : c + 1] = 0.002
    lam = stiffness**6 * keep
    diag = np.array([-1.0, 3.0, -3.0, 1.0])
    band = np.zeros((4, n))
    for i in range(4):
        for j in range(i, 4):
            off = j - i
            idx = np.arange(n - 3) + j
            np.add.at(band[3 - off], idx, lam * diag[i] * diag[j])
    band[3] += w
    out: Points = solveh_banded(band, target * w[:, None])
    return out


def _lead_out(points: Points, ink: InkMap, ends: tuple[bool, bool]) -> Points:
    """Return the points with free tips moved along their direction to half a pen width inside the ink's end."""
    out = points
    for k in (0, 1):
        if not ends[k] or len(out) < 4:
            continue
        line = out if k == 1 else out[::-1]
        back = min(len(line) - 1, max(3, round(1.2 * ink.pen_px)))
        foot = max(len(line) - 1 - back, 0)
        tip = line[-1]
        d = tip - line[foot]
        d = d / max(float(np.hypot(*d)), 1e-9)
        nrm = np.array([-d[1], d[0]])
        t = np.arange(-0.6 * ink.pen_px, 1.6 * ink.pen_px, 0.25)
        across = np.array([-0.2, 0.0, 0.2]) * ink.pen_px
        where = tip + t[:, None, None] * d + across[:, None] * nrm
        dark = sample(ink, where).mean(axis=1)
        # where the darkness falls through one half for good; the round end is a little shorter off its axis
        below = np.flatnonzero(dark < 0.5)
        if len(below) == 0 or below[0] == 0:
            continue
        i = below[0]
        u = (dark[i - 1] - 0.5) / max(dark[i - 1] - dark[i], 1e-6)
        end = t[i - 1] + 0.25 * u - 0.46 * ink.pen_px
        end = float(np.clip(end, -0.5 * ink.pen_px, 0.9 * ink.pen_px))
        moved = line.copy()
        s = along(line)
        total = s[-1]
        m = min(len(line), 2 * back)
        # stretch the last stretch of the line so that the steps stay even and none folds back
        share = np.clip((s[-m:] - s[-m]) / max(total - s[-m], 1e-9), 0, 1)
        moved[-m:] = line[-m:] + (share * end)[:, None] * d
        out = moved if k == 1 else moved[::-1]
    return out
