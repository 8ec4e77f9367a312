"""The guides of a sheet, to whose size the attempts of a hand are brought."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from fontbuild.font import UNITS_PER_EM
from fontbuild.joins import IN_TEXT
from skeleton.attempt import Attempt


@dataclass(frozen=True)
class Size:
    """The guides of the sheet to whose size all attempts are brought, in mm from the baseline."""

    x_height_mm: float
    ascender_mm: float
    descender_mm: float

    @property
    def mm_per_unit(self) -> float:
        """From descender to ascender guide is one em."""
        return (self.ascender_mm - self.descender_mm) / UNITS_PER_EM


def reference_size(attempts: Sequence[Attempt]) -> Size:
    """Return the commonest size of guides; what running text tells counts only where nothing was written in cells."""
    cells = [a for a in attempts if a.allograph not in IN_TEXT]
    sizes = Counter(map(size_of, cells or attempts))
    return min(sizes, key=lambda s: (-sizes[s], s.x_height_mm))


def size_of(attempt: Attempt) -> Size:
    """Return the size of the guides between which an attempt was written."""
    return Size(*(round(v, 6) for v in (attempt.x_height_mm, attempt.ascender_mm, attempt.descender_mm)))
