"""Strokes of a word cut into letters: which of their points belong to which letter, and where the pen stayed down."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.polyline import at_lengths, line_length
from skeleton.graph.junctions import Network
from skeleton.states.state_graph import States, draw
from skeleton.words.finished_ways import FinishedWay
from skeleton.words.laid_text import misfit_of
from skeleton.words.letter_pictures import CutWord
from skeleton.words.links import RUNNING

Ints = NDArray[np.int64]

PASSED = 0.8
"""x-heights of line that a stroke draws of each of two letters at least where the pen stayed down between them: less is
the tail that a letter touches the next one with. Five writers of UNIPEN train_r01_v07 (Guyon et al., ICPR 1994; donor
kai), of the neighbours that one stroke of the reading wrote: of 323 that one stroke of the record wrote as well 20 have
less, of 99 that two wrote 37. Where a word is joined from `RUNNING` on, a quarter of these, it counts for nothing."""


def cut_way(net: Network, states: States, way: FinishedWay, text: str) -> CutWord:
    """Return a way to write a word cut into letters before its lines are fitted to the ink; px, y down.

    What it costs is not told: it is not known of one way alone.
    """
    pieces: list[list[Points]] = [[] for _ in text]
    strokes = []
    for stroke in way.strokes:
        line = np.ascontiguousarray(draw(net, states, stroke.walk))
        strokes.append(parts_of(line, _by_length(states.here[stroke.walk], stroke.letter, line)))
        for j, piece in strokes[-1]:
            pieces[j].append(piece)
    frame = way.laid.frame
    joined = left_joined(strokes, len(text), frame.x_height)
    return CutWord(
        text, pieces, [j in joined for j in range(len(text))], misfit_of(states, way.laid, len(text)).tolist(),
        (frame.y - frame.slope * frame.x, frame.slope), frame.x_height, frame.slant, float("nan"), net.pen_px,
    )  # fmt: skip


def _by_length(places: Points, letter: Ints, line: Points) -> Ints:
    """Return the letter of every point of a line that was drawn along places: that of the place as far along."""
    far, gone = (np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))]) for p in (places, line))
    at = np.searchsorted(far / max(far[-1], 1e-9), gone / max(gone[-1], 1e-9) - 1e-9)
    out: Ints = letter[np.minimum(at, len(letter) - 1)]
    return out


def letters_along(places: Points, letter: Ints, line: Points, count: int) -> Ints:
    """Return the letter of so many points at equal steps of a line that was drawn along places.

    Each goes with the place that it is near, none with one before that of the point before it, so that the squares of
    all distances are least (dynamic programming). The steps were equal before the line was fitted: how it was stretched
    then tells nothing of its letters.
    """
    if len(places) < 2 or count < 2:
        return np.full(count, letter[0])
    even = at_lengths(np.ascontiguousarray(line), np.linspace(0.0, line_length(line), count))
    far = ((even[:, None] - places[None]) ** 2).sum(axis=2)
    least = far[0]
    came = np.zeros(far.shape, np.int64)
    number = np.arange(len(places))
    for n in range(1, count):
        lower = np.minimum.accumulate(least)
        came[n] = np.maximum.accumulate(np.where(least <= lower, number, 0))
        least = lower + far[n]
    k = int(np.argmin(least))
    out = np.empty(count, np.int64)
    for n in range(count - 1, -1, -1):
        out[n] = letter[k]
        k = int(came[n, k])
    return out


def led_on(letter: Ints, before: Points, line: Points) -> Ints:
    """Return the letter of every point of a line that has the points from before and may have more at its ends."""
    more = len(line) - len(before)
    first = min(range(more + 1), key=lambda k: float(((line[k : k + len(before)] - before) ** 2).sum()))
    return np.pad(letter, (first, more - first), mode="edge")


def parts_of(points: Points, letter: Ints) -> list[tuple[int, Points]]:
    """Return a stroke cut where its letters change; the point where it is cut belongs to both."""
    cuts = np.flatnonzero(np.diff(letter)) + 1
    bounds = zip([0, *cuts.tolist()], [*cuts.tolist(), len(letter)], strict=True)
    return [(int(letter[a]), points[a : min(b + 1, len(letter))]) for a, b in bounds]


def in_turn(points: Points, letter: Ints) -> Ints:
    """Return the letter of every point of a stroke, none that it goes back to for a moment.

    Where the stroke draws a letter, the next one, the first again and the second again, one of the two parts in the
    middle was dealt to the wrong letter: it goes with what is around it, always the shortest one. What is left of a
    letter is one line as far as its stroke was, and can be led on into another letter.

    Parameters
    ----------
    points
        Shape (n, 2), the stroke.
    letter
        Shape (n,).
    """
    letter = letter.copy()
    steps = np.concatenate([np.hypot(*np.diff(points, axis=0).T), [0.0]])
    while True:
        starts = np.concatenate([[0], np.flatnonzero(np.diff(letter)) + 1, [len(letter)]])
        drawn = letter[starts[:-1]]
        again = np.flatnonzero((drawn[3:] == drawn[1:-2]) & (drawn[2:-1] == drawn[:-3]))
        if not len(again):
            return letter
        long = np.add.reduceat(steps, starts[:-1])
        k = min((int(k) for k in np.concatenate([again + 1, again + 2])), key=lambda k: float(long[k]))
        letter[starts[k] : starts[k + 1]] = drawn[k - 1]


def left_joined(strokes: Sequence[Sequence[tuple[int, Points]]], letters: int, x_height: float) -> set[int]:
    """Return the letters of a word that the pen left for the next one without being lifted.

    Parameters
    ----------
    strokes
        Of each stroke the numbers of its letters and what it draws of each, (n, 2), in turn, in the x-height's unit.
    letters
        How many the word has.
    """
    met, passed = set[int](), set[int]()
    for parts in strokes:
        for (j, one), (k, other) in pairwise(parts):
            if k == j + 1:
                met.add(j)
                drawn = min(line_length(np.ascontiguousarray(p)) for p in (one, other))
                passed |= {j} if drawn >= PASSED * x_height else set()
    # who joins the letters of a word leaves some of them after a short piece
    return met if len(passed) >= RUNNING * (letters - 1) else passed
