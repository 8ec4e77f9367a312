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
from skeleton.words.leftovers import taken_up
from skeleton.words.letter_forms import DOTTED, STEP, Known, LetterForm, expected_extent, forms_of
from skeleton.words.letter_viterbi import decode, single_steps_of
from skeleton.words.links import linked

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

BONUS, MALUS = 0.08, 0.08
"""What passing a place is worth that was left bare before, and costs where two letters passed it."""

SCRAP = 0.5
"""x-heights of line below which ink that no letter passes is no stroke of its own."""

STARTS = ((1.0, 0.0), (0.8, 0.0), (1.0, 0.5), (0.8, 0.5))
"""Frames tried first: x-heights, as shares of what the height of all ink tells, and slants."""

OTHERS = ((0.62, 0.0), (1.25, 0.0), (0.62, 0.5), (1.25, 0.5))
"""Frames tried where the first lead to nothing that suits."""

AWRY = 3.0
"""Cost of a letter from which nothing suits."""

FEW = 5
"""How many forms of a letter, the commonest, are tried in the other frames."""

USUAL_HEIGHT, USUAL_WIDTH = (0.0, 0.12), (-0.1, 0.18)
"""Means and standard deviations of the logs of a frame's x-height, against what the height of all ink tells, and of its
width: of words of which more than nine tenths of the way are read rightly (half of the people of UNIPEN's words)."""

UNUSUAL = 1.0
"""Weight of a frame's log likelihood."""

FOLLOWED = 2
"""How many of them, the cheapest, are found anew from what they found."""

AGAIN = 3
"""How often ink left bare is tried to be won."""

MARK = 1.0
"""x-heights of line up to which ink that stands apart above the x-height is a letter's mark."""


@dataclass(frozen=True, eq=False)
class Decoded:
    """A text found in ink."""

    cost: float
    """How badly forms and ink suit each other; pen events do not count."""

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
    sizes = np.repeat(states.spacing, np.diff(states.first))
    part = connected_parts(net)
    nothing = np.zeros(len(states.here))
    upright = first_frame(states.here, *expected_extent(text, known))
    few = [of_letter[:FEW] for of_letter in forms]
    second: list[tuple[float, int, _Try]] = []
    for starts, ways_of, beam in ((STARTS, forms, NEAR), (OTHERS, few, NEAR)):
        tries: list[tuple[float, int, _Try]] = []
        for x_height, slant in starts:
            try_ = _tried(net, states, part, sizes, text, ways_of, upright.changed(x_height, slant), nothing, beam)
            if try_ is not None:
                tries.append((try_.cost + _unusual(try_.refitted(states), upright), len(tries), try_))
        for cost, _, first in sorted(tries)[:FOLLOWED]:
            frame = first.refitted(states)
            try_ = _tried(net, states, part, sizes, text, forms, frame, nothing, NEAR)
            cost, try_ = (cost, first) if try_ is None else (try_.cost + _unusual(frame, upright), try_)
            second.append((cost, len(second), try_))
        if second and min(second)[0] < AWRY * len(text):
            break
    if not second:
        return None
    _, _, best = min(second)
    extra, now = nothing, best
    for _ in range(AGAIN):
        extra = extra + np.repeat(MALUS * now.twice - BONUS * now.bare, 2)
        again = _tried(net, states, part, sizes, text, forms, best.frame, extra, NEAR)
        if again is None or not (again.bare.any() or again.twice.any()):
            best = again if again is not None and again.cost < best.cost else best
            break
        best, now = again if again.cost < best.cost else best, again
    walks, letter = linked(best.walks, best.letter, states, sizes, best.bare, best.frame.x_height)
    off = np.isin(states.piece[::2], best.marks)
    walks, letter = taken_up(walks, letter, states, sizes, off, best.frame.x_height)
    ways = completed(path_context_of(net, states), walks, coverage(walks, len(sizes)))
    of_place = part[states.piece[::2]]
    whole = _without_scraps(ways[-1][0], walks, sizes, of_place, SCRAP * best.frame.x_height)
    owner = _owners(walks, letter, whole, len(states.here))
    return Decoded(best.cost + best.events, whole, owner, best.frame, best.marks, _misfit(states, best, len(text)))


@dataclass(frozen=True, eq=False)
class _Try:
    """A text laid over the ink in one frame."""

    cost: float
    events: float
    """What the pen events took off the cost."""

    rows: NDArray[np.int32]
    """As `letter_viterbi.decode` gives them."""

    model: Floats
    walks: Walks
    letter: Ints
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


