"""Order and direction by the general rules of writing, for characters of which no more is known.

Top before bottom, left before right, dots last; level lines to the right, all others down; round forms
counter-clockwise from the top. Common to the school practice of Latin hands and of kana and kanji alike.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.graph import at_lengths, line_length

RIGHTWARDS = 0.55
"""How much a step to the right counts against a step down in choosing a direction."""


def direct(line: Points, size: float) -> NDArray[np.int64]:
    """Return the indices that put a line into the direction in which a pen most likely made it.

    y down; `size` is that of the whole character.
    """
    index = np.arange(len(line))
    if len(line) < 2:
        return index
    total = line_length(line)
    gap = line[-1] - line[0]
    if np.hypot(*gap) < 0.18 * total and total > 0.5 * size:
        return _round_form(line, closed=bool(np.hypot(*gap) < 0.1 * total))
    score = gap[1] + RIGHTWARDS * gap[0]
    if abs(score) < 0.06 * total:
        score = gap[0] + 0.5 * gap[1]
    return index if score >= 0 else index[::-1]


def _round_form(line: Points, *, closed: bool) -> NDArray[np.int64]:
    """Return the indices that run a ring from its top, counter-clockwise as seen on paper."""
    index = np.arange(len(line))
    x, y = line[:, 0], line[:, 1]
    area = float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())
    # y grows downwards: a positive area is clockwise to the eye
    if closed:
        ring = index[:-1] if np.allclose(line[0], line[-1]) else index
        top = int(np.argmin(y[ring] - 0.15 * x[ring]))
        index = np.concatenate([ring[top:], ring[: top + 1]])
        return index[::-1] if area > 0 else index
    if abs(y[0] - y[-1]) > 0.05 * line_length(line):
        return index if y[0] < y[-1] else index[::-1]
    return index[::-1] if area > 0 else index


def writing_order(lines: list[Points], dots: list[bool]) -> list[int]:
    """Return the order in which lines (already directed) are written: repeatedly the one with the best claim."""
    n = len(lines)
    boxes = [(p.min(axis=0), p.max(axis=0)) for p in lines]
    if n < 2:
        return list(range(n))
    size = float(max((np.max([b[1] for b in boxes], axis=0) - np.min([b[0] for b in boxes], axis=0)).max(), 1e-6))
    keys = []
    for p, (lo, hi), dot in zip(lines, boxes, dots, strict=True):
        mid = 0.5 * (lo + hi)
        key = 0.5 * (mid[1] + lo[1]) + 0.35 * mid[0] + 0.15 * p[0, 1]
        keys.append((1 if dot else 0, key / size))
    return sorted(range(n), key=lambda i: keys[i])


def same_steps(line: Points, count: int) -> Points:
    """Return `count` points at equal arc lengths."""
    return at_lengths(line, np.linspace(0, line_length(line), count)) if len(line) > 1 else np.repeat(line, count, 0)
