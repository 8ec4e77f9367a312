"""Dots gone wrong: run into their letter, or specks beside it. True to a slip, but no form to repeat on every page."""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from capture.units import Points
from fontbuild.geometry import nearest_distance
from fontbuild.variants import AttemptStrokes
from skeleton.geometry.arc_length import line_length

DOTTED = "ij"
DOT_ABOVE, DIAERESIS = "\u0307", "\u0308"

TOUCHING = 1.15
"""Pen widths between centre lines within which the ink of two strokes runs together, the paper's bleeding included."""

DOT_LENGTH = 1.2
"""Pen widths; a longer stroke is no dot."""

CRUMB_LENGTH = 4.0
"""Pen widths; what a pen that skips leaves of a broken line, or a speck, is no longer."""

LEAST_LEFT = 2
"""Attempts that must stay: of fewer, even a poor one is better than none."""

RAN_INTO = "its dot ran into the letter"
SPECK = "a speck beside the letter, or a broken line"


def find_collisions(letters: Mapping[str, Sequence[AttemptStrokes]], *, keep: Collection[str] = ()) -> dict[str, str]:
    """Return, by attempt id, the reason for those with a dot where none belongs, where enough others stay.

    A dot may run into the rest of its letter, or be one more than most attempts at the letter have. Dots that run
    into the letter are better than none: they only count where others stand clear.

    Parameters
    ----------
    letters
        The attempts by character that are still to become variants.
    keep
        Ids that a person wants kept.
    """
    out: dict[str, str] = {}
    for char, group in letters.items():
        specked = [w.id for w in _with_crumbs(group, _dots_of(char)) if w.id not in keep]
        if len(group) - len(specked) >= LEAST_LEFT:
            out.update(dict.fromkeys(specked, SPECK))
        if not _dots_of(char):
            continue
        staying = [w for w in group if w.id not in out]
        touching = [w.id for w in staying if w.id not in keep and _touches(w)]
        dotted = sum(w.id not in touching and len(w.strokes) > 1 for w in staying)
        if dotted >= LEAST_LEFT:
            out.update(dict.fromkeys(touching, RAN_INTO))
    return out


def _dots_of(char: str) -> int:
    """Return how many dots a letter has by rights."""
    marks = unicodedata.normalize("NFD", char)
    return 2 if DIAERESIS in marks else int(char in DOTTED or DOT_ABOVE in marks)


def _with_crumbs(group: Sequence[AttemptStrokes], own_dots: int) -> list[AttemptStrokes]:
    """Return the attempts with more dots than most have, or more strokes and loose short ones: specks, broken lines.

    The dots that a letter has by rights are none of them, however many attempts lack theirs.
    """
    if not group:
        return []
    strokes = max(float(np.median([len(w.strokes) for w in group])), 1.0 + own_dots)
    dots = max(float(np.median([len(_shorter(w, DOT_LENGTH)) for w in group])), float(own_dots))
    crumbs = max(float(np.median([_crumbs(w) for w in group])), float(own_dots))
    return [
        w for w in group if len(_shorter(w, DOT_LENGTH)) > dots or (len(w.strokes) > strokes and _crumbs(w) > crumbs)
    ]


def _crumbs(w: AttemptStrokes) -> int:
    """Return how many short strokes lie by themselves; bars, which cross or touch another stroke, are none."""
    return sum(
        all(nearest_distance(s, o).min() > TOUCHING * w.width_mm for o in w.strokes if o is not s)
        for s in _shorter(w, CRUMB_LENGTH)
    )


def _touches(w: AttemptStrokes) -> bool:
    dots = _shorter(w, DOT_LENGTH)
    lines = [s for s in w.strokes if line_length(s) > DOT_LENGTH * w.width_mm]
    return any(nearest_distance(dot, line).min() < TOUCHING * w.width_mm for dot in dots for line in lines)


def _shorter(w: AttemptStrokes, pen_widths: float) -> list[Points]:
    return [s for s in w.strokes if line_length(s) <= pen_widths * w.width_mm]
