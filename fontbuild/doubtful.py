"""Attempts whose reading is doubtful: they stay out of the font while better ones of the character exist.

One bad letter spoils a page on which it comes back every third line, so what is doubtful is left out sooner here than a
person would set it aside; where a character has nothing else, it is drawn all the same and named.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import cache

import numpy as np

from capture.units import Points
from fontbuild.joins import IN_TEXT
from fontbuild.variants import AttemptStrokes
from skeleton.ductus import allographs
from skeleton.geometry.arc_length import line_length, resample

SURE = 0.5
"""Confidence from which on a reading is not doubtful."""

STEP = 0.12
"""x-heights between the points at which the line's turns are added up."""

BEADED = (1.6, 4.0)
"""A line is beaded when it turns by so many times what the other attempts at the character turn by, and by so many
radians more: where a pen skips or ink blots, the line read from it goes to and fro along the blots. What the form that
was recognised turns by, a loop where others have none, is no bead."""

FEW = 2
"""Other attempts that are needed to tell a beaded line."""

CELLS = 3
"""Attempts from cells that tell in how many strokes a letter is written at most, and by how much it turns: one that
lies in more strokes, cut out of a joined word, was cut in pieces. Of a joining writer (UNIPEN train_r01_v07, kai; Guyon
et al., ICPR 1994) these were 6 of 156 letters: an o whose ring was opened where its join goes out, an m of four pieces.
Half of the t's of others' words were read with their bar to and fro, so that they were no measure of each other."""

NEARLY_ALL = 0.7
"""Share of the attempts at a character with more strokes than one cut out of a word has, from which on it lacks its dot
or bar, which the writer put after the word and which was taken for another letter's or for a speck. Of another joining
writer named there, who dots every i and bars seven t's of eight, most i's and t's that were cut out joined had none,
and as few letters are joined on both sides, these came back in every word."""


def find_doubtful(
    letters: Mapping[str, Sequence[AttemptStrokes]], *, x_height_mm: float, keep: Collection[str] = ()
) -> tuple[dict[str, str], tuple[str, ...]]:
    """Return, by attempt id, why its reading is doubtful, where better ones exist; and the characters that have none.

    Parameters
    ----------
    letters
        Attempts by character, those that were set aside for other reasons left out.
    x_height_mm
        The size in which they are written.
    keep
        Ids that a person has seen to: they are not doubtful.
    """
    reasons: dict[str, str] = {}
    only: list[str] = []
    for char, group in letters.items():
        doubts = {}
        cells = [len(w.strokes) for w in group if w.allograph not in IN_TEXT]
        most = max(cells) if len(cells) >= CELLS else None
        strokes = np.array([len(w.strokes) for w in group])
        beads = _beaded(group, x_height_mm)
        for w, beaded in zip(group, beads, strict=True):
            if w.id in keep:
                continue
            if w.confidence < SURE:
                doubts[w.id] = f"doubtful reading (confidence {w.confidence:.2f})"
            elif beaded:
                doubts[w.id] = "a beaded line"
            elif most is not None and w.allograph in IN_TEXT and len(w.strokes) > most:
                doubts[w.id] = f"cut out of its word in {len(w.strokes)} pieces"
            elif w.allograph in IN_TEXT and (strokes > len(w.strokes)).mean() >= NEARLY_ALL:
                doubts[w.id] = "cut out of its word without a dot or bar"
        if group and len(doubts) == len(group):
            only.append(char)
        else:
            reasons |= doubts
    return reasons, tuple(only)


def _beaded(group: Sequence[AttemptStrokes], x_height_mm: float) -> list[bool]:
    """Return which attempts at a character are beaded."""
    turns = np.array([turning(w.strokes, STEP * x_height_mm) for w in group])
    in_cell = np.array([w.allograph not in IN_TEXT for w in group], bool)
    judges = in_cell if in_cell.sum() >= CELLS else np.ones(len(group), bool)
    out = []
    for i, w in enumerate(group):
        others = turns[judges & (np.arange(len(group)) != i)]
        if len(others) < FEW:
            out.append(False)
            continue
        middle = float(np.median(others))
        form = usual_turning(w.char).get(w.allograph, 0.0)
        out.append(bool(turns[i] > max(BEADED[0] * max(middle, form), middle + BEADED[1])))
    return out


@cache
def usual_turning(char: str) -> Mapping[str, float]:
    """Return by how much each known form of a character turns, radians, by its name."""
    return {form.name: turning(form.strokes, STEP) for form in allographs(char)}


def turning(strokes: Sequence[Points], step_mm: float) -> float:
    """Return by how much lines, each of shape (n, 2) in mm, turn from end to end, either way, in radians.

    Examples
    --------
    >>> round(turning([np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])], 0.25), 2)
    1.57
    """
    total = 0.0
    for s in strokes:
        n = int(line_length(s) / step_mm) + 1
        if n < 3:
            continue
        d = np.diff(resample(s, n), axis=0)
        angle = np.arctan2(d[:, 1], d[:, 0])
        total += float(np.abs((np.diff(angle) + np.pi) % (2 * np.pi) - np.pi).sum())
    return total
