"""The last look over a page: no letter may have the very shape of another in sight."""

from __future__ import annotations

import numpy as np

from ownhand.composer.glyphs.variant_bank import Index
from ownhand.composer.variation.handwriting_statistics import Array

SIGHT_LINES = 3
"""Lines up and down from which a shape is remembered."""

ALIKE = 0.01
"""x-heights, root mean square: letters nearer than this are one shape."""

LARGER = np.array([1.05, 1.04])
"""What the later one's width and height are multiplied by at least, from its left and its foot."""

LARGEST = 1.25
"""... and at most: a comma must grow by more than a letter before the difference shows."""

TOGETHER = 1024
"""Letters that are compared with all in sight at once: all of a large page would not fit the memory."""

ROUNDS = 3
"""How often that is tried: what was made larger may now be like a third."""

SMALLEST = 0.3
"""x-heights: dots are smaller than this, and alike in every hand."""


def separate_repeats(points: Array, kind: Index, count: Index, line: Index, x_height_mm: float) -> Array:
    """Return the points with letters made a little larger that would come out like one within sight.

    Parameters
    ----------
    points : ndarray of shape (n, 2)
        Control points of all letters, one after another; mm.
    kind : ndarray of shape (m,)
        Equal for letters of the same character and structure.
    count, line : ndarray of shape (m,)
        Number of points and line of each letter, in writing order.
    """
    start = np.cumsum(count) - count
    out = points
    order = np.argsort(kind, kind="stable")
    bounds = np.flatnonzero(np.diff(kind[order], prepend=-1, append=-1))
    for a, b in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
        own = order[a:b]
        n = int(count[own[0]])
        places = start[own][:, None] + np.arange(n)
        if len(own) < 2 or not n or np.ptp(points[places[0]], axis=0).max() < SMALLEST * x_height_mm:
            continue
        for _ in range(ROUNDS):
            later = _alike(out[places], line[own], ALIKE * x_height_mm)
            if not len(later):
                break
            if out is points:
                out = points.copy()
            letters = out[places[later]]
            corner = np.stack([letters[..., 0].min(axis=1), letters[..., 1].max(axis=1)], axis=-1)[:, None]
            size = np.sqrt((letters.var(axis=1)).sum(axis=-1))[:, None, None]
            factor = np.clip(1 + 1.5 * ALIKE * x_height_mm / size, LARGER, LARGEST)
            out[places[later]] = corner + (letters - corner) * factor
    return out


def _alike(letters: Array, line: Index, within_mm: float) -> Index:
    """Return which letters of one kind, shape (m, n, 2), are like an earlier one in sight.

    line: shape (m,), ascending.
    """
    m, n = letters.shape[:2]
    flat = (letters - letters.sum(axis=1, keepdims=True) / n).reshape(m, -1)
    square = np.einsum("ij,ij->i", flat, flat)
    found = [np.zeros(0, np.int64)]
    for a in range(0, m, TOGETHER):
        b = min(a + TOGETHER, m)
        first = int(np.searchsorted(line, line[a] - SIGHT_LINES)) if a else 0
        apart = square[a:b, None] + square[None, first:b] - 2 * flat[a:b] @ flat[first:b].T
        near = apart < n * within_mm**2
        # each is like itself, and mostly like no other
        if np.count_nonzero(near) <= b - a:
            continue
        near &= np.abs(line[a:b, None] - line[first:b]) <= SIGHT_LINES
        near &= np.tri(b - a, b - first, k=a - first - 1, dtype=bool)
        found.append(a + np.flatnonzero(near.any(axis=1)))
    return np.concatenate(found)


def kinds(chars: list[str], count: Index) -> Index:
    """Return a number for each letter, equal for the same character with as many points.

    count: shape (letters,), points of each letter; the result has the same shape.
    """
    known: dict[tuple[str, int], int] = {}
    return np.array([known.setdefault(key, len(known)) for key in zip(chars, count.tolist(), strict=True)], np.int64)
