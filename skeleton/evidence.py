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
                score += size * float(np.exp(-((bow / 0.0035) ** 2)))
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
