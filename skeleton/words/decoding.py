"""A word's text laid over its ink: the cheapest way of the pen, and the frame of the writing, found in turn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skeleton.geometry.polyline import line_length
from skeleton.graph.junctions import Network, is_dot
from skeleton.hypotheses.uncovered_ink import completed
from skeleton.states.paths import coverage
from skeleton.states.shortest_paths import moves_within
from skeleton.states.state_graph import States, Walks, path_context_of
from skeleton.words.frame import WordFrame, first_frame, refitted
from skeleton.words.letter_forms import DOTTED, STEP, Known, LetterForm, box_of, forms_of
from skeleton.words.letter_viterbi import decode, single_steps_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PLACE = 0.12 / 0.25**2
"""Cost of a point a quarter of an x-height too high or low is 0.12, ..."""

FAR = 0.75**2
"""... and no more than from three quarters."""

TURN = 0.35
"""Cost of a right angle between form and way."""

STRETCH = 0.06
"""Cost of a step twice as long as the form's."""

GAIN = 0.10
"""What a point of a form is worth, so that long letters cost no more than short ones."""

BEAM = 7.0
"""Cost behind the cheapest from which a way is given up."""

LIFT = 0.6
"""Cost of lifting the pen between letters."""

OVERLAP = 3.0
"""Cost of beginning a letter an x-height before the right edge of the one before; by the square."""

JOINS, JOIN, BACK = 5, 0.08, 0.3
"""Most steps of a join that belongs to no form, cost of one, and of one that leads to the left."""

JUMP = 0.5 / 0.25**2
"""Cost of a letter's next stroke beginning an x-height off, by the square."""

BIN = 0.08
REACH = 16
"""Bins, x-heights wide, by which letters may overlap."""

LEFT_OUT, BLANK = 0.75, 0.2
"""Cost of leaving out an x-height of line, and of paper."""

RARE = 0.5
"""Weight of a form's log share."""

BARE, ADDED = 0.8, 0.5
"""Cost of an x-height of line that no letter passes, and of a stroke that must be added for it."""

BONUS = 0.08
"""What passing a place is worth that was left bare before."""

ROUNDS = 2
"""How often the frame is found anew."""

AGAIN = 1
"""How often ink left bare is tried to be won."""

MARK = 1.0
"""x-heights of line up to which ink that stands apart above the x-height is a letter's mark."""


@dataclass(frozen=True, eq=False)
class Decoded:
    """A text found in ink."""

    cost: float
    walks: Walks
    """Single steps, all ink taken up: the letters' strokes in the order of writing, then what was added."""

    letter: Ints
    """Shape (steps,): which letter every step belongs to, -1 in strokes that were added."""

    frame: WordFrame
    marks: tuple[int, ...]
    """Pieces of ink that stand apart above the letters."""

    misfit: Floats
    """Shape (letters,): mean cost of a letter's points; near 0 where it suits, see `word_reading`."""


def decode_text(net: Network, states: States, text: str, known: Known | None = None) -> Decoded | None:
    """Return the cheapest way to write a text over all ink of a network; None where there is none."""
    forms = [forms_of(c, known) for c in text]
    if not text or not all(forms):
        return None
    context = path_context_of(net, states)
    sizes = np.repeat(states.spacing, np.diff(states.first))
    frame = first_frame(states.here, *box_of(text, known))
    part = connected_parts(net)
    extra = np.zeros(len(states.here))
    best: Decoded | None = None
    for k in range(ROUNDS + AGAIN):
        marks = marks_above(net, part, text, frame)
        found = _decode(states, forms, frame, marks, extra)
        if found is None:
            break
        cost, rows, model = found
        cost -= float(extra[rows[:, 0]].sum())
        walks, letter = single_steps_of(rows, states.step_to, states.step_len, states.step_cost, states.step_at)
        count = coverage(walks, len(sizes))
        bare = (count == 0) & ~np.isin(states.piece[::2], marks)
        if k >= ROUNDS - 1:
            left = float(sizes[bare].sum()) / frame.x_height
            whole, _, _ = completed(context, walks, count)[0]
            added = len(whole[1]) - len(walks[1]) - len({int(part[p]) for p in marks})
            cost += BARE * left + ADDED * max(added, 0)
            if best is None or cost < best.cost:
                owner = _owners(walks, letter, whole, len(states.here))
                best = Decoded(cost, whole, owner, frame, marks, _misfit(states, frame, rows, model, len(text)))
            extra = np.where(np.repeat(bare, 2), -BONUS, 0.0)
            if not bare.any():
                break
        else:
            on = rows[:, 2] >= 0
            frame = refitted(frame, states.here[rows[on, 0]], model[rows[on, 2]], rows[on, 1].astype(np.int64))
    return best


