"""What a stroke's end looks like to `end_lengths`: the ink and the lines about it, in the end's own frame.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import Indices, Line, Matrix, Picture, Stack, Vector
from skeleton.geometry.jit import compiled, inner

ROWS, COLUMNS = 28, 24
"""Size of a picture: rows go along the stroke's heading at its end, columns across it."""

STEP = 0.25
"""Pen widths between its places."""

BACK = 2.5
"""Pen widths that it sees of what lies beyond the end."""

OWN_REACH = 6.0
"""Pen widths of the stroke's own line, from the end on, that stand apart from all other lines."""

FAR = 1.2
"""Pen widths from a line's edge beyond which one is as far as the other."""

MOST = 15
"""Points by which an end may be moved at most, either way."""

MEASURES = 14

RING_WITHIN = 0.8
"""Pen widths within which an end passes the other part of its stroke, where that closes a ring."""


@compiled
def led_on(line: Line, pen: float) -> tuple[Indices, bool, bool]:
    """Return the points of a line with those on which its ends may be led on, and whether each goes round a ring.

    A stroke that comes back to its begin goes on over its own ink; any other may have been begun, or ended, by going
    the same way twice. line (n, 2), pen: px. Shape (`MOST` + n + `MOST`,): numbers of points of the line.
    """
    n = len(line)
    out = np.empty(n + 2 * MOST, np.int64)
    out[MOST : MOST + n] = np.arange(n)
    ring = np.zeros(2, np.bool_)
    for e in range(2):
        end, d = (0, 1) if e == 0 else (n - 1, -1)
        k = min(3, n - 1)
        hx, hy = line[end + d * k, 0] - line[end, 0], line[end + d * k, 1] - line[end, 1]
        near, at = RING_WITHIN * pen, -1
        for m in range(max(n // 2, 8), n):
            j = end + d * m
            far = math.hypot(line[j, 0] - line[end, 0], line[j, 1] - line[end, 1])
            if far < near:
                p = j - d * min(3, m)
                gx, gy = line[j, 0] - line[p, 0], line[j, 1] - line[p, 1]
                if hx * gx + hy * gy > 0.4 * max(math.hypot(hx, hy) * math.hypot(gx, gy), 1e-9):
                    near, at = far, j
        ring[e] = at >= 0
        for k in range(1, MOST + 1):
            q = min(max(at - d * k if at >= 0 else end + d * k, 0), n - 1)
            if e == 0:
                out[MOST - k] = q
            else:
                out[MOST + n - 1 + k] = q
    return out, ring[0], ring[1]


@inner
def _heading(points: Line, stroke: Indices, end: int, d: int, pen: float) -> tuple[float, float]:
    """Return the direction in which a stroke leaves its end, over one pen width."""
    at, gone = end, 0.0
    while gone < pen:
        k = at + d
        if k < 0 or k >= len(points) or stroke[k] != stroke[end]:
            break
        gone += math.hypot(points[k, 0] - points[at, 0], points[k, 1] - points[at, 1])
        at = k
    x, y = points[at, 0] - points[end, 0], points[at, 1] - points[end, 1]
    size = math.hypot(x, y)
    return (1.0, 0.0) if size < 1e-6 else (x / size, y / size)


@inner
def _lay(
    picture: Stack,
    layer: int,
    points: Line,
    half: Vector,
    i: int,
    j: int,
    frame: tuple[float, ...],
    begun: float,
    size: float,
) -> None:
    """Lay a segment into a picture: the distance from its edge where that is the nearest; in `layer` 1 how far on."""
    ox, oy, hx, hy, pen = frame
    ax, ay, bx, by = points[i, 0] - ox, points[i, 1] - oy, points[j, 0] - ox, points[j, 1] - oy
    au, av = (ax * hx + ay * hy) / pen, (ay * hx - ax * hy) / pen
    bu, bv = (bx * hx + by * hy) / pen, (by * hx - bx * hy) / pen
    ra, rb = half[i] / pen, half[j] / pen
    reach = FAR + max(ra, rb)
    middle = (COLUMNS - 1) * 0.5
    r0 = max(math.ceil((min(au, bu) - reach + BACK) / STEP), 0)
    r1 = min(int((max(au, bu) + reach + BACK) / STEP), ROWS - 1)
    c0 = max(math.ceil((min(av, bv) - reach) / STEP + middle), 0)
    c1 = min(int((max(av, bv) + reach) / STEP + middle), COLUMNS - 1)
    vx, vy = bu - au, bv - av
    per = 1.0 / max(vx * vx + vy * vy, 1e-12)
    for r in range(r0, r1 + 1):
        u = r * STEP - BACK
        for c in range(c0, c1 + 1):
            v = (c - middle) * STEP
            t = min(max(((u - au) * vx + (v - av) * vy) * per, 0.0), 1.0)
            d = math.hypot(u - au - t * vx, v - av - t * vy) - (ra * (1 - t) + rb * t)
            if d < picture[layer, r, c]:
                picture[layer, r, c] = d
                if layer == 1:
                    picture[2, r, c] = 1.0 - 0.9 * (begun + t * size) / OWN_REACH


@inner
def _paint(picture: Stack, dark: Picture, full: float, frame: tuple[float, ...]) -> None:
    """Paint the ink into a picture's first layer, and nothing into the others."""
    ox, oy, hx, hy, pen = frame
    h, w = dark.shape
    for r in range(ROWS):
        u = (r * STEP - BACK) * pen
        for c in range(COLUMNS):
            v = (c - (COLUMNS - 1) * 0.5) * STEP * pen
            x, y = ox + u * hx - v * hy, oy + u * hy + v * hx
            ink = 0.0
            if 0 < x < w - 1 and 0 < y < h - 1:
                i, j = int(y), int(x)
                fy, fx = y - i, x - j
                ink = (1 - fy) * (dark[i, j] * (1 - fx) + dark[i, j + 1] * fx)
                ink += fy * (dark[i + 1, j] * (1 - fx) + dark[i + 1, j + 1] * fx)
            picture[0, r, c] = ink / full
            picture[1, r, c], picture[2, r, c], picture[3, r, c] = FAR, 0.0, FAR


@compiled
def end_pictures(
    dark: Picture, points: Line, half: Vector, stroke: Indices, pen: float, full: float, ends: Indices
) -> Stack:
    """Return pictures of strokes' ends, shape (ends, 4, `ROWS`, `COLUMNS`), float32.

    Layers: ink; distance from the edge of the stroke's own line, how near the end that is; distance from the edge of
    all other lines. dark, points (n, 2), half (n,), stroke (n,), pen, full: as `render_fit.fit` takes them; ends: begin
    and end of strokes in turn, by `residual_ink.ends_of`.
    """
    n = len(points)
    out = np.empty((len(ends), 4, ROWS, COLUMNS), np.float32)
    for e in range(len(ends)):
        end, d = ends[e], 1 if e % 2 == 0 else -1
        hx, hy = _heading(points, stroke, end, d, pen)
        frame = (points[end, 0], points[end, 1], hx, hy, pen)
        _paint(out[e], dark, full, frame)
        at, gone = end, 0.0
        while gone <= OWN_REACH:
            k = at + d
            if k < 0 or k >= n or stroke[k] != stroke[end]:
                break
            size = math.hypot(points[k, 0] - points[at, 0], points[k, 1] - points[at, 1]) / pen
            _lay(out[e], 1, points, half, at, k, frame, gone, size)
            gone += size
            at = k
        low, high = min(end, at), max(end, at)
        for i in range(n):
            alone = (i == 0 or stroke[i - 1] != stroke[i]) and (i == n - 1 or stroke[i + 1] != stroke[i])
            j = i if alone else i + 1
            if j < n and stroke[j] == stroke[i] and not (low <= i and j <= high):
                _lay(out[e], 3, points, half, i, j, frame, 0.0, 0.0)
    return out


@compiled
def end_measures(points: Line, stroke: Indices, pen: float, ends: Indices, rings: Vector) -> Matrix:
    """Return what is measured at strokes' ends beside their pictures, shape (ends, `MEASURES`), float32.

    Whether it is the last end; log of the stroke's length in pen widths; whether it goes round a ring; where the other
    end is, and heads, if it is near; how many strokes there are, and the number of this; log of the character's size;
    direction; height in the character. rings (ends,): by `led_on`.
    """
    out = np.zeros((len(ends), MEASURES), np.float32)
    left, right = points[:, 0].min(), points[:, 0].max()
    top, bottom = points[:, 1].min(), points[:, 1].max()
    size = max(right - left, bottom - top, pen) / pen
    for e in range(len(ends)):
        end, other = ends[e], ends[e ^ 1]
        d = 1 if e % 2 == 0 else -1
        first, last = min(end, other), max(end, other)
        total = 0.0
        for i in range(first, last):
            total += math.hypot(points[i + 1, 0] - points[i, 0], points[i + 1, 1] - points[i, 1])
        k = min(3, last - first)
        hx, hy = points[end + d * k, 0] - points[end, 0], points[end + d * k, 1] - points[end, 1]
        per = 1.0 / max(math.hypot(hx, hy), 1e-9)
        hx, hy = hx * per, hy * per
        x, y = (points[other, 0] - points[end, 0]) / pen, (points[other, 1] - points[end, 1]) / pen
        row = out[e]
        row[0], row[1], row[2] = e % 2, math.log(max(total / pen, 1e-3)), rings[e]
        if math.hypot(x, y) < 4.0:
            gx, gy = points[other, 0] - points[other - d * k, 0], points[other, 1] - points[other - d * k, 1]
            per = 1.0 / max(math.hypot(gx, gy), 1e-9)
            gx, gy = gx * per, gy * per
            row[3], row[4], row[5] = 1.0, (x * hx + y * hy) / 4, (y * hx - x * hy) / 4
            row[6], row[7] = gx * hx + gy * hy, gy * hx - gx * hy
        row[8], row[9] = min(stroke[-1] + 1, 5) / 3, min(stroke[end], 5) / 3
        row[10], row[11], row[12] = math.log(size) - 2.0, hx, hy
        row[13] = (points[end, 1] - top) / (size * pen)
    return out
