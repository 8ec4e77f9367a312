"""Mend once, apply to all: how many strokes, in which order and which way, carried over to another attempt.

The mended strokes are laid onto the other attempt and walked along (see `alignment`); where the walk jumps, a line is
cut, and pieces of the same stroke are put together in the order of the model. The other attempt's own points are kept:
only their cuts, order and direction change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from capture.units import Points
from ownhand.review.edits.alignment import SHORTEST, evenly, follow, model_of, pieces_of
from skeleton.geometry.arc_length import arc_lengths, line_length, points_at, resample
from skeleton.geometry.stroke import Stroke

WORST_FIT = 0.16
"""x-heights: mean distance of the carried strokes from the model's above which nothing is offered."""

LONGEST = 40.0
"""x-heights of line in a character beyond which nothing is compared: the most in print are under 20, and the time grows
with the cube of it."""

LEAST_COVER = 0.6
"""Share of every stroke of the model that must be found again."""

Strokes = tuple[Stroke, ...]


@dataclass(frozen=True, eq=False)
class Propagated:
    """What carrying the structure over to an attempt gave."""

    strokes: Strokes
    """As they would be; the old ones where it does not fit."""

    fits: bool
    why: str
    """In words: what would change, or why it does not fit."""

    distance: float
    """Mean distance from the model, x-heights."""

    @property
    def changes(self) -> bool:
        """True when there is something to apply."""
        return self.fits and self.why != "is written this way already"


def _aligned(model: Sequence[Points], target: Sequence[Points]) -> list[Points]:
    """Return the model's strokes moved and stretched onto the target: bounds first, then nearest points."""
    all_model, all_target = np.vstack(model), np.vstack(target)
    low, size = all_model.min(axis=0), np.maximum(np.ptp(all_model, axis=0), 0.3)
    low_t, size_t = all_target.min(axis=0), np.maximum(np.ptp(all_target, axis=0), 0.3)
    scale = np.clip(size_t / size, 0.5, 2.0)
    middle, middle_t = low + size / 2, low_t + size_t / 2
    return [(p - middle) * scale + middle_t for p in model]


def _leaned(pattern: Sequence[Points], target: Sequence[Points]) -> list[Points]:
    """Return the model sheared and shifted so that each point of the target lies nearest to where it is written.

    One round of iterated closest points (Besl & McKay 1992) with an affine map, held near the identity by ridge
    regression, so that a badly matched letter is not bent into a good one.
    """
    model = model_of(pattern)
    found, wanted = [], []
    for line in target:
        even = evenly(line)
        if len(even) > 1:
            found.append(model.points[follow(even, model)[0]])
            wanted.append(even)
    if not found:
        return list(pattern)
    a, b = np.vstack(found), np.vstack(wanted)
    middle = a.mean(axis=0)
    x = np.column_stack([a - middle, np.ones(len(a))])
    ridge = np.diag([0.02 * len(a), 0.02 * len(a), 0.0])
    change = np.linalg.solve(x.T @ x + ridge, x.T @ (b - a))
    return [p + np.column_stack([p - middle, np.ones(len(p))]) @ change for p in pattern]


def _cut(points: Points, start: float, end: float) -> Points:
    if len(points) == 1:
        return points
    along = arc_lengths(points)
    a, b = start * along[-1], end * along[-1]
    inside = points[(along > a + 1e-9) & (along < b - 1e-9)]
    ends = points_at(points, np.array([a, b]))
    return np.vstack([ends[0], inside, ends[1]]) if len(inside) else ends


def _distance(model: Sequence[Points], got: Sequence[Points]) -> tuple[float, float]:
    """Return the mean distance of corresponding points, and the least share of a model's stroke that is covered."""
    total, count, cover = 0.0, 0, 1.0
    for m, g in zip(model, got, strict=True):
        size = 24
        a, b = (resample(p, size) for p in (m, g))
        total += float(np.hypot(*(a - b).T).sum())
        count += size
        length = [line_length(p) for p in (m, g)]
        if length[0] > SHORTEST:
            cover = min(cover, length[1] / length[0])
    return total / count, cover


