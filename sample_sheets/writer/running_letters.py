"""How the museum's second hand writes small letters inside words, and how the pen gets from one to the next.

The notation is that of `letterforms`. The first stroke is what the pen does in the word, from where the letter before
it ended to where the next one begins; the others (dots, bars) are left for the end of the word. A first knot that is a
corner is reached from wherever the pen comes; one with a direction is passed. Letters that end over half an x-height
go on from the top, as after o, v, w, b and r in copy-books (common practice, no source).
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from sample_sheets.writer.letterforms import Path, bezier, hobby_angles, parse_path, pieces
from sample_sheets.writer.signs import MARKS

Array = NDArray[np.float64]

RUNNING: dict[str, str] = {
    "a": ".66,.84! .40,.98@182 .06,.46@-88 .29,0@2 .62,.48@70 .70,.95! .67,.25@-90 .78,.01@8 .95,.22@48",
    "b": ".0,.20@45 .36,1.45@74 .24,1.85@180 .12,1.40@-92 .10,.30@-90 .36,0@0 .68,.46@90 .50,.90@165! "
    ".66,.78@-20 1.0,.86@12",
    "c": ".62,.80! .38,.98@180 .06,.46@-88 .38,0@0 .80,.24@45",
    "d": ".66,.84! .38,.98@182 .06,.45@-88 .29,0@2 .62,.46@72 .72,1.85! .67,.25@-90 .78,.01@8 .95,.22@48",
    "e": ".0,.20@30 .58,.62@70 .40,.98@180 .08,.45@-90 .40,0@0 .80,.24@45",
    "f": ".0,.20@45 .40,1.45@76 .30,1.85@180 .18,1.40@-92 .10,-.50@-92 .22,-.82@0 .34,-.48@90 .20,.02@150! .74,.22@40",
    "g": ".66,.84! .40,.98@182 .06,.47@-88 .30,.02@2 .62,.50@68 .70,.95! .66,-.38@-92 .38,-.85@180 .18,-.62@80 "
    ".92,.20@42",
    "h": ".0,.20@45 .34,1.45@76 .24,1.85@180 .12,1.40@-92 .08,0! .12,.46@84 .40,.98@-5 .60,.62@-90 .60,.22@-90 "
    ".71,.01@8 .88,.22@48",
    "i": ".10,.97! .09,.24@-90 .20,.01@8 .37,.22@48 / .15,1.41 .17,1.37",
    "j": ".22,.97! .20,-.40@-92 -.06,-.85@180 -.24,-.62@80 .50,.20@42 / .26,1.41 .28,1.37",
    "k": ".0,.20@45 .34,1.45@76 .24,1.85@180 .12,1.40@-92 .08,0! .12,.46@84 .44,.96@-10 .46,.66@-120 .16,.50@180! "
    ".42,.20@-50 .60,.02@-10 .86,.22@48",
    "l": ".0,.20@45 .34,1.45@76 .24,1.85@180 .12,1.40@-92 .12,.24@-90 .24,.01@8 .42,.22@48",
    "m": ".10,.97! .09,0! .12,.46@84 .34,.98@-5 .50,.64@-90 .50,0! .53,.46@84 .76,.98@-5 .92,.64@-90 .92,.22@-90 "
    "1.03,.01@8 1.20,.22@48",
    "n": ".10,.97! .09,0! .12,.46@84 .40,.98@-5 .60,.62@-90 .60,.22@-90 .71,.01@8 .88,.22@48",
    "o": ".54,.94! .06,.48@-90 .38,0@0 .72,.52@90 .42,.97@175 .62,.84@-25 .98,.90@15",
    "p": ".10,.97! .07,-.85! .11,.42@88 .42,.99@-5 .72,.53@-90 .42,.02@180 .14,.10! .50,.02@0 .92,.22@45",
    "q": ".66,.84! .40,.98@182 .06,.47@-88 .30,.02@2 .62,.50@68 .70,.95! .68,-.82! .98,.20@50",
    "r": ".08,.97! .08,0! .11,.46@86 .34,.93@20 .52,.82@-30! .92,.90@10",
    "s": ".30,1.0! .48,.54@-62 .38,.03@195 .08,.12! .46,.03@5 .80,.22@45",
    "t": ".22,1.42! .20,.26@-90 .32,.01@5 .54,.22@48 / .0,.94 .56,.99",
    "u": ".08,.97! .08,.36@-90 .29,0@0 .58,.42@74 .66,.95! .64,.24@-90 .75,.01@8 .92,.22@48",
    "v": ".06,.97! .32,.02! .58,.92@70 .64,.80@-30! .94,.88@12",
    "w": ".06,.97! .12,.30@-84 .29,0@0 .53,.50@78 .57,.90! .60,.28@-88 .78,0@0 1.02,.54@84 .96,.93@130! "
    "1.05,.80@-30 1.34,.88@12",
    "x": ".06,.84! .18,.95@-15 .36,.5@-66 .54,.02@-10 .82,.22@48 / .62,.97 .06,.01",
    "y": ".08,.97! .08,.38@-90 .28,.02@0 .56,.44@72 .64,.95! .60,-.38@-94 .32,-.85@180 .12,-.60@80 .86,.20@42",
    "z": ".08,.94! .60,.97! .08,.03! .44,.04@-5 .82,.22@45",
}

FROM_TOP = {"e": ".08,.56@15", **dict.fromkeys("bfhkl", ".06,.88@60")}
"""Where letters with a passed first knot begin when the pen comes from the top."""

TOP = 0.5
"""x-heights over which an exit is one from the top."""


@dataclass(frozen=True, eq=False)
class RunningForm:
    """A letter as it is written inside a word; x-heights, y up."""

    main: Path
    passed: bool
    """Whether the first knot is passed in a direction, not a corner."""

    later: tuple[Path, ...]
    """Dots and bars."""

    @property
    def from_top(self) -> bool:
        """Whether the pen leaves from the top."""
        return bool(self.main.at[-1, 1] > TOP)


def joins(char: str) -> bool:
    """Return whether the hand has a running form of a character."""
    base, *marks = unicodedata.normalize("NFD", char)
    return base in RUNNING and all(m in MARKS for m in marks)


@cache
def running_form(char: str, after_top: bool = False) -> RunningForm:
    """Return how a character is written inside a word, after a letter that was left from the top or not."""
    base, *marks = unicodedata.normalize("NFD", char)
    first, *rest = (s.strip() for s in RUNNING[base].split("/"))
    passed = not first.split()[0].endswith("!")
    if after_top and base in FROM_TOP:
        first = " ".join([FROM_TOP[base], *first.split()[1:]])
    main = parse_path(first)
    later = [parse_path(s) for s in rest]
    if marks:
        later = later[1:] if base in "ij" else later
        top = float(main.at[:, 1].max())
        middle = float(main.at[:-1, 0].min() + main.at[:-1, 0].max()) / 2
        for n, mark in enumerate(marks):
            at = np.array([middle, max(1.26, top + 0.13) + 0.34 * n])
            later += [parse_path(s.strip()).moved(np.eye(2), at) for s in MARKS[mark].split("/")]
    return RunningForm(main, passed, tuple(later))


def connected(one: Path, other: Path, passed: bool) -> tuple[Path, int]:
    """Return the path that goes on from `one` into `other`, and at which knot the other begins.

    passed: whether the other's first knot keeps its direction.
    """
    ends = np.array([one.at[-1], other.at[0]])
    out = float(np.arctan2(one.arriving[-1, 1], one.arriving[-1, 0]))
    into = float(np.arctan2(other.leaving[0, 1], other.leaving[0, 0])) if passed else None
    angles = hobby_angles(ends, out, into)
    between = pieces(bezier(ends[0], ends[1], float(angles[0]), float(angles[1])))
    leaving = np.array([_way(c[1] - c[0], c[3] - c[0]) for c in between])
    arriving = np.array([_way(c[3] - c[2], c[3] - c[0]) for c in between])
    knots = np.array([c[0] for c in between[1:]]).reshape(-1, 2)
    path = Path(
        np.concatenate([one.at, knots, other.at]),
        np.concatenate([one.leaving[:-1], leaving, other.leaving]),
        np.concatenate([one.arriving, arriving, other.arriving[1:]]),
    )
    return path, len(one.at) + len(knots)


def _way(v: Array, chord: Array) -> Array:
    v = v if np.hypot(*v) > 1e-9 else chord
    return np.asarray(v / max(float(np.hypot(*v)), 1e-12))
