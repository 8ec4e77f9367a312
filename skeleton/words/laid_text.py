"""A word's text laid over its ink in one frame: the cheapest way of the pen along letters' forms, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skeleton.geometry.polyline import line_length
from skeleton.graph.junctions import Network, is_dot
from skeleton.states.paths import coverage
from skeleton.states.shortest_paths import moves_within
from skeleton.states.state_graph import States, Walks
from skeleton.words.frame import WordFrame, refitted
from skeleton.words.letter_forms import DOTTED, STEP, FormTable
from skeleton.words.letter_viterbi import decode
from skeleton.words.single_steps import single_steps_of

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
"""Cost behind the cheapest from which a way is given up over a known pen path (`tests.bench.training`), ..."""

NEAR = 5.0
"""... and over ink: 60 words are read the same as with 7, in less time."""

LIFT = 0.6
"""Cost of lifting the pen between letters."""

EVENTS = 0.4
"""Weight of the ink's own log odds that the pen came down, or went up, at a place (`skeleton.cues.pen_events`): chosen
by lifts, way and letters of 100 words of people whom the network has not seen."""

OFTEN = 1.6
"""What is added to them for a lift and the landing after it: what the forms of letters cannot follow weighs against
lifts."""

OVERLAP = 12.0
"""Cost of beginning a letter an x-height before the right edge of the one before; by the square."""

JOINS, JOIN, BACK = 5, 0.08, 0.3
"""Most steps of a join that belongs to no form, cost of one, and of one that leads to the left."""

JUMP = 0.5 / 0.25**2
"""Cost of a letter's next stroke beginning an x-height off, by the square."""

FREE = 0
"""Bins by which letters that are joined may overlap at no cost."""

BIN = 0.08
REACH = 16
"""Bins, x-heights wide, by which letters may overlap."""

LEFT_OUT, BLANK = 0.75, 0.2
"""Cost of leaving out an x-height of line, and of paper."""

RARE = 0.5
"""Weight of a form's log share."""

BARE, ADDED = 0.8, 0.5
"""Cost of an x-height of line that no letter passes, and of a stroke that must be added for it."""

SHARED = 1.0
"""Cost of an x-height of line that two letters claim."""

MARK = 1.0
"""x-heights of line up to which ink that stands apart above the x-height is a letter's mark."""


@dataclass(frozen=True, eq=False)
class LaidText:
    """A text laid over the ink in one frame."""

    cost: float
    events: float
    """What the pen events took off the cost."""

    rows: NDArray[np.int32]
    """Shape (rows, 4): as `letter_viterbi.decode` gives them."""

    model: Floats
    """Shape (points, 2): all forms' points, x-heights, y down."""

    walks: Walks
    """Single steps."""

    letter: Ints
    """Shape (steps,): which letter every step belongs to."""

    frame: WordFrame
    marks: tuple[int, ...]
    bare: NDArray[np.bool_]
    """Shape (places,): whether no letter passes it."""

    twice: NDArray[np.bool_]
    """Shape (places,): whether more than one does."""

    def refitted(self, states: States) -> WordFrame:
        """Return the frame that suits what was found."""
        on = self.rows[:, 2] >= 0
        places, model = states.here[self.rows[on, 0]], self.model[self.rows[on, 2]]
        return refitted(self.frame, places, model, self.rows[on, 1].astype(np.int64))


def laid_over(
    net: Network, states: States, part: Ints, sizes: Floats, text: str, forms: FormTable,
    frame: WordFrame, extra: Floats, *, barred: tuple[int, ...] = (),
) -> LaidText | None:  # fmt: skip
    """Return the cheapest way to write the text in a frame.

    extra: what passing each state costs beside. barred: pieces of bars, which no letter passes.
    """
    marks = (*barred, *marks_above(net, part, text, frame))
    found = cheapest_way(states, forms, frame, marks, extra, NEAR)
    if found is None:
        return None
    cost, rows = found
    walks, letter, bare, twice = walked(states, rows, marks)
    cost -= float(extra[rows[:, 0]].sum())
    cost += (BARE * float(sizes[bare].sum()) + SHARED * float(sizes[twice].sum())) / frame.x_height
    cost += ADDED * _stretches(bare, sizes, states.first, frame.x_height)
    return LaidText(cost, _told_by_events(states, rows), rows, forms.points, walks, letter, frame, marks, bare, twice)