def carry(model: Strokes, strokes: Strokes, *, x_height_mm: float, accented: bool = False) -> Propagated:
    """Return `strokes` cut, ordered and directed as the mended strokes `model` are.

    Parameters
    ----------
    model, strokes
        Cell frame (mm, y up, own baseline at y = 0), both written at `x_height_mm`.
    accented
        `strokes` are of an accented form of the model's character: what lies wholly above or below the model is its
        mark, and stays as it is, after the letter.
    """
    if not model or not strokes:
        return Propagated(strokes, False, "has no strokes to compare", float("inf"))
    lines = [s.points_mm / x_height_mm for s in strokes]
    pattern = [s.points_mm / x_height_mm for s in model]
    if max(sum(s.length_mm for s in some) for some in (model, strokes)) > LONGEST * x_height_mm:
        return Propagated(strokes, False, "is drawn at greater length than a letter", float("inf"))
    body = list(range(len(lines)))
    if accented:
        body = _without_marks(lines, pattern)
        if not body:
            return Propagated(strokes, False, "no part of it looks like the plain letter", float("inf"))
    pattern = _aligned(pattern, [lines[i] for i in body])
    pattern = _leaned(pattern, [lines[i] for i in body])
    walk = model_of(pattern)
    parts: list[list[tuple[float, Points]]] = [[] for _ in pattern]
    for i in body:
        for piece in pieces_of(evenly(lines[i]), walk):
            points = _cut(strokes[i].points_mm, piece.start, piece.end)
            parts[piece.stroke].append((piece.place, points[:: piece.way]))
    for k, found in enumerate(parts):
        if not found:
            return Propagated(strokes, False, f"has nothing for stroke {k + 1}", float("inf"))
    width = float(np.median([s.width_mm for s in strokes]))
    made = tuple(Stroke(_chain(found), width) for found in parts)
    distance, cover = _distance(pattern, [s.points_mm / x_height_mm for s in made])
    if distance > WORST_FIT or cover < LEAST_COVER:
        return Propagated(strokes, False, "is shaped too differently", distance)
    made += tuple(strokes[i] for i in range(len(lines)) if i not in body)
    return Propagated(made, True, difference(strokes, made), distance)


def _without_marks(lines: Sequence[Points], pattern: Sequence[Points]) -> list[int]:
    top = max(float(p[:, 1].max()) for p in pattern)
    bottom = min(float(p[:, 1].min()) for p in pattern)
    slack = 0.15
    return [
        i for i, p in enumerate(lines) if float(p[:, 1].mean()) < top + slack and float(p[:, 1].mean()) > bottom - slack
    ]


def _chain(found: list[tuple[float, Points]]) -> Points:
    ordered = [piece for _, piece in sorted(found, key=lambda f: f[0])]
    out = ordered[0]
    for piece in ordered[1:]:
        meets = float(np.hypot(*(piece[0] - out[-1]))) < 1e-6
        out = np.vstack([out, piece[1:] if meets and len(piece) > 1 else piece])
    return out


def difference(old: Strokes, new: Strokes) -> str:
    """Return in words what tells `new` from `old`."""
    if len(old) != len(new):
        return f"{len(new)} stroke{'s' if len(new) > 1 else ''} instead of {len(old)}"
    same = [_same(a, b) for a, b in zip(old, new, strict=True)]
    if all(s == "same" for s in same):
        return "is written this way already"
    turned = [str(i + 1) for i, s in enumerate(same) if s == "turned"]
    if "other" not in same:
        return f"stroke{'s' if len(turned) > 1 else ''} {', '.join(turned)} turned round"
    if all(any(_same(a, b) != "other" for a in old) for b in new):
        return "another order" + (", some turned round" if turned else "")
    return "cut in other places"


def _same(a: Stroke, b: Stroke) -> str:
    if a.is_dot and b.is_dot and np.allclose(a.points_mm, b.points_mm, atol=0.05):
        return "same"
    one, other = resample(a.points_mm, 12), resample(b.points_mm, 12)
    if np.abs(one - other).max() < 0.15:
        return "same"
    return "turned" if np.abs(one - other[::-1]).max() < 0.15 else "other"
