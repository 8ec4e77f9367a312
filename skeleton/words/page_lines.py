"""A page of writing: printed rulings taken away, its lines found, and each line's ink by itself.

The middles of the ink's connected parts, seen along the direction in which they lie closest together, are dealt to as
many lines as the text has (one-dimensional k-means by dynamic programming: Wang & Song 2011, R Journal 3). Parts that
reach over several lines, where those touch, are cut half-way between them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import px_per_mm
from skeleton.geometry.quantiles import median
from skeleton.ink.ink_map import InkMap, find_ink_of_words
from skeleton.ink.scaled_darkness import Grey

STEEPEST = 0.12
"""Slope of lines, either way, up to which they are looked for."""

SMALL = 0.35
"""Height, against the median of all but dots, below which a part does not tell where lines are."""

TALL = 1.35
"""Line distances from which a part is taken for writing of two lines that touch."""

RULED_MM = 25.0
"""Length from which a level line of even thickness is a printed ruling."""

FAR = 0.75
"""Line distances from the nearest line from which ink belongs to none."""


@dataclass(frozen=True, eq=False)
class PageLines:
    """The lines of a page, from the top."""

    lines: tuple[InkMap, ...]
    """The ink of each line on a picture of its own; blank where no ink was dealt to it."""

    corners: tuple[NDArray[np.float64], ...]
    """Where each picture's top left corner lies on the page, px of the working image, shape (2,)."""

    looks_like: int
    """How many lines the ink alone shows."""

    left_out: float
    """Share of the ink that belongs to no line."""


def find_lines(grey: Grey, dpi: float, count: int) -> PageLines | None:
    """Return `count` lines of the writing on a page, None for a blank one.

    Parameters
    ----------
    grey
        Shape (h, w), uint8; dark ink on light paper, blank or ruled.
    dpi
        Pixels per inch.
    """
    ink = find_ink_of_words(without_rulings(grey, dpi), dpi)
    if ink is None:
        return None
    _, found, numbers, middles = cv2.connectedComponentsWithStats(ink.mask, connectivity=8)
    labels, stats = np.asarray(found, np.int32), np.asarray(numbers, np.int32)
    at = np.asarray(middles, float)
    heights = stats[1:, 3].astype(float)
    line = heights > 1.5 * ink.pen_px
    usual = median(heights[line]) if line.any() else median(heights)
    telling = 1 + np.flatnonzero(heights > SMALL * usual)
    weight = np.minimum(stats[telling, 2], 4 * usual)
    slope = _slope(at[telling], weight, float(usual))
    y = at[:, 1] - slope * at[:, 0]
    rows = _row_profile(y[telling], weight, float(usual))
    centres = _centres(y[telling], weight, count)
    pitch = float(np.median(np.diff(centres))) if count > 1 else 4.0 * float(usual)
    mask = ink.mask.copy()
    # writing of two lines that touch is cut half-way between them
    for i in telling[stats[telling, 3] > TALL * pitch].tolist():
        x0, y0, w, h = stats[i, :4].tolist()
        x = np.arange(x0, x0 + w)
        for low, high in pairwise(centres.tolist()):
            cut = np.round(0.5 * (low + high) + slope * x).astype(int)
            inside = (cut >= y0) & (cut < y0 + h)
            here = labels[cut[inside], x[inside]] == i
            mask[cut[inside][here], x[inside][here]] = 0
    _, found, numbers, middles = cv2.connectedComponentsWithStats(mask, connectivity=8)
    labels, stats, at = np.asarray(found, np.int32), np.asarray(numbers, np.int32), np.asarray(middles, float)
    off = np.abs((at[:, 1] - slope * at[:, 0])[:, None] - centres[None])
    owner = np.where(off.min(axis=1) <= FAR * pitch, off.argmin(axis=1), -1)
    owner[0] = -1
    cut_out = [_alone(ink, labels, stats, owner == k) for k in range(count)]
    gone = float(stats[1:, 4][owner[1:] < 0].sum()) / max(float(stats[1:, 4].sum()), 1.0)
    return PageLines(tuple(p for p, _ in cut_out), tuple(c for _, c in cut_out), rows, gone)


def without_rulings(grey: Grey, dpi: float) -> Grey:
    """Return a page without printed lines to write on: what is level, long and as thin all along."""
    k = px_per_mm(dpi)
    soft = cv2.GaussianBlur(grey, (0, 0), 0.8)
    paper = cv2.morphologyEx(soft, cv2.MORPH_CLOSE, np.ones((1 + 2 * round(0.6 * k), 1), np.uint8))
    dark = (paper.astype(int) - soft > 12).astype(np.uint8)
    long = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((1, max(3, round(RULED_MM * k))), np.uint8))
    if not long.any():
        return grey
    # a ruling that is a little aslant leaves steps: they are joined, and writing that crosses stays
    near = np.asarray(cv2.dilate(long, np.ones((3, round(2 * k)), np.uint8)), np.uint8)
    rule = np.minimum(near, dark)
    tall = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((max(3, round(0.7 * k)), 1), np.uint8))
    thin = np.where(np.asarray(tall) > 0, 0, rule)
    return np.where(thin > 0, paper, grey).astype(np.uint8)