def _tried(
    net: Network, states: States, part: Ints, sizes: Floats, text: str, forms: list[tuple[LetterForm, ...]],
    frame: WordFrame, extra: Floats, beam: float = BEAM,
) -> _Try | None:  # fmt: skip
    """Return the cheapest way to write the text in a frame; extra: what passing each state costs beside."""
    marks = marks_above(net, part, text, frame)
    found = _decode(states, forms, frame, marks, extra, beam)
    if found is None:
        return None
    cost, rows, model = found
    walks, letter = single_steps_of(rows, states.step_to, states.step_len, states.step_cost, states.step_at)
    bare = (coverage(walks, len(sizes)) == 0) & ~np.isin(states.piece[::2], marks)
    twice = _claimed_twice(walks[0], letter, len(sizes))
    cost -= float(extra[rows[:, 0]].sum())
    cost += (BARE * float(sizes[bare].sum()) + SHARED * float(sizes[twice].sum())) / frame.x_height
    cost += ADDED * _stretches(bare, sizes, states.first, frame.x_height)
    return _Try(cost, _told_by_events(states, rows), rows, model, walks, letter, frame, marks, bare, twice)


def _unusual(frame: WordFrame, upright: WordFrame) -> float:
    """Return the cost of a frame's height and width."""
    height, width = np.log(frame.x_height / upright.x_height), np.log(frame.width)
    off = ((height - USUAL_HEIGHT[0]) / USUAL_HEIGHT[1], (width - USUAL_WIDTH[0]) / USUAL_WIDTH[1])
    return float(UNUSUAL * 0.5 * (off[0] ** 2 + off[1] ** 2))


def _stretches(bare: NDArray[np.bool_], sizes: Floats, first: NDArray[np.int32], x_height: float) -> int:
    """Return how many stretches of a piece are bare for more than a fifth of an x-height."""
    starts = np.flatnonzero(
        bare & ~np.concatenate([[False], bare[:-1]]) | (bare & np.isin(np.arange(len(bare)), first))
    )
    long = np.add.reduceat(np.where(bare, sizes, 0.0), starts) if len(starts) else np.zeros(0)
    return int((long > 0.2 * x_height).sum())


def _decode(
    states: States,
    forms: list[tuple[LetterForm, ...]],
    frame: WordFrame,
    marks: tuple[int, ...],
    extra: Floats,
    beam: float = BEAM,
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
    landed, lifted = _pen_events(states)
    turned = states.start_cost.reshape(-1, 2)[:, ::-1].ravel()
    every = [f for of_letter in forms for f in of_letter]
    weights = np.array(
        [PLACE, TURN, STRETCH, GAIN, beam, LIFT, OVERLAP, JOINS, JOIN, BACK, FAR, JUMP, REACH, FREE], np.float64
    )
    model = np.concatenate([f.points for f in every])
    best, rows = decode(
        here, heading, states.start_cost - landed, turned - lifted, extra + np.where(off, 50.0, 0.0),
        at, to, length / np.float32(size), cost, skipped, low, BIN,
        model, np.concatenate([f.tangents for f in every]), np.concatenate([f.breaks for f in every]), STEP,
        np.cumsum([0, *(len(f.points) for f in every)]), np.cumsum([0, *map(len, forms)]),
        np.array([-RARE * f.log_share for f in every]),
        np.array([round(f.before / BIN) for f in every], np.int32),
        np.array([round(f.after / BIN) for f in every], np.int32), weights,
    )  # fmt: skip
    return (float(best), rows, model) if len(rows) else None


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


def _without_scraps(whole: Walks, before: Walks, sizes: Floats, part: Ints, least: float) -> Walks:
    """Return completed walks without short strokes that were added for ink which touches a letter's.

    Such ink is the breadth of two passes, or of a turn: nobody lifts the pen for it.
    """
    every, starts = whole
    passed = np.zeros(len(sizes), bool)
    passed[before[0] // 2] = True
    touched = np.unique(part[passed])
    kept = []
    for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True):
        places = every[a:b] // 2
        own = passed[places].any() or part[places[0]] not in touched
        if own or float(sizes[places].sum()) >= least:
            kept.append(every[a:b])
    return np.concatenate(kept), np.cumsum([0, *map(len, kept)])


def _claimed_twice(every: NDArray[np.int32], letter: Ints, places: int) -> NDArray[np.bool_]:
    """Return for every place whether more than one letter passes it."""
    low, high = np.full(places, 1 << 30), np.full(places, -1)
    np.minimum.at(low, every // 2, letter)
    np.maximum.at(high, every // 2, letter)
    out: NDArray[np.bool_] = high > low
    out[high < 0] = False
    return out


def _misfit(states: States, found: _Try, letters: int) -> Floats:
    """Return how far off, in x-heights up or down, the places of every letter are from its form's, on the average."""
    rows = found.rows
    on = rows[:, 2] >= 0
    y = found.frame.place(states.here[rows[on, 0]])[:, 1]
    off = np.abs(y - found.model[rows[on, 2], 1])
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