def _decode(
    states: States, forms: list[tuple[LetterForm, ...]], frame: WordFrame, marks: tuple[int, ...], extra: Floats
) -> tuple[float, NDArray[np.int32], Floats] | None:
    """Return (cost, rows, points of all forms) of the cheapest way; rows as `letter_viterbi.decode` gives them."""
    size = frame.x_height
    here, heading = frame.place(states.here), frame.direction(states.heading)
    off = np.isin(states.piece, marks)
    if off.all():
        return None
    at, to, length, cost = moves_within(
        states.step_to, states.step_len, states.step_cost, states.step_at, 2.2 * STEP * size
    )
    low, high = float(here[~off, 0].min()) - REACH * BIN, float(here[~off, 0].max()) + REACH * BIN
    bins = int((high - low) / BIN) + 2
    line = np.where(off[::2], 0.0, np.repeat(states.spacing, np.diff(states.first)) / size)
    in_bin = np.clip(((here[::2, 0] - low) / BIN).astype(int), 0, bins - 1)
    skipped = LEFT_OUT * np.cumsum(np.bincount(in_bin, line, bins)) + BLANK * BIN * np.arange(bins)
    every = [f for of_letter in forms for f in of_letter]
    weights = np.array(
        [PLACE, TURN, STRETCH, GAIN, BEAM, LIFT, OVERLAP, JOINS, JOIN, BACK, FAR, JUMP, REACH], np.float64
    )
    model = np.concatenate([f.points for f in every])
    best, rows = decode(
        here, heading, states.start_cost, extra + np.where(off, 50.0, 0.0), at, to, length / np.float32(size), cost,
        skipped, low, BIN,
        model, np.concatenate([f.tangents for f in every]), np.concatenate([f.breaks for f in every]), STEP,
        np.cumsum([0, *(len(f.points) for f in every)]), np.cumsum([0, *map(len, forms)]),
        np.array([-RARE * f.log_share for f in every]),
        np.array([round(f.before / BIN) for f in every], np.int32),
        np.array([round(f.after / BIN) for f in every], np.int32), weights,
    )  # fmt: skip
    return (float(best), rows, model) if len(rows) else None


def _misfit(states: States, frame: WordFrame, rows: NDArray[np.int32], model: Floats, letters: int) -> Floats:
    """Return how far off, in x-heights up or down, the places of every letter are from its form's, on the average."""
    on = rows[:, 2] >= 0
    y = frame.place(states.here[rows[on, 0]])[:, 1]
    off = np.abs(y - model[rows[on, 2], 1])
    count = np.maximum(np.bincount(rows[on, 1], minlength=letters), 1)
    out: Floats = np.bincount(rows[on, 1], off, letters) / count
    return out


def _owners(walks: Walks, letter: Ints, whole: Walks, states: int) -> Ints:
    """Return the letter of every step of completed walks, -1 in strokes that pass nothing that a letter passes."""
    by_state, by_place = np.full(states, -1), np.full(states // 2, -1)
    by_state[walks[0]] = letter
    by_place[walks[0] // 2] = letter
    every, starts = whole
    out = np.where(by_state[every] >= 0, by_state[every], by_place[every // 2]).astype(np.int64)
    for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        named = np.flatnonzero(out[a:b] >= 0)
        if len(named):
            nearest = np.abs(np.arange(b - a)[:, None] - named[None]).argmin(axis=1)
            out[a:b] = out[a + named[nearest]]
    return out


def connected_parts(net: Network) -> Ints:
    """Return for every piece the number of the connected part of the ink that it belongs to."""
    root = np.arange(len(net.pieces))

    def find(i: int) -> int:
        while root[i] != i:
            i = int(root[i])
        return i

    for ends in net.junctions:
        for p, _ in ends[1:]:
            root[find(p)] = find(ends[0][0])
    return np.array([find(i) for i in range(len(root))], np.int64)


def marks_above(net: Network, part: Ints, text: str, frame: WordFrame) -> tuple[int, ...]:
    """Return the pieces that are marks of letters: small parts that lie wholly above the x-height."""
    if not any(c in DOTTED for c in text):
        return ()
    out: list[int] = []
    for k in np.unique(part):
        pieces = np.flatnonzero(part == k)
        places = frame.place(np.concatenate([net.pieces[p] for p in pieces]))
        length = sum(0.0 if is_dot(net, int(p)) else line_length(net.pieces[p]) for p in pieces) / frame.x_height
        if length < MARK and np.ptp(places, axis=0).max() < 0.9 * MARK and places[:, 1].max() < -0.85:
            out += pieces.tolist()
    return tuple(out)