def _slope(at: NDArray[np.float64], weight: NDArray[np.float64], height: float) -> float:
    """Return the slope along which the parts' middles lie closest together: the sharpest profile."""
    best, slope = -1.0, 0.0
    for s in np.linspace(-STEEPEST, STEEPEST, 49):
        y = at[:, 1] - s * at[:, 0]
        profile, _ = np.histogram(y, bins=np.arange(y.min(), y.max() + height, 0.25 * height), weights=weight)
        sharp = float((profile.astype(float) ** 2).sum()) - 1e-6 * abs(s)
        if sharp > best:
            best, slope = sharp, float(s)
    return slope


def _row_profile(y: NDArray[np.float64], weight: NDArray[np.float64], height: float) -> int:
    """Return how many lines the middles of the parts show."""
    step = 0.2 * height
    rows, _ = np.histogram(y, bins=np.arange(y.min() - 3 * height, y.max() + 3 * height, step), weights=weight)
    kernel = np.exp(-0.5 * (np.arange(-12, 13) / 3.5) ** 2)
    soft = np.convolve(rows, kernel, "same")
    peak = (soft[1:-1] > soft[:-2]) & (soft[1:-1] >= soft[2:]) & (soft[1:-1] > 0.2 * soft.max())
    return int(peak.sum())


def _centres(y: NDArray[np.float64], weight: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Return the heights of `count` lines: weighted one-dimensional k-means, exact."""
    order = np.argsort(y)
    v, w = y[order], weight[order].astype(float)
    n = len(v)
    count_here = min(count, n)
    s0, s1, s2 = (np.concatenate([[0.0], np.cumsum(w * v**p)]) for p in (0, 1, 2))

    def spread(a: NDArray[np.int64], b: int) -> NDArray[np.float64]:
        mass = np.maximum(s0[b] - s0[a], 1e-9)
        out: NDArray[np.float64] = (s2[b] - s2[a]) - (s1[b] - s1[a]) ** 2 / mass
        return out

    cost = np.full((count_here + 1, n + 1), np.inf)
    back = np.zeros((count_here + 1, n + 1), int)
    cost[0, 0] = 0.0
    for k in range(1, count_here + 1):
        for b in range(k, n + 1):
            a = np.arange(k - 1, b)
            total = cost[k - 1, a] + spread(a, b)
            back[k, b] = int(a[np.argmin(total)])
            cost[k, b] = float(total.min())
    out, end = [], n
    for k in range(count_here, 0, -1):
        begin = int(back[k, end])
        out.append((s1[end] - s1[begin]) / max(s0[end] - s0[begin], 1e-9))
        end = begin
    centres = out[::-1]
    while len(centres) < count:  # fewer parts than lines: the rest lies below, without ink
        centres.append(centres[-1] + max(float(np.ptp(v)), 1.0))
    return np.array(centres)


def _alone(
    ink: InkMap, labels: NDArray[np.int32], stats: NDArray[np.int32], own: NDArray[np.bool_]
) -> tuple[InkMap, NDArray[np.float64]]:
    """Return some parts of the ink on a picture of their own, and where its corner lies, px."""
    numbers = np.flatnonzero(own)
    if not len(numbers):
        blank = np.zeros((4, 4), np.float32)
        return replace(ink, darkness=blank, mask=blank.astype(np.uint8), radius=blank), np.zeros(2)
    margin = int(3 * ink.pen_px)
    box = stats[numbers]
    x0, y0 = max(int(box[:, 0].min()) - margin, 0), max(int(box[:, 1].min()) - margin, 0)
    x1, y1 = int((box[:, 0] + box[:, 2]).max()) + margin, int((box[:, 1] + box[:, 3]).max()) + margin
    here = labels[y0:y1, x0:x1]
    mine = own[here]
    others = cv2.dilate(((here > 0) & ~mine).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    zero = np.float32(0)
    part = replace(
        ink,
        darkness=np.ascontiguousarray(np.where(others & ~mine, zero, ink.darkness[y0:y1, x0:x1])),
        mask=np.ascontiguousarray(mine.astype(np.uint8)),
        radius=np.ascontiguousarray(np.where(mine, ink.radius[y0:y1, x0:x1], zero)),
    )
    return part, np.array([x0, y0], float)
