"""Reading with the label: each known form of the character walked over the ink, the best one kept.

The walk is a map matching (Newson & Krumm 2009): the model's points are the observations, the places and headings on
the network the hidden states, and the cheapest sequence of states is found by dynamic programming (Viterbi 1967). The
model is first laid over the ink by its box, then bent towards what the first walk found.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.polyline import line_length
from skeleton.graph.junctions import Network
from skeleton.matching.detached_marks import NOWHERE, DetachedMark, detached_in_ink, detached_in_template
from skeleton.matching.stroke_distance import Shape, shape_of, shape_with_marks_aside
from skeleton.matching.template_warp import align_and_decode, match_template
from skeleton.states.shortest_paths import moves_within
from skeleton.states.state_graph import States, Walks

PLACE_SPREAD_SIZES = 0.16
"""Standard deviation of a model point's place, in sizes of the character."""

ROUGH_PRIOR_WEIGHT = 0.12
"""Weight of the log of a form's prior in the rough pass."""

ROUGH_COST_WINDOW = 1.0
"""Cost behind the best of the rough pass up to which a model is walked again."""


@dataclass(frozen=True, eq=False)
class Model:
    """A form to look for: strokes in any unit, y down."""

    name: str
    strokes: tuple[Points, ...]
    """Each of shape (n, 2), in writing order and direction."""

    prior: float = 1.0

    guessed: bool = False
    """Whether the picture suggested it (`sketches`)."""

    @cached_property
    def end_to_end(self) -> tuple[Points, NDArray[np.int64]]:
        """Points of all strokes end to end, shape (n, 2), and where each starts, with the end, (strokes + 1,)."""
        every = np.ascontiguousarray(np.concatenate(self.strokes), np.float64)
        return every, np.cumsum([0, *map(len, self.strokes)])

    @cached_property
    def log_prior(self) -> float:
        """How usual the form is."""
        return float(np.log(self.prior))

    @cached_property
    def shape(self) -> Shape:
        """What readings are compared with."""
        return shape_of(self.strokes)

    @cached_property
    def apart(self) -> tuple[int, int]:
        """First stroke of the detached marks, and their side; see `detached_marks.detached_in_template`."""
        return detached_in_template(self.strokes)

    @cached_property
    def letter(self) -> bytes:
        """What is the same for the same letter with other marks."""
        return b"|".join(s.tobytes() for s in self.strokes[: self.apart[0]])

    @cached_property
    def shape_with_marks_aside(self) -> Shape:
        """The same with marks that stand apart in the middle of the letter, wherever they stand."""
        return shape_with_marks_aside(self.strokes, self.apart[0])


@dataclass(frozen=True, eq=False)
class Match:
    """A model found in the ink."""

    model: Model
    end_to_end: Walks
    """Single steps from state to state, in writing order."""

    fit: float
    """Cost of place, direction and stretch per point of the model; 0 is perfect."""


def find_matches(
    net: Network,
    states: States,
    models: list[Model],
    *,
    keep: int = 9,
    window: float = ROUGH_COST_WINDOW,
    rounds: int = 3,
) -> list[Match]:
    """Return the models found in the ink, after a rough pass that keeps the best `keep` of them.

    window: cost behind the best of the rough pass up to which a model is kept.
    Of models that differ in their marks alone the best one counts. Every model kept is walked up to `rounds` times: the
    later ones are drawn to ink that was left bare.
    """
    if not models or not len(states.here):
        return []
    low, high = states.here.min(axis=0), states.here.max(axis=0)
    size = float(max((high - low).max(), net.pen_px))
    total = float(sum(line_length(p) for p in net.pieces))
    step = max(0.6 * net.pen_px, total / 70)
    single = (states.step_to, states.step_len, states.step_cost, states.step_at)
    moves = moves_within(*single, 2.2 * step)
    place = (states.here, states.heading, states.start_cost)
    whole = np.stack([low, high])
    inked = detached_marks_in_ink(net, states, models)
    rough = []
    least = np.inf
    for m in models:
        every, first = m.end_to_end
        k, side = m.apart
        there = inked.get(side)
        if there is not None and there.pieces >= len(m.strokes) - k:
            aside, boxes = int(first[k]), there.boxes
        else:
            aside, boxes = len(every), np.stack([whole, whole])
        usual = ROUGH_PRIOR_WEIGHT * m.log_prior
        most = least + window + usual
        points, breaks, steps, letter, walk, cost = align_and_decode(
            every, first, aside, boxes, step, size * PLACE_SPREAD_SIZES, most, *place, *moves
        )
        rough.append((cost - usual, m, (points, breaks, steps, letter, walk)))
        least = min(least, cost - usual)
    rough.sort(key=lambda r: r[0])
    out: dict[tuple[bytes, bytes], Match] = {}
    letters: set[bytes] = set()
    for cost, m, laid in rough:
        if cost > rough[0][0] + window or len(letters) == keep:
            break
        if m.letter in letters:
            continue
        letters.add(m.letter)
        points, breaks, steps, letter, walk = laid
        for at, starts, fit in match_template(
            points,
            breaks,
            steps,
            letter,
            walk,
            size,
            size * PLACE_SPREAD_SIZES,
            rounds,
            *place,
            states.piece,
            *single,
            *moves,
        ):
            key = at.tobytes(), starts.tobytes()
            # of two models with the same walks the one that suits better and is more usual stands for both
            if key not in out or _merit(fit, m) < _merit(out[key].fit, out[key].model):
                out[key] = Match(m, (at, starts), float(fit))
    return list(out.values())


def detached_marks_in_ink(net: Network, states: States, models: list[Model]) -> dict[int, DetachedMark]:
    """Return the ink that may be marks standing apart, by side; nothing where no model has such marks."""
    return detached_in_ink(net, states) if any(m.apart[1] != NOWHERE for m in models) else {}


def _merit(fit: float, m: Model) -> float:
    return 6.0 * fit - m.log_prior
