"""A form laid over the ink, bent towards it and followed.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Indices, Line, Matrix, Path, Stack, Vector
from skeleton.geometry.jit import compiled, inner
from skeleton.matching.viterbi import IMPOSSIBLE_COST, follow
from skeleton.states.shortest_paths import fill_walk


@inner
def normalise_to_box(every: Line, low: Vector, high: Vector) -> Line:
    """Return points scaled and shifted into a box; what is thin, or is to be, keeps its proportions."""
    a, b = every[0].copy(), every[0].copy()
    for i in range(len(every)):
        for c in range(2):
            a[c] = min(a[c], every[i, c])
            b[c] = max(b[c], every[i, c])
    k = 0 if b[0] - a[0] >= b[1] - a[1] else 1
    have, want = b[k] - a[k], high[k] - low[k]
    less, wanted = b[1 - k] - a[1 - k], high[1 - k] - low[1 - k]
    scale = np.empty(2)
    scale[k] = scale[1 - k] = 1.0 if have < 1e-6 else want / max(have, 1e-9)
    if not (less < 0.22 * have or wanted < 0.22 * want) and less > 0:
        scale[1 - k] = wanted / less
    p = np.empty((len(every), 2))
    for c in range(2):
        shift = 0.5 * (low[c] + high[c]) - 0.5 * (a[c] + b[c]) * scale[c]
        for i in range(len(every)):
            p[i, c] = every[i, c] * scale[c] + shift
    return p


@inner
def place_template(p: Line, starts: Indices, step: float) -> tuple[Line, Indices, Vector]:
    """Return (points, breaks, steps): strokes in one array, divided into equal steps."""
    cap = 64
    lengths = np.zeros(len(starts) - 1)
    for i in range(len(starts) - 1):
        for k in range(starts[i] + 1, starts[i + 1]):
            lengths[i] += np.sqrt((p[k, 0] - p[k - 1, 0]) ** 2 + (p[k, 1] - p[k - 1, 1]) ** 2)
        cap += int(lengths[i] / step) + 4
    points = np.zeros((cap, 2))
    breaks = np.zeros(cap, np.int32)
    steps = np.zeros(cap)
    n = 0
    for i in range(len(starts) - 1):
        a, b = starts[i], starts[i + 1]
        total = lengths[i]
        if total < 0.2 * step:
            for k in range(a, b):
                points[n, 0] += p[k, 0] / (b - a)
                points[n, 1] += p[k, 1] / (b - a)
            breaks[n], steps[n] = 1, 0.3 * step
            n += 1
            continue
        m = max(2, int(total / step + 0.5) + 1)
        gap = total / (m - 1)
        k = a
        done = 0.0
        seg = np.sqrt((p[k + 1, 0] - p[k, 0]) ** 2 + (p[k + 1, 1] - p[k, 1]) ** 2)
        for j in range(m):
            want = min(j * gap, total)
            while k < b - 2 and done + seg < want:
                done += seg
                k += 1
                seg = np.sqrt((p[k + 1, 0] - p[k, 0]) ** 2 + (p[k + 1, 1] - p[k, 1]) ** 2)
            u = min(max((want - done) / seg, 0.0), 1.0) if seg > 0 else 0.0
            points[n, 0] = p[k, 0] + u * (p[k + 1, 0] - p[k, 0])
            points[n, 1] = p[k, 1] + u * (p[k + 1, 1] - p[k, 1])
            breaks[n] = 1 if j == 0 else 0
            steps[n] = max(gap, 0.3 * step)
            n += 1
    return points[:n], breaks[:n], steps[:n]


@inner
def tangents_of(p: Line, breaks: Indices) -> Line:
    """Return unit directions at the points of a model, (0, 0) for a dot."""
    n = len(p)
    out = np.zeros((n, 2))
    for i in range(n):
        a = i if breaks[i] == 1 else i - 1
        b = i if (i == n - 1 or breaks[i + 1] == 1) else i + 1
        dx, dy = p[b, 0] - p[a, 0], p[b, 1] - p[a, 1]
        size = np.sqrt(dx * dx + dy * dy)
        if size > 1e-6:
            out[i, 0], out[i, 1] = dx / size, dy / size
    return out


@inner
def solve3(m: Matrix, v: Matrix) -> Matrix:
    """Return x of `m x = v` for a symmetric positive definite m (3, 3) and v (3, 2); both are overwritten.

    Gauss without pivots: a call of a general solver takes four seconds to compile.
    """
    for i in range(3):
        for j in range(i + 1, 3):
            f = m[j, i] / m[i, i]
            for k in range(i, 3):
                m[j, k] -= f * m[i, k]
            v[j, 0] -= f * v[i, 0]
            v[j, 1] -= f * v[i, 1]
    for i in range(2, -1, -1):
        for c in range(2):
            for k in range(i + 1, 3):
                v[i, c] -= m[i, k] * v[k, c]
            v[i, c] /= m[i, i]
    return v


@inner
def _agreed(
    p: Line, stroke: Indices, rx: Vector, ry: Vector, w: Vector, spread: float
) -> tuple[Vector, Vector, Vector]:
    """Return (x, y, weight), each (n,): what the neighbours of every point have left to move, weighted by nearness."""
    n = len(p)
    per = 1.0 / (6.0 * spread)
    sx, sy, sw = np.zeros(n), np.zeros(n), np.full(n, 1e-12)
    for i in range(n):
        x, y, k = p[i, 0], p[i, 1], stroke[i]
        tx, ty, tw = sx[i] + w[i] * rx[i], sy[i] + w[i] * ry[i], sw[i] + w[i]
        for j in range(i + 1, n):
            dx, dy = x - p[j, 0], y - p[j, 1]
            q = 1.0 - (dx * dx + dy * dy) * per
            if q < 0.0:
                continue
            # a bell like a Gaussian's, (1 - d / 6)^6, without an exponential for every pair
            near = q * q * q
            near *= near
            a, b = near * w[j], near * w[i]
            if k != stroke[j]:
                a, b = 0.15 * a, 0.15 * b
            tx += a * rx[j]
            ty += a * ry[j]
            tw += a
            sx[j] += b * rx[i]
            sy[j] += b * ry[i]
            sw[j] += b
        sx[i], sy[i], sw[i] = tx, ty, tw
    return sx, sy, sw


@inner
def warp_template(
    p: Line, breaks: Indices, step: Vector, found: Indices, size: float, share: float
) -> tuple[Line, Vector]:
    """Return (points, steps) of a model moved towards where a walk found it.

    First the affine map that suits most points (two rounds of reweighting), then what neighbours agree on.
    """
    n = len(p)
    mx, my = 0.0, 0.0
    for i in range(n):
        mx += p[i, 0] / n
        my += p[i, 1] / n
    w = np.ones(n)
    ridge = 0.001 * n * size * size
    rx, ry = np.zeros(n), np.zeros(n)
    for _ in range(2):
        m = np.zeros((3, 3))
        v = np.zeros((3, 2))
        x = np.zeros(3)
        for i in range(n):
            x[0], x[1], x[2] = p[i, 0] - mx, p[i, 1] - my, 1.0
            for a in range(3):
                for b in range(3):
                    m[a, b] += w[i] * x[a] * x[b]
                v[a, 0] += w[i] * x[a] * (found[i, 0] - p[i, 0])
                v[a, 1] += w[i] * x[a] * (found[i, 1] - p[i, 1])
        m[0, 0] += ridge
        m[1, 1] += ridge
        m[2, 2] += 1e-9
        a_ = solve3(m, v)
        for i in range(n):
            ux, uy = p[i, 0] - mx, p[i, 1] - my
            rx[i] = found[i, 0] - p[i, 0] - (ux * a_[0, 0] + uy * a_[1, 0] + a_[2, 0])
            ry[i] = found[i, 1] - p[i, 1] - (ux * a_[0, 1] + uy * a_[1, 1] + a_[2, 1])
            w[i] = 1 / (1 + (rx[i] * rx[i] + ry[i] * ry[i]) / (0.0064 * size * size))
    moved = np.empty((n, 2))
    stroke = np.zeros(n, np.int32)
    k = 0
    for i in range(n):
        k += breaks[i]
        stroke[i] = k
        moved[i, 0] = found[i, 0] - rx[i]
        moved[i, 1] = found[i, 1] - ry[i]
    sx, sy, sw = _agreed(moved, stroke, rx, ry, w, 2 * (0.14 * size) ** 2)
    out = np.empty((n, 2))
    for i in range(n):
        out[i, 0] = moved[i, 0] + share * sx[i] / sw[i]
        out[i, 1] = moved[i, 1] + share * sy[i] / sw[i]
    steps = step.copy()
    for i in range(1, n):
        if breaks[i] == 0:
            d = np.sqrt((out[i, 0] - out[i - 1, 0]) ** 2 + (out[i, 1] - out[i - 1, 1]) ** 2)
            steps[i] = max(d, 0.3 * step[i])
    return out, steps


@compiled
def align_and_decode(
    every: Line, first: Indices, aside: int, boxes: Stack, step: float, place: float, most: float,
    here: Line, heading: Line, start_cost: Vector, at: Indices, to: Indices, length: Vector, cost: Vector,
) -> tuple[Line, Indices, Vector, int, Path, float]:  # fmt: skip
    """Return (points, breaks, steps, letter, walk, cost per point): a model laid over the ink, and followed once.

    letter: how many of the points do not belong to marks. most: cost per point from which the model is given up, and
    comes back without a walk at a cost beyond all others.

    aside: the first point of the model that belongs to marks which stand apart; boxes (2, 2, 2): lowest and highest x
    and y of the ink that is theirs, after those of the rest.
    """
    laid = normalise_to_box(every[:aside], boxes[0, 0], boxes[0, 1])
    if aside < len(every):
        laid = np.concatenate((laid, normalise_to_box(every[aside:], boxes[1, 0], boxes[1, 1])))
    points, breaks, steps = place_template(laid, first, step)
    letter, left = 0, 0
    for k in range(len(first)):
        left += 1 if first[k] <= aside else 0
    for i in range(len(points)):
        left -= breaks[i]
        letter += 1 if left > 0 else 0
    walk, total = follow(
        points, tangents_of(points, breaks), breaks, here, heading, start_cost, np.zeros(len(here)),
        at, to, length, cost, steps, place, most * len(points),
    )  # fmt: skip
    return points, breaks, steps, letter, walk, total / len(points)


@compiled
def match_template(
    points: Line, breaks: Indices, step: Vector, letter: int, walk: Path, size: float, place: float, rounds: int,
    here: Line, heading: Line, start_cost: Vector, piece: Indices,
    step_to: Indices, step_len: Vector, step_cost: Vector, step_at: Indices,
    at: Indices, to: Indices, length: Vector, cost: Vector,
) -> list[tuple[Path, Indices, float]]:  # fmt: skip
    """Return up to `rounds` walks that follow a model laid over the ink, each (states, starts, cost per point).

    The model is bent towards the walk found before and followed again; then ink left bare gets a bonus, twice. letter:
    how many of the points do not belong to marks that stand apart.
    """
    n = len(points)
    extra = np.zeros(len(here))
    found = np.empty((n, 2))
    out, states = [], walk
    for k in range(-1, rounds):
        if k > 0 and _favour_bare(extra, states, 0.35 * k) < 2:
            break
        for i in range(n):
            found[i, 0], found[i, 1] = here[walk[i], 0], here[walk[i], 1]
        share = 0.6 if k < 0 else 0.85
        bent, bent_step = warp_template(points[:letter], breaks[:letter], step[:letter], found[:letter], size, share)
        if letter < n:
            # where marks are says nothing of the letter, nor the letter's slant of them
            marks = points[letter:] + share * (found[letter:] - points[letter:])
            bent, bent_step = np.concatenate((bent, marks)), np.concatenate((bent_step, step[letter:]))
        points, step = bent, bent_step
        walk, low = follow(
            points, tangents_of(points, breaks), breaks, here, heading, start_cost, extra,
            at, to, length, cost, step, place if k > 0 else 0.75 * place, IMPOSSIBLE_COST,
        )  # fmt: skip
        if k < 0:
            continue
        for i in range(n):
            low -= extra[walk[i]]
        states, starts = fill_walk(walk, breaks, piece, step_to, step_len, step_cost, step_at)
        out.append((states, starts, low / n))
    return out


@inner
def _favour_bare(extra: Vector, states: Path, bonus: float) -> int:
    """Make visits to places that a walk has left bare cheaper by a bonus; return how many there are."""
    passed = np.zeros(len(extra) // 2, np.bool_)
    for s in states:
        passed[s // 2] = True
    bare = 0
    for q in range(len(passed)):
        if not passed[q]:
            bare += 1
    for q in range(len(passed) if bare > 1 else 0):
        if not passed[q]:
            extra[2 * q] -= bonus
            extra[2 * q + 1] -= bonus
    return bare
