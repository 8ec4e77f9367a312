"""What else the pen may have done on the same ink: readings next to a reading.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

import numpy as np

from skeleton.geometry.array_types import Flags, FlatPaths, IndexTable, Path
from skeleton.geometry.jit import compiled, inner
from skeleton.hypotheses.retracing import overruns, retrace_end, retraces
from skeleton.states.paths import (
    PathContext,
    concatenated,
    joined,
    junction_between,
    leads_to,
    parted,
    reversed_path,
    ring_of,
    rotated_ring,
)

KINDS = ("hooked", "unhooked", "turned", "looped", "crossed", "overrun")
"""Changes that are counted: a retrace put to a stroke's end, one taken away, a ring begun elsewhere, a loop gone round
the other way, strokes that cross gone on as the other one did, an end led on over ink passed before."""

MAX_TIP_PEN_WIDTHS = 3.0
"""Pen widths up to which a tip may be where a ring was begun as well as where it ended."""

MAX_CHANGES = 120
"""Readings that are made of one at most, those of the first strokes: people's characters have 30 at most, ink of dozens
of crossings has thousands."""

HOOKED, UNHOOKED, TURNED, LOOPED, CROSSED, OVERRUN = range(len(KINDS))


@compiled
def others(context: PathContext, walks: FlatPaths, free: Flags) -> list[tuple[int, FlatPaths]]:
    """Return up to `MAX_CHANGES` readings that differ in one thing, each (kind, walks); `free` marks states at tips."""
    every = parted(walks)
    changes: list[tuple[int, int, int, Path, Path]] = []
    for i in range(len(every)):
        w = every[i]
        if context.piece[w[0]] >= context.lines:
            continue
        for k in range(i + 1, len(every)):
            if len(changes) >= MAX_CHANGES:
                break
            for one, other in _tails_swapped(context, w, every[k]):
                changes.append((CROSSED, i, k, one, other))
        if len(changes) >= MAX_CHANGES:
            break
        for kind, new in _others_of_one(context, w, free):
            changes.append((kind, i, i, new, new[:0]))
    return [(kind, joined(_instead(every, i, k, one, other))) for kind, i, k, one, other in changes[:MAX_CHANGES]]


@inner
def _instead(walks: list[Path], i: int, k: int, one: Path, other: Path) -> list[Path]:
    """Return walks with others, empty ones left out, in the place of the i-th, and without the k-th."""
    out = []
    for j in range(len(walks)):
        if j == i:
            out.append(one)
            if len(other):
                out.append(other)
        elif j != k:
            out.append(walks[j])
    return out


@inner
def _others_of_one(context: PathContext, w: Path, free: Flags) -> list[tuple[int, Path]]:
    """Return what else a stroke may have been, each (kind, states)."""
    out = []
    for flipped in (False, True):
        v = reversed_path(w) if flipped else w
        # what the pen may have gone before it turned and went `v`
        before = [(HOOKED, v[:n]) for n in retraces(context, v, not free[v[0] ^ 1])]
        if not free[v[0] ^ 1]:
            for way in overruns(context, v[0] ^ 1):
                before.append((OVERRUN, way))
        for kind, way in before:
            new = concatenated(reversed_path(way), v)
            out.append((kind, reversed_path(new) if flipped else new))
        n = retrace_end(v)
        if n >= 2:
            out.append((UNHOOKED, reversed_path(v[n:]) if flipped else v[n:]))
        new = _begun_in_end_tip(context, v, free)
        if len(new):
            out.append((TURNED, reversed_path(new) if flipped else new))
    ring = ring_of(context, w, 6)
    if len(ring):
        for new in _turned(context, ring):
            out.append((TURNED, new))
    for new in _loops_reversed(context, w):
        out.append((LOOPED, new))
    return out


@inner
def _begun_in_end_tip(context: PathContext, w: Path, free: Flags) -> Path:
    """Return a walk that ends in a tip beside its own beginning, begun there instead; empty for any other."""
    last = w[-1]
    p = context.piece[last]
    n = 1
    while n < len(w) and context.piece[w[-1 - n]] == p and (w[-1 - n] ^ last) & 1 == 0:
        n += 1
    if (
        not free[last]
        or n > len(w) - 6
        or n * context.spacing[p] > MAX_TIP_PEN_WIDTHS * context.pen
        or context.piece[w[0]] == p
    ):
        return w[:0]
    inward = reversed_path(w[len(w) - n :])
    return concatenated(inward, w[: len(w) - n]) if leads_to(context, inward[-1], w[0]) else w[:0]


@inner
def _turned(context: PathContext, ring: Path) -> list[Path]:
    """Return a ring begun where the ink is widest, at its top, and with the widest stretch passed twice."""
    n = len(ring)
    smooth = np.zeros(n)
    top, widest = 0, 0
    for k in range(n):
        for j in range(-2, 3):
            smooth[k] += 0.2 * context.doubled[ring[(k + j) % n] // 2]
        if context.here[ring[k], 1] < context.here[ring[top], 1]:
            top = k
        if smooth[k] > smooth[widest]:
            widest = k
    out = []
    for k in (top, widest) if top != widest else (top, n):
        if 2 <= k <= n - 3:
            out.append(concatenated(rotated_ring(ring, k), ring[k : k + 1]))
    if smooth[widest] <= 0.2:
        return out
    a, b = 0, 0
    while a < n // 3 and smooth[(widest - a - 1) % n] > 0:
        a += 1
    while b < n // 3 and smooth[(widest + b + 1) % n] > 0:
        b += 1
    if a + b >= 2:
        turned = rotated_ring(ring, (widest - a) % n)
        out.append(concatenated(turned, turned[: a + b + 1]))
        # the widest stretch gone along, and back, and on round
        out.append(concatenated(reversed_path(turned[: a + b + 1]), turned))
        turned = rotated_ring(ring, (widest + b) % n)
        out.append(concatenated(turned, reversed_path(turned[n - (a + b + 1) :])))
    return out


@inner
def _junctions_passed(context: PathContext, w: Path) -> IndexTable:
    """Return (k, 2): the junctions that a walk passes, and the index of the state after each."""
    out = np.empty((len(w), 2), np.int64)
    n = 0
    for k in range(len(w) - 1):
        j = junction_between(context, w[k], w[k + 1])
        if j >= 0:
            out[n, 0], out[n, 1] = j, k + 1
            n += 1
    return out[:n]


@inner
def _loops_reversed(context: PathContext, w: Path) -> list[Path]:
    """Return the walk with each of its loops gone round the other way."""
    met = _junctions_passed(context, w)
    out: list[Path] = []
    for first in range(len(met)):
        j = met[first, 0]
        seen = False
        for x in range(first):
            seen = seen or met[x, 0] == j
        for x in range(len(met) if seen else first, len(met)):
            for y in range(x + 1, len(met)):
                if len(out) >= MAX_CHANGES:
                    return out
                a, b = met[x, 1], met[y, 1]
                if met[x, 0] == j and met[y, 0] == j and b - a >= 4:
                    out.append(concatenated(concatenated(w[:a], reversed_path(w[a:b])), w[b:]))
    return out


@inner
def _tails_swapped(context: PathContext, v: Path, w: Path) -> list[tuple[Path, Path]]:
    """Return pairs of walks that go on as the other one did from where both pass a junction."""
    first, second = _junctions_passed(context, v), _junctions_passed(context, w)
    out = []
    for y in range(len(second)):
        for x in range(len(first) - 1, -1, -1):
            if first[x, 0] == second[y, 0]:
                a, b = first[x, 1], second[y, 1]
                out.append((concatenated(v[:a], w[b:]), concatenated(w[:b], v[a:])))
                out.append((concatenated(v[:a], reversed_path(w[:b])), concatenated(reversed_path(v[a:]), w[b:])))
                break
    return out
