"""Strokes at equal arc lengths in a box of size 1, and distances between such shapes: compiled loops."""

from __future__ import annotations

import math

import numpy as np

from skeleton.geometry.array_types import Flags, Indices, Line, Matrix, Path, Stack, Vector
from skeleton.geometry.jit import compiled, inner


@inner
def box_of_walks(walk: Path, here: Line) -> Matrix:
    """Return the lowest and the highest x and y of walks, shape (2, 2)."""
    box = np.array([[1e9, 1e9], [-1e9, -1e9]])
    for s in walk:
        for c in range(2):
            box[0, c] = min(box[0, c], here[s, c])
            box[1, c] = max(box[1, c], here[s, c])
    return box


@compiled
def shape_of_walks(walk: Path, starts: Indices, here: Line, samples: int) -> tuple[Stack, Vector]:
    """Return (strokes, lengths): walks at equal arc lengths, laid into a box of size 1, and their shares of length."""
    box = box_of_walks(walk, here)
    return shape_in_boxes(walk, starts, here, samples, np.zeros(len(here), np.bool_), np.stack((box, box)))


@compiled
def shapes_of_walks(
    every: Path, starts: Indices, state_at: Indices, start_at: Indices, here: Line, samples: int
) -> tuple[Stack, Vector, Indices]:
    """Return (strokes, lengths, at) of several readings, each as `shape_of_walks` has it.

    every, starts, state_at, start_at: `PackedReadings`; at (readings + 1,): the first stroke of each, with the end.
    """
    at = np.zeros(len(state_at), np.int64)
    for r in range(len(state_at) - 1):
        at[r + 1] = at[r] + start_at[r + 1] - start_at[r] - 1
    strokes, lengths = np.empty((at[-1], samples, 2)), np.empty(at[-1])
    for r in range(len(state_at) - 1):
        walk = every[state_at[r] : state_at[r + 1]]
        begin = starts[start_at[r] : start_at[r + 1]]
        one, share = shape_of_walks(walk, begin, here, samples)
        strokes[at[r] : at[r + 1]] = one
        lengths[at[r] : at[r + 1]] = share
    return strokes, lengths, at


@compiled
def shape_in_boxes(
    walk: Path, starts: Indices, here: Line, samples: int, aside: Flags, boxes: Stack
) -> tuple[Stack, Vector]:
    """Return (strokes, lengths) as `shape_of_walks` does, marks apart.

    boxes (2, 2, 2): the letter's box, which is brought to size 1, and the marks', which is put in its middle in the
    same scale; aside (places of `here`,): what belongs to the marks.
    """
    n = len(starts) - 1
    out = np.zeros((n, samples, 2))
    lengths = np.zeros(n)
    low, high = boxes[0, 0], boxes[0, 1]
    # boxes are stretched to a square, but not those of a stem or a dash
    longest = max(high[0] - low[0], high[1] - low[1], 1e-9)
    for i in range(n):
        a, b = starts[i], starts[i + 1]
        total = 0.0
        for k in range(a + 1, b):
            total += np.hypot(here[walk[k], 0] - here[walk[k - 1], 0], here[walk[k], 1] - here[walk[k - 1], 1])
        lengths[i] = total
        k, done = a, 0.0
        for j in range(samples):
            want = total * j / (samples - 1)
            step = 0.0
            while k < b - 1:
                p, q = walk[k], walk[k + 1]
                step = np.hypot(here[q, 0] - here[p, 0], here[q, 1] - here[p, 1])
                if done + step >= want or k == b - 2:
                    break
                done += step
                k += 1
            u = min(max((want - done) / step, 0.0), 1.0) if step > 0 else 0.0
            e = walk[min(k + 1, b - 1)]
            of = 1 if aside[walk[k]] else 0
            for c in range(2):
                x = here[walk[k], c] + u * (here[e, c] - here[walk[k], c])
                x -= 0.5 * (boxes[of, 0, c] + boxes[of, 1, c])
                out[i, j, c] = x / max(high[c] - low[c], 0.3 * longest)
    whole = max(lengths.sum(), 1e-9)
    return out, lengths / whole


@inner
def form_distance(strokes: Stack, lengths: Vector, form: Stack, form_lengths: Vector) -> tuple[float, float, float]:
    """Return mean distance of strokes from a form of as many strokes, worst stroke's, and that of ends."""
    n, m = strokes.shape[0], strokes.shape[1]
    mean, worst, ends, weights = 0.0, 0.0, 0.0, 0.0
    for i in range(n):
        d = 0.0
        for j in range(m):
            e = np.hypot(strokes[i, j, 0] - form[i, j, 0], strokes[i, j, 1] - form[i, j, 1])
            d += e
            if j == 0 or j == m - 1:
                ends += 0.5 * e / n
        w = 0.5 * (lengths[i] + form_lengths[i]) + 0.25 / n
        mean += w * d / m
        worst = max(worst, d / m)
        weights += w
    return mean / weights, worst, ends


@compiled
def pairwise_distance(
    a: Stack, a_lengths: Vector, a_starts: Indices, b: Stack, b_lengths: Vector, b_starts: Indices, most: float
) -> Matrix:  # fmt: skip
    """Return the mean distance between the strokes of every shape of `a` and every one of `b`, at most `most`.

    a, b: strokes of all shapes, (strokes, samples, 2); lengths: shares of their shape's length; starts (shapes + 1,).
    Shapes of unlike numbers of strokes are `most` apart.
    """
    out = np.full((len(a_starts) - 1, len(b_starts) - 1), most)
    m = a.shape[1]
    for x in range(len(a_starts) - 1):
        n = a_starts[x + 1] - a_starts[x]
        for y in range(len(b_starts) - 1):
            if b_starts[y + 1] - b_starts[y] != n:
                continue
            unlike, weights = 0.0, 0.0
            for k in range(n):
                i, j = a_starts[x] + k, b_starts[y] + k
                d = 0.0
                for s in range(m):
                    d += math.sqrt((a[i, s, 0] - b[j, s, 0]) ** 2 + (a[i, s, 1] - b[j, s, 1]) ** 2)
                w = 0.5 * (a_lengths[i] + b_lengths[j]) + 0.25 / n
                unlike += w * d / m
                weights += w
            out[x, y] = min(unlike / weights, most)
    return out