def walked(
    states: States, rows: NDArray[np.int32], marks: tuple[int, ...]
) -> tuple[Walks, Ints, NDArray[np.bool_], NDArray[np.bool_]]:
    """Return single steps, shape (steps,), the letter of each, and which places, (places,), are bare or passed by two.

    rows: shape (rows, 4), as `letter_viterbi.decode` gives them.
    """
    walks, letter = single_steps_of(rows, states.step_to, states.step_len, states.step_cost, states.step_at)
    places = len(states.here) // 2
    bare = (coverage(walks, places) == 0) & ~np.isin(states.piece[::2], marks)
    return walks, letter, bare, _claimed_twice(walks[0], letter, places)


def cheapest_way(
    states: States,
    forms: FormTable,
    frame: WordFrame,
    marks: tuple[int, ...],
    extra: Floats,
    beam: float = BEAM,
) -> tuple[float, NDArray[np.int32]] | None:
    """Return (cost, rows) of the cheapest way; rows as `letter_viterbi.decode` gives them."""
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
    landed, lifted = _pen_events(states)
    turned = states.start_cost.reshape(-1, 2)[:, ::-1].ravel()
    weights = np.array(
        [PLACE, TURN, STRETCH, GAIN, beam, LIFT, OVERLAP, JOINS, JOIN, BACK, FAR, JUMP, REACH, FREE], np.float64
    )
    best, rows = decode(
        here, heading, states.start_cost - landed, turned - lifted, extra + np.where(off, 50.0, 0.0),
        at, to, length / np.float32(size), cost, skipped, low, BIN,
        forms.points, forms.tangents, forms.breaks, STEP, forms.form_at, forms.letter_at, -RARE * forms.log_share,
        np.round(forms.before / BIN).astype(np.int32), np.round(forms.after / BIN).astype(np.int32), weights,
    )  # fmt: skip
    return (float(best), rows) if len(rows) else None


def _pen_events(states: States) -> tuple[Floats, Floats]:
    """Return what the ink says for the pen coming down, and going up, in every state."""
    return EVENTS * states.clues.landed, EVENTS * states.clues.lifted + OFTEN


def _told_by_events(states: States, rows: NDArray[np.int32]) -> float:
    """Return what pen events add to the worth of a way, the first landing and the last lift too."""
    landed, lifted = _pen_events(states)
    begins = np.flatnonzero(rows[:, 3] == 1)
    # the row before the first stroke is the last one
    starts, ends = rows[begins, 0], rows[begins - 1, 0]
    return float(landed[starts].sum() + lifted[ends].sum())


def _stretches(bare: NDArray[np.bool_], sizes: Floats, first: NDArray[np.int32], x_height: float) -> int:
    """Return how many stretches of a piece are bare for more than a fifth of an x-height."""
    starts = np.flatnonzero(
        bare & ~np.concatenate([[False], bare[:-1]]) | (bare & np.isin(np.arange(len(bare)), first))
    )
    long = np.add.reduceat(np.where(bare, sizes, 0.0), starts) if len(starts) else np.zeros(0)
    return int((long > 0.2 * x_height).sum())


def _claimed_twice(every: NDArray[np.int32], letter: Ints, places: int) -> NDArray[np.bool_]:
    """Return for every place whether more than one letter passes it."""
    low, high = np.full(places, 1 << 30), np.full(places, -1)
    np.minimum.at(low, every // 2, letter)
    np.maximum.at(high, every // 2, letter)
    out: NDArray[np.bool_] = high > low
    out[high < 0] = False
    return out


def misfit_of(states: States, found: LaidText, letters: int) -> Floats:
    """Return how far off, in x-heights up or down, the places of every letter are from its form's, on the average."""
    rows = found.rows
    on = rows[:, 2] >= 0
    y = found.frame.place(states.here[rows[on, 0]])[:, 1]
    off = np.abs(y - found.model[rows[on, 2], 1])
    count = np.maximum(np.bincount(rows[on, 1], minlength=letters), 1)
    out: Floats = np.bincount(rows[on, 1], off, letters) / count
    return out


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
