"""What the ink itself tells of how it was made: darkness between pixels, and how drafted the lines are."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.graph import along, at_lengths, line_length
from skeleton.ink_map import InkMap
from skeleton.network import Network

Floats = NDArray[np.float64]


def sample(ink: InkMap, xy: Points) -> Floats:
    """Return the darkness at points of any shape (..., 2), 0 outside the image."""
    flat = xy.reshape(-1, 2).astype(np.float32)
    # as a table of short rows: OpenCV takes no side of 32,767 pixels or more
    rows = -(-len(flat) // 4096)
    table = np.zeros((rows * 4096, 2), np.float32) if rows > 1 else flat
    table[: len(flat)] = flat
    shape = (rows, 4096) if rows > 1 else (len(flat), 1)
    got = cv2.remap(
        ink.darkness,
        np.ascontiguousarray(table[:, 0]).reshape(shape),
        np.ascontiguousarray(table[:, 1]).reshape(shape),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    out: Floats = got.ravel()[: len(flat)].reshape(xy.shape[:-1]).astype(float)
    return out


TWICE = {
    "wider": 5.282, "much wider": -4.512, "near": -0.401, "around": 7.994, "most": 6.035, "least": -10.36,
    "uneven": -10.57, "rough": -5.147, "unbounded": 1.129, "all": -3.853, "all and around": 3.333,
}  # fmt: skip
"""Log odds of a place passed twice per unit of what the ink's width tells there: logistic regression over places of
characters whose strokes are known; `tests.bench trace_widths`."""

TWICE_AT = -0.9
"""Log odds where all of that is 0, of a place that is passed twice as often as not."""


def widths(ink: InkMap, places: Points, headings: Points) -> Floats:
    """Return the width of the ink across the line at every place, px; NaN where it is not bounded by paper."""
    reach = 1.3 * ink.pen_px
    t = np.linspace(-reach, reach, 2 * int(np.ceil(reach / 0.5)) + 1)
    normal = np.stack([-headings[:, 1], headings[:, 0]], axis=1)
    dark = np.clip(sample(ink, places[:, None] + t[:, None] * normal[:, None]), 0, 1)
    mid = len(t) // 2
    inside = dark > 0.18
    right = np.minimum.accumulate(inside[:, mid:], axis=1)
    left = np.minimum.accumulate(inside[:, mid::-1], axis=1)[:, ::-1]
    run = np.concatenate([left, right[:, 1:]], axis=1)
    out = np.where(run, dark, 0).sum(axis=1) * (t[1] - t[0])
    out[run[:, 0] | run[:, -1]] = np.nan
    return np.asarray(out, float)


def doubled(width: Floats, first: NDArray[np.int32]) -> Floats:
    """Return for every place the log odds that a pen passed twice rather than once, all else equal.

    A single line is as wide as most of the ink, give or take; a retrace misses the line by some part of a width, here
    more, there less, and the ink is wider by as much. `first`: the first place of every piece, and the end of the last.
    """
    told = width_features(width, first)
    if told is None:
        return np.zeros(len(width))
    return np.asarray(np.clip(told @ np.array(list(TWICE.values())) + TWICE_AT, -2.5, 3.5), float)


def width_features(width: Floats, first: NDArray[np.int32]) -> Floats | None:
    """Return what the ink's width tells at every place, shape (places, len(TWICE)); None where nothing is measured."""
    known = width[~np.isnan(width)]
    if len(known) < 4:
        return None
    usual, wide = np.percentile(known, [20, 80])
    wider = np.clip(np.where(np.isnan(width), 1.15, width / usual) - 1.1, -0.5, 1.2)
    pieces = np.diff(first)
    low, high = np.repeat(first[:-1], pieces), np.repeat(first[1:], pieces) - 1
    here = np.arange(len(width))[:, None] + np.arange(-4, 5)
    window = wider[np.clip(here, low[:, None], high[:, None])]
    around = window.mean(axis=1)
    every = np.full(len(width), wide / usual - 1)
    return np.stack(
        [wider, np.maximum(wider - 0.15, 0), window[:, 2:7].mean(axis=1), around, window.max(axis=1),
         window.min(axis=1), window.std(axis=1), np.abs(np.diff(window, axis=1)).mean(axis=1), np.isnan(width),
         every, every * around], axis=1
    )  # fmt: skip


def drafted(net: Network) -> float:
    """Return 0..1: how far straight lines are as straight as a draftsman's, who lifts the pen at every corner.

    Lettering by strokes (ISO 3098 and its kin) is made of straight lines and arcs drawn one by one; a fluent hand's
    straight lines bow by a per cent or more of their length. 0.35 when there is no straight line to tell.
    """
    weight, score = 0.0, 0.0
    pen = net.pen_px
    for line in net.pieces[: len(net.pieces) - net.dots]:
        for part in _between_corners(line, pen):
            size = line_length(part)
            if size < 3.5 * pen:
                continue
            p = at_lengths(part, np.linspace(0.08 * size, 0.92 * size, 24))
            d = p[-1] - p[0]
            d = d / max(float(np.hypot(*d)), 1e-9)
            off = (p - p.mean(axis=0)) @ np.array([-d[1], d[0]])
            bow = float(np.sqrt((np.convolve(off, np.ones(5) / 5, "valid") ** 2).mean())) / size
            if bow < 0.03:
                weight += size
                score += size * float(np.exp(-((bow / 0.006) ** 2)))
    return score / weight if weight > 0 else 0.35


def _between_corners(line: Points, pen: float) -> list[Points]:
    """Return the parts of a line between its sharp corners."""
    s = along(line)
    total = float(s[-1])
    n = max(2, int(total) + 1)
    p = at_lengths(line, np.linspace(0, total, n))
    k = max(2, round(0.9 * pen))
    if n < 2 * k + 2:
        return [line]
    a, b = p[k:-k] - p[: -2 * k], p[2 * k :] - p[k:-k]
    cos = (a * b).sum(axis=1) / np.maximum(np.hypot(*a.T) * np.hypot(*b.T), 1e-9)
    cuts = [0]
    i = 0
    while i < len(cos):
        if cos[i] < 0.75:
            j = i
            while j + 1 < len(cos) and cos[j + 1] < 0.75:
                j += 1
            cuts.append(i + int(np.argmin(cos[i : j + 1])) + k)
            i = j + 1
        else:
            i += 1
    cuts.append(n - 1)
    return [p[a : b + 1] for a, b in itertools.pairwise(cuts) if b - a >= 2]
