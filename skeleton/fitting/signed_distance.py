"""How far every pixel is from the edge of the strokes, and whose edge that is.

Compiled by numba on first use and kept on disk; imported only when an image is traced. Pixels lie in blocks of `LANES`
along a row, what is known of them side by side, and all of a block are treated alike: a processor then takes many of
them at once, and guesses at no branch (branches that pixels take this way and that cost three times as much).
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import Indices, Line, Stack, Vector
from skeleton.geometry.jit import compiled

BITS = 4
LANES = 1 << BITS
"""Pixels of a block: the block of a column is `column >> BITS`, which is quicker than a division that minds signs."""

NEAR, WHOSE, NEXT, WHOSE_NEXT = range(4)
"""What is known of a pixel: distance to the nearest edge, negative in the ink, and whose it is; the same of the nearest
edge of another stretch of line, as far as one pass over the segments tells. A segment goes by the number of its first
point."""

FAR = 1e3
"""px of a distance that is not known, only that it is great; deep in the ink as much below nothing."""

NOBODY = -1e4

APART = 2
"""Points from which two segments of one stroke count as different stretches."""


@compiled
def numbered(stroke: Indices) -> tuple[Indices, Indices]:
    """Return numbers of points, such that those of different strokes differ by more than `APART`, and their inverse.

    stroke (n,): number of every point's stroke, rising.
    """
    number = np.empty(len(stroke), np.int32)
    for i in range(len(stroke)):
        number[i] = i + APART * (stroke[i] - stroke[0])
    point = np.zeros(number[-1] + 1, np.int32)
    for i in range(len(stroke)):
        point[number[i]] = i
    return number, point


@compiled
def blank(height: int, width: int) -> Stack:
    """Return room for what is known of the pixels of an image, shape (height, blocks, 4, LANES)."""
    return np.empty((height, -(-width // LANES), 4, LANES), np.float32)


@compiled(fastmath=True)
def find_edges(points: Line, half: Vector, number: Indices, reach: float, first: int, every: int, known: Stack) -> None:
    """Fill `known` for every `every`th row from the `first`, up to `reach` px on either side of an edge.

    points (n, 2), half (n,), number (n,): the strokes, the pen's half-width, and the points' numbers by `numbered`.
    """
    h, blocks = known.shape[0], known.shape[1]
    n = len(points)
    single = np.float32
    none, whole, far, deep = single(0), single(1), single(FAR), single(-FAR)
    nobody, apart = single(NOBODY), single(APART)
    for y in range(first, h, every):
        for b in range(blocks):
            for k in range(LANES):
                known[y, b, NEAR, k] = known[y, b, NEXT, k] = far
                known[y, b, WHOSE, k] = known[y, b, WHOSE_NEXT, k] = nobody
    for i in range(n):
        j = i
        if i + 1 < n and number[i + 1] == number[i] + 1:
            j = i + 1
        elif i > 0 and number[i - 1] == number[i] - 1:
            continue
        ax, ay, bx, by = single(points[i, 0]), single(points[i, 1]), single(points[j, 0]), single(points[j, 1])
        m = max(half[i], half[j]) + reach
        b0, b1 = max(0, int(min(ax, bx) - m) >> BITS), min(blocks - 1, int(max(ax, bx) + m) >> BITS)
        y0, y1 = max(0, math.ceil(min(ay, by) - m)), min(h - 1, math.floor(max(ay, by) + m))
        y0 += (first - y0) % every
        vx, vy = bx - ax, by - ay
        per = whole / max(vx * vx + vy * vy, single(1e-12))
        wide, grow, me = single(half[i]), single(half[j] - half[i]), single(number[i])
        out, core = single(m * m), single(max(min(half[i], half[j]) - reach, 0.0) ** 2)
        for y in range(y0, y1 + 1, every):
            py = single(y) - ay
            for b in range(b0, b1 + 1):
                left = single(b * LANES) - ax
                for k in range(LANES):
                    px = left + single(k)
                    u = min(max((px * vx + py * vy) * per, none), whole)
                    qx, qy = px - u * vx, py - u * vy
                    dd = qx * qx + qy * qy
                    d = math.sqrt(dd) - wide - u * grow
                    d = far if dd > out else d
                    d = deep if dd < core else d
                    near, whose = known[y, b, NEAR, k], known[y, b, WHOSE, k]
                    other, whose_other = known[y, b, NEXT, k], known[y, b, WHOSE_NEXT, k]
                    # of the two, the one that is not nearest may still be the nearest of another stretch
                    lost, who_lost = (near, whose) if d < near else (d, me)
                    take = (abs(whose - me) > apart) & (lost < other)
                    known[y, b, NEAR, k] = d if d < near else near
                    known[y, b, WHOSE, k] = me if d < near else whose
                    known[y, b, NEXT, k] = lost if take else other
                    known[y, b, WHOSE_NEXT, k] = who_lost if take else whose_other


@compiled(fastmath=True)
def at_edges(known: Stack, width: int, reach: float, first: int, every: int, rows: Indices, columns: Indices) -> int:
    """Fill in rows and columns of the pixels within `reach` of an edge; return how many there are."""
    h, blocks = known.shape[0], known.shape[1]
    most = np.float32(reach)
    count = 0
    for y in range(first, h, every):
        for b in range(blocks):
            least = most + np.float32(1)
            for k in range(LANES):
                least = min(least, abs(known[y, b, NEAR, k]))
            if least > most:
                continue
            for k in range(LANES):
                rows[count], columns[count] = y, b * LANES + k
                # the next one takes the place of one that does not count: quicker than a branch
                count += (abs(known[y, b, NEAR, k]) <= most) & (b * LANES + k < width)
    return count
