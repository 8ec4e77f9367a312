"""People's letters with accents set on them: no open data of pen strokes has accented letters.

The letter is as a person wrote it, the marks are drawn after it, shaky and now here, now there, as people put them
(common practice, no source), from a seed. An i or j loses its dot under a mark above.
"""

from __future__ import annotations

import unicodedata
import zlib
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from capture.units import Points
from skeleton.matching.detached_marks import ABOVE
from skeleton.matching.marked_letters import parted
from tests.bench.trace_data import Case

LINES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "\u0301": (((0.5, -0.8), (-0.3, 0.0)),),
    "\u0300": (((-0.5, -0.8), (0.3, 0.0)),),
    "\u0302": (((-0.6, 0.0), (0.0, -0.7), (0.6, 0.0)),),
    "\u030c": (((-0.6, -0.7), (0.0, 0.0), (0.6, -0.7)),),
    "\u0303": (((-0.8, 0.0), (-0.4, -0.3), (0.0, -0.1), (0.4, 0.1), (0.8, -0.3)),),
    "\u0308": (((-0.5, -0.1), (-0.5, 0.0)), ((0.5, -0.1), (0.5, 0.0))),
    "\u0307": (((0.0, -0.1), (0.0, 0.0)),),
    "\u030a": (tuple((0.45 * float(np.sin(t)), -0.45 - 0.45 * float(np.cos(t))) for t in np.linspace(0, -6.28, 20)),),
    "\u0326": (((0.15, 0.0), (0.1, 0.4), (-0.2, 0.9)),),
    "\u0323": (((0.0, 0.0), (0.0, 0.1)),),
}
"""Marks as strokes of corners, x to the right and y down from the middle of their near edge, in about a millimetre."""

GAP_MM = (0.7, 1.2)
SIZE = (0.8, 1.2)
SHIFT_MM, SHAKE_MM = 0.15, 0.03
"""Standard deviations: of where a mark stands, and of its corners."""


def accented(cases: Sequence[Case]) -> list[Case]:
    """Return those of the letters that have an accented form, each with a mark drawn by lot set on it."""
    out = []
    for case in cases:
        marks = [m for m in LINES if _whole(case.char, m)]
        if case.char.isalpha() and marks and case.known:
            rng = np.random.default_rng(zlib.crc32(f"{case.writer}/{case.name}/{case.char}".encode()))
            mark = marks[int(rng.integers(len(marks)))]
            strokes = _under(case, mark)
            if strokes:
                char = unicodedata.normalize("NFC", case.char + mark)
                out.append(replace(case, char=char, strokes=[*strokes, *_drawn(mark, strokes, rng)]))
    return out


def _whole(char: str, mark: str) -> bool:
    return len(unicodedata.normalize("NFC", char + mark)) == 1


def _above(mark: str) -> bool:
    return unicodedata.combining(mark) == 230


def _under(case: Case, mark: str) -> list[Points]:
    """Return the strokes of the letter, without the dot of an i or j that has a mark above instead."""
    if case.char not in "ij" or not _above(mark):
        return case.strokes
    both = parted(case.strokes, ABOVE)
    return both[0] if both else []


def _drawn(mark: str, letter: Sequence[Points], rng: np.random.Generator) -> list[Points]:
    every = np.concatenate(list(letter))
    low, high = every.min(axis=0), every.max(axis=0)
    gap, size = rng.uniform(*GAP_MM), rng.uniform(*SIZE)
    at = np.array([(low[0] + high[0]) / 2 + SHIFT_MM * rng.normal(), low[1] - gap if _above(mark) else high[1] + gap])
    out = []
    for corners in LINES[mark]:
        p = at + size * np.array(corners) + SHAKE_MM * rng.normal(size=(len(corners), 2))
        t = np.linspace(0, len(p) - 1, 12)
        out.append(np.stack([np.interp(t, np.arange(len(p)), p[:, k]) for k in (0, 1)], axis=1))
    return out
