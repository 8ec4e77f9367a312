"""What a network is told along a way to write a word: directions, clues of the ink, other passes, what is bare."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from capture.units import Points
from skeleton.geometry.polyline import at_lengths
from skeleton.graph.junctions import Network
from skeleton.small_networks import Single
from skeleton.states.state_graph import States
from skeleton.words.delayed_strokes import WrittenStroke
from skeleton.words.finished_ways import FinishedWay, InkOfWord
from skeleton.words.unexplained_ink import tips_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STEP = 0.1
"""x-heights between the points of a way at which the network is told of it."""

INPUTS = 32
"""What it is told at each, beside the letters."""

OTHERS, LETTERS = 27, 56
"""Row of all characters but a to z, which are alike; rows in all: capitals have their own."""

MOST_LOG_ODDS, LOG_ODDS_SCALE = 6.0, 3.0
LONGEST_JUMP = 3.0
"""x-heights by which the pen is told to go while it is lifted, at most."""

SAME_PASS = 2
"""Points of the way that are the same pass over a place."""


@dataclass(frozen=True, eq=False)
class ToldOfWay:
    """A way to write a word as the network takes it; n points."""

    inputs: Single
    """Shape (n, INPUTS)."""

    letters: Ints
    """Shape (n, 3): row of the letter before, of the letter that a point belongs to, and of the next; 0 for none."""

    places: Points
    """Shape (n, 2), px."""

    stroke: Ints
    """Shape (n,): number of the stroke."""

    letter: Ints
    """Shape (n,): number of the letter."""


def told_of_ways(ink: InkOfWord, ways: Sequence[FinishedWay], text: str) -> list[ToldOfWay]:
    """Return what is told of each of several ways to write a word."""
    tips = tips_of(ink.net, ink.states)
    return [_told(ink.net, ink.states, way, text, tips) for way in ways]


def _told(net: Network, states: States, way: FinishedWay, text: str, tips: Ints) -> ToldOfWay:
    """Return what is told of a way; tips: states at free tips that head inwards."""
    strokes, frame = way.strokes, way.laid.frame
    letters_ink = ~np.isin(states.piece[::2], way.laid.marks)
    parts = [_even(states, s, STEP * frame.x_height) for s in strokes]
    counts = [len(p[0]) for p in parts]
    state = np.concatenate([p[0] for p in parts])
    places = np.concatenate([p[1] for p in parts])
    letter = np.concatenate([p[2] for p in parts])
    stroke = np.repeat(np.arange(len(parts)), counts)
    begins, ends = np.diff(stroke, prepend=-1) != 0, np.diff(stroke, append=len(parts)) != 0
    place, clues = state // 2, states.clues
    at = frame.place(places)
    step = np.diff(at, axis=0, prepend=at[:1])
    jump = np.clip(step, -LONGEST_JUMP, LONGEST_JUMP)
    onward = np.concatenate([jump[1:], np.zeros((1, 2))])
    times = np.bincount(np.concatenate([np.asarray(s.walk) for s in strokes]) // 2, minlength=len(states.here) // 2)
    events = (clues.landed[state], clues.lifted[state], clues.landed[state ^ 1], clues.lifted[state ^ 1])
    changes = np.concatenate([[False], letter[1:] != letter[:-1]]) & ~begins
    columns: list[NDArray[np.generic]] = [
        np.where(begins[:, None], 0.0, step / STEP), frame.direction(states.heading[state]), at[:, 1],
        *(np.clip(x, -MOST_LOG_ODDS, MOST_LOG_ODDS) / LOG_ODDS_SCALE for x in (clues.twice[place], *events)),
        np.minimum(times[place] - 1, 3), *_other_passes(state), begins, ends,
        np.nan_to_num(np.clip(states.width[place], 0, 3), nan=1.0) - 1,
        np.repeat([s.delayed for s in strokes], counts), changes,
        np.where(begins[:, None], jump, 0.0), np.where(ends[:, None], onward, 0.0),
        np.isin(state, tips), np.isin(state ^ 1, tips),
        *_bare_near(states, np.flatnonzero((times == 0) & letters_ink), places, frame.x_height),
        np.full(len(state), np.log(frame.x_height / net.pen_px) / 2),
        np.clip(states.start_cost[state], 0, 3), np.full(len(state), frame.width - 1),
    ]  # fmt: skip
    rows = np.array([0, *map(row_of, text), 0])
    inputs: Single = np.column_stack(columns).astype(np.float32)
    return ToldOfWay(
        inputs, np.stack([rows[letter], rows[letter + 1], rows[letter + 2]], axis=1), places, stroke, letter
    )


def _even(states: States, stroke: WrittenStroke, step: float) -> tuple[Ints, Points, Ints]:
    """Return the states, places and letters of a stroke's points at equal steps, two at least."""
    walk = np.asarray(stroke.walk, np.int64)
    line = states.here[walk]
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    t = np.linspace(0, far[-1], max(2, round(far[-1] / step) + 1))
    number = np.clip(np.searchsorted(far, t - 1e-9), 0, len(walk) - 1)
    points = np.repeat(line, len(t), axis=0) if len(line) == 1 else at_lengths(np.ascontiguousarray(line), t)
    return walk[number], points, stroke.letter[number]


def _other_passes(state: Ints) -> list[Floats]:
    """Return how long ago and how soon the pen passes a point's place besides, and whether the same way or back.

    Each shape (n,): the log of points between, a quarter of it, 0 where there is no other pass; 1 for back, -1.
    """
    count, place = len(state), state // 2
    number = np.arange(count)
    keys = np.sort(place * count + number)
    out: list[Floats] = []
    for sign in (-1, 1):
        apart, back = np.full(count, np.inf), np.zeros(count)
        for aside in (-1, 0, 1):
            base = (place + aside) * count + number
            k = np.searchsorted(keys, base + sign * SAME_PASS + (sign > 0)) - (sign < 0)
            inside = (k >= 0) & (k < count)
            key = keys[np.clip(k, 0, count - 1)]
            other = key % count
            far = sign * (other - number)
            nearer = inside & (key // count == place + aside) & (far < apart)
            apart[nearer] = far[nearer]
            back[nearer] = np.where(((state ^ state[other])[nearer] & 1) == 1, 1.0, -1.0)
        found = np.isfinite(apart)
        out += [np.where(found, np.log1p(np.where(found, apart, 1.0)) / 4, 0.0), back]
    return out


def _bare_near(states: States, bare: Ints, places: Points, reach: float) -> list[Floats]:
    """Return how near ink is that the way leaves bare, (n,), 1 for here, 0 from `reach` px on, and whereto, (n, 2)."""
    near, toward = np.zeros(len(places)), np.zeros((len(places), 2))
    if len(bare):
        far, which = cKDTree(states.here[2 * bare]).query(places, distance_upper_bound=reach)
        found = np.isfinite(far)
        near[found] = 1 - far[found] / reach
        toward[found] = (states.here[2 * bare[which[found]]] - places[found]) / reach
    return [near, toward]


def row_of(char: str) -> int:
    """Return the row of a character's numbers."""
    small = char.lower()
    return (ord(small) - ord("a") + 1 if "a" <= small <= "z" else OTHERS) + (OTHERS + 1 if char.isupper() else 0)
