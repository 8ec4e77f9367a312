"""Drawn forms, and the ways of putting them together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.units import Points

MAX_FORMS = 24
"""A character has at most this many forms: rarer ones cost time and mislead more often than they help."""

MIN_FORM_SHARE = 0.003
"""Forms with a smaller share are left out."""


@dataclass(frozen=True, eq=False)
class Drawing:
    """Strokes in writing order with the share of writers who write so; the frame is the allograph's."""

    name: str
    share: float
    strokes: tuple[Points, ...]
    """Each of shape (n, 2), x-heights, y up."""

    def moved(self, dx: float = 0.0, dy: float = 0.0, *, sx: float = 1.0, sy: float = 1.0) -> Drawing:
        """Return the drawing made `sx` by `sy` times as large, then moved."""
        return replace(self, strokes=tuple(s * [sx, sy] + [dx, dy] for s in self.strokes))

    @property
    def points(self) -> Points:
        """All points of all strokes."""
        return np.vstack(self.strokes)


def after(first: Drawing, then: Drawing) -> Drawing:
    """Return `first` and `then` as one drawing, written in this order."""
    name = " + ".join(n for n in (first.name, then.name) if n)
    return Drawing(name, first.share * then.share, first.strokes + then.strokes)


def usual_first(drawings: Iterable[Drawing]) -> list[Drawing]:
    """Return the drawings, equal ones merged, most usual first, shares summing to 1; the rarest are left out."""
    merged: dict[bytes, Drawing] = {}
    for d in drawings:
        key = b"|".join(np.round(s, 2).tobytes() for s in d.strokes)
        old = merged.get(key)
        merged[key] = replace(old, share=old.share + d.share) if old else d
    ordered = sorted(merged.values(), key=lambda d: -d.share)
    total = sum(d.share for d in ordered)
    kept = [d for d in ordered[:MAX_FORMS] if d.share >= MIN_FORM_SHARE * total]
    total = sum(d.share for d in kept)
    return _named_apart([replace(d, share=d.share / total) for d in kept])


def _named_apart(drawings: Sequence[Drawing]) -> list[Drawing]:
    seen: dict[str, int] = {}
    out = []
    for d in drawings:
        seen[d.name] = seen.get(d.name, 0) + 1
        out.append(d if seen[d.name] == 1 else replace(d, name=f"{d.name} ({seen[d.name]})"))
    return out
