"""The marks and letters inside a writer's accented letters, taken apart, and where the writer puts marks."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fontbuild.accents import Habits
from fontbuild.collisions import DOT_ABOVE
from fontbuild.doubtful import SURE
from fontbuild.font import Metrics
from fontbuild.guide_size import Size
from fontbuild.marks import Lifted, dots_of, lift_all
from fontbuild.variants import AttemptStrokes

MOST_LIFTED = 8
"""Marks of a kind taken off letters at most."""


@dataclass(frozen=True, eq=False)
class Parts:
    """What accented letters yield when they are taken apart."""

    letters: Mapping[str, Sequence[AttemptStrokes]]
    """Marks, and letters that were only written with a mark."""

    habits: Habits


def separate_marks(
    kept: Mapping[str, Sequence[AttemptStrokes]], metrics: Metrics, size: Size, *, keep: Collection[str] = ()
) -> Parts:
    """Return the marks and letters inside the writer's accented letters, and where the writer puts marks.

    Where some were read surely, marks of doubtful readings are left out: a mark that touches its letter, say.

    Parameters
    ----------
    kept
        Attempts by character.
    metrics
        Of the font.
    size
        In which the attempts are written.
    keep
        Ids that a person has seen to: they are not doubtful.
    """
    by_mark = lift_all(kept, x_height_mm=metrics.x_height * size.mm_per_unit, slant_deg=metrics.slant_deg)
    letters: dict[str, list[AttemptStrokes]] = {}
    small: dict[str, tuple[float, float]] = {}
    tall: dict[str, tuple[float, float]] = {}
    for mark, lifted in by_mark.items():
        for heights, habit in ((False, small), (True, tall)):
            offsets = [o.offset for o in lifted if _is_tall(o.base, metrics, size) == heights]
            if offsets:
                x, y = np.median(offsets, axis=0) / size.mm_per_unit
                habit[mark] = (float(x), float(y))
        letters[mark] = [o.mark for o in _surely_read(lifted, keep)]
        for o in lifted:
            if o.base.char not in kept:
                letters.setdefault(o.base.char, []).append(o.base)
    if DOT_ABOVE not in kept and DOT_ABOVE not in letters:
        dots = dots_of(kept, x_height_mm=metrics.x_height * size.mm_per_unit)
        if dots:
            letters[DOT_ABOVE] = dots
    return Parts({c: g[:MOST_LIFTED] for c, g in letters.items()}, Habits(small, tall))


def _surely_read(lifted: Sequence[Lifted], keep: Collection[str]) -> Sequence[Lifted]:
    """Return what was surely read, all where nothing was."""
    return [o for o in lifted if o.mark.confidence >= SURE or o.mark.id in keep] or lifted


def _is_tall(letter: AttemptStrokes, metrics: Metrics, size: Size) -> bool:
    top = max(float(s[:, 1].max()) for s in letter.strokes)
    return bool(top > 1.25 * metrics.x_height * size.mm_per_unit)
