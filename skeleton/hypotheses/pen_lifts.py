"""What the pen may have done on the same ink where it lifted, or went on: lifts and retraces exchanged.

Compiled by numba on first use and kept on disk; imported only when an image is traced.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from skeleton.geometry.array_types import FlatPaths, Path
from skeleton.geometry.jit import compiled, inner
from skeleton.states.paths import PathContext, can_concatenate, cosine, extended, joined, parted, reversed_path


@inner
def _lift_retraces(context: PathContext, walks: FlatPaths) -> tuple[FlatPaths, int]:
    """Return walks with the pen lifted where it would go back over its own line, and the number of lifts."""
    out = []
    lifts = 0
    for w in parted(walks):
        seen = np.zeros(len(context.doubled), np.bool_)
        start, k = 0, 0
        while k < len(w):
            if k > start and w[k] == w[k - 1] ^ 1:
                j = k
                while j < len(w) and seen[w[j] // 2]:
                    j += 1
                if k - start >= 2 and len(w) - j >= 2:
                    out.append(w[start:k])
                    lifts += 1
                    start, k = j, j
                    continue
            seen[w[k] // 2] = True
            k += 1
        out.append(w[start:])
    return joined(out), lifts


@inner
def _is_corner(context: PathContext, w: Path, k: int) -> bool:
    """Tell whether a walk turns sharply at its k-th state, inside a piece."""
    if context.piece[w[k - 3]] != context.piece[w[k + 3]]:
        return False
    near = cosine(context, w[k - 1], w[k + 1])
    return cosine(context, w[k - 3], w[k + 3]) < 0.55 and near < 0.85 and near <= cosine(context, w[k], w[k + 2])


@inner
def _lift_at_corners(context: PathContext, walks: FlatPaths) -> tuple[FlatPaths, int]:
    """Return walks with the pen lifted at sharp corners inside pieces, and the number of lifts."""
    out = []
    lifts = 0
    for w in parted(walks):
        start = 0
        for k in range(4, len(w) - 3):
            if k - start >= 4 and _is_corner(context, w, k):
                out.append(w[start : k + 1])
                lifts += 1
                start = k
        out.append(w[start:])
    return joined(out), lifts


@inner
def _merge(context: PathContext, walks: FlatPaths) -> tuple[FlatPaths, int]:
    """Return walks with those made one whose end meets the next one's start, and how often."""
    out: Any = []
    merged = 0
    for w in parted(walks):
        if len(out) and context.piece[w[0]] < context.lines and can_concatenate(context, out[-1], w):
            out[-1] = extended(out[-1], w)
            merged += 1
            continue
        out.append(w)
    return joined(out), merged


@compiled
def lift_edits(context: PathContext, walks: FlatPaths) -> list[tuple[int, int, FlatPaths]]:
    """Return what walks become when pen lifts and retraces are exchanged, each (kind, number, walks).

    kind: 0 for retraces lifted, 1 for corners lifted, 2 for strokes merged.
    """
    out = []
    for kind in range(3):
        if kind == 0:
            new, n = _lift_retraces(context, walks)
        elif kind == 1:
            new, n = _lift_at_corners(context, walks)
        else:
            new, n = _merge(context, walks)
        if n:
            out.append((kind, n, new))
    return out


@compiled
def junction_merges(context: PathContext, walks: FlatPaths) -> list[FlatPaths]:
    """Return what walks become when two of them whose ends meet are one stroke, one for every such pair of ends."""
    every = parted(walks)
    out = [walks][:0]
    for i in range(len(every)):
        for k in range(i + 1, len(every)):
            if context.piece[every[i][0]] >= context.lines or context.piece[every[k][0]] >= context.lines:
                continue
            for way in range(4):
                a = reversed_path(every[i]) if way & 1 else every[i]
                b = reversed_path(every[k]) if way & 2 else every[k]
                if can_concatenate(context, a, b):
                    both = every[:]
                    both[i] = extended(a, b)
                    both.pop(k)
                    out.append(joined(both))
    return out
