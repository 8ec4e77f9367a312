"""Dots that ran into their letter: true to the writer's slip, but no form to repeat on every page."""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Mapping, Sequence

import numpy as np
from scipy.spatial.distance import cdist

from capture.units import Points
from fontbuild.variants import Written

DOTTED = "ij"
DOT_MARKS = frozenset("\u0307\u0308")
"""Dot above and diaeresis."""

TOUCHING = 1.15
"""Pen widths between centre lines within which the ink of two strokes runs together, the paper's bleeding included."""

DOT_LENGTH = 1.2
"""Pen widths; a longer stroke is no dot."""

LEAST_LEFT = 2
"""Attempts that must stay: of fewer, even a poor one is better than none."""

RAN_INTO = "its dot ran into the letter"


def find_collisions(letters: Mapping[str, Sequence[Written]], *, keep: Collection[str] = ()) -> dict[str, str]:
    """Return, by attempt id, the reason for those whose dot touches the rest of the letter, where enough others stay.

    Parameters
    ----------
    letters
        The attempts by character that are still to become variants.
    keep
        Ids that a person wants kept.
    """
    out: dict[str, str] = {}
    for char, group in letters.items():
        if char not in DOTTED and not DOT_MARKS & set(unicodedata.normalize("NFD", char)):
            continue
        touching = [w.id for w in group if w.id not in keep and _touches(w)]
        if len(group) - len(touching) >= LEAST_LEFT:
            out.update(dict.fromkeys(touching, RAN_INTO))
    return out


def _touches(w: Written) -> bool:
    dots = [s for s in w.strokes if _length(s) <= DOT_LENGTH * w.width_mm]
    lines = [s for s in w.strokes if _length(s) > DOT_LENGTH * w.width_mm]
    return any(cdist(dot, line).min() < TOUCHING * w.width_mm for dot in dots for line in lines)


def _length(stroke: Points) -> float:
    return float(np.hypot(*np.diff(stroke, axis=0).T).sum()) if len(stroke) > 1 else 0.0
