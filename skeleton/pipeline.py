"""From one image to its readings: the steps in their order."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise, repeat

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.analysis import Analysis, ReadingHypothesis, with_marks
from skeleton.fitting.line_fit import FitContext, fit_context, fit_hypothesis
from skeleton.geometry.stroke import Stroke
from skeleton.graph.ink_graph import build_graph
from skeleton.graph.junctions import Network, build_network
from skeleton.graph.pruning import repair
from skeleton.hypotheses.forms_sought import forms_for, models_of, own_forms
from skeleton.hypotheses.good_continuation import reorder_like
from skeleton.hypotheses.habit_inputs import habit_inputs
from skeleton.hypotheses.labelled import Hypothesis, candidates, kinematic_cost, negative_log_likelihood
from skeleton.hypotheses.unlabelled import readings
from skeleton.hypotheses.writing_order import writing_order
from skeleton.ink.ink_map import InkMap, find_ink
from skeleton.ink.scaled_darkness import Grey
from skeleton.matching.marked_letters import parted, taken_apart
from skeleton.matching.sketches import knows
from skeleton.matching.stroke_distance import Shape, shape_along, shape_of, stroke_distance, undirected_distance
from skeleton.matching.template_matching import Model, find_matches
from skeleton.options import Options
from skeleton.result import Reading
from skeleton.scoring.form_similarity import NO_FORM
from skeleton.scoring.path_features import PathScorer, path_scorer
from skeleton.scoring.writing_habits import habit_costs, second_look
from skeleton.selection import select_reading
from skeleton.states.state_graph import States, Walks, build_states, draw, end_to_end

ALL_PARTS = Options()

MAX_HYPOTHESES = 12
"""Readings of an image that stay in the choice. Set by hand: twice as many read no better."""

MAX_JUDGED_READINGS = 32
"""Readings of a known character, the likeliest by their linear cost, to which `writing_habits` adds."""

MAX_SURPRISE_OF_HABITS = 4.5
"""Surprise at the rough shape of all readings from which the ink is no such character, and habits have no say: people's
characters stay under 4 in 99 of 100, a form that is in no table has 5.5."""

ORDER_DISAGREEMENT_COST = 5.0
"""Log odds by which a reading suffers for every tenth of the character's size that it differs from what is known of the
writer's way, where the ink is alike: only order and direction are then in question."""

INK_DISAGREEMENT_COST = 0.7
"""The same where the ink differs, a different number of strokes counting as three tenths: people write more than one
form of a letter."""

GENERAL_RULES_FROM_COST = 6.0
"""Cost of the best labelled reading from which the general rules have a say."""

UNKNOWN_SHAPE_SURPRISE = 5.0
"""Surprise from which a reading's rough shape is none in which the character is known to be written. Of people's
readings that follow what their picture suggests a half is right from there on."""

FIT_TOP_N, FIT_COST_WINDOW = 4, 2.0
"""How many hypotheses are fitted to the ink, and how many log odds behind the best they may be. Set by hand: six read
as well since `writing_habits` looks again."""

RESIDUAL_INK_COST = 5.75
"""Log odds lost for every e-fold of ink left unexplained (`line_fit.FittedHypothesis`); fitted with the choice by
`tests.bench trace_weights`."""


def read(
    grey: Grey,
    dpi: float,
    char: str | None,
    *,
    handedness: str,
    known: Sequence[Sequence[Stroke]],
    options: Options = ALL_PARTS,
    alternatives: int = 0,
    judged: bool = True,
) -> Reading:
    """Return the reading of one image with the next best ones; see `skeleton.api.read_character`."""
    found = analyse(grey, dpi, char, handedness=handedness, known=known, parts=options)
    return select_reading(found, alternatives=alternatives, judged=judged)


def build_state_graph_of(grey: Grey, dpi: float) -> tuple[InkMap, Network, States] | None:
    """Return an image's ink, its network, and where a pen may be on it; None for a blank image."""
    ink = find_ink(grey, dpi)
    return None if ink is None else state_graph_of_ink(ink)


def state_graph_of_ink(
    ink: InkMap, *, junctions: bool = True, of_words: bool = False
) -> tuple[InkMap, Network, States] | None:
    """Return ink, its network, and where a pen may be on it; None where no line is left.

    `of_words`: the ink is that of a word, not of a character.
    """
    net = build_network(repair(build_graph(ink), ink, spurs=junctions, reach=junctions), ink, cut=junctions)
    return (ink, net, build_states(net, ink, 0.5 * ink.pen_px, of_words=of_words)) if net.pieces else None


def analyse(
    grey: Grey,
    dpi: float,
    char: str | None,
    *,
    handedness: str = "right",
    known: Sequence[Sequence[Stroke]] = (),
    parts: Options = ALL_PARTS,
) -> Analysis | None:
    """Return an image taken apart, None for a blank one.

    A letter whose marks stand apart is read as a letter and as marks, each by itself.
    """
    ink = find_ink(grey, dpi)
    if ink is None:
        return None
    own = [[s.points_mm for s in strokes] for strokes in known if len(strokes)]
    if not char or not parts.ductus:
        return study(ink, "", [], own, parts)
    char = unicodedata.normalize("NFC", char)
    marked = taken_apart(char, ink, models_of(char, handedness), knows) if parts.marks_apart else None
    ways = [parted(strokes, marked.side) for strokes in own] if marked else []
    if marked and all(ways):
        of_letter, of_marks = ([w[k] for w in ways if w] for k in (0, 1))
        models = forms_for(marked.ink, marked.letter, handedness, of_letter)
        letter = study(marked.ink, marked.letter, models, of_letter, parts)
        marks = study(marked.marks_ink, "", [*own_forms(of_marks), *marked.marks], of_marks, parts)
        if letter and marks:
            both = _likeliest(with_marks(letter.options, marks.options))
            return Analysis(ink, tuple(both), parts, _paper(ink, parts), char)
    return study(ink, char, forms_for(ink, char, handedness, own), own, parts)


def study(
    ink: InkMap, char: str, models: list[Model], known: Sequence[Sequence[Points]], parts: Options = ALL_PARTS
) -> Analysis | None:
    """Return the ways to read some ink, None where no line is left.

    Parameters
    ----------
    ink
        The ink.
    char
        The character, empty where habits say nothing of it.
    models
        The forms to look for.
    known
        How this writer is known to write it, strokes of (n, 2), y down.
    parts
        Which parts of the tracer are at work.
    """
    apart = state_graph_of_ink(ink, junctions=parts.junctions)
    if apart is None:
        return None
    _, net, states = apart
    scorer = path_scorer(net, states)
    own = [shape_of(strokes) for strokes in known]
    found: list[ReadingHypothesis] = []
    if models:
        every = candidates(scorer, find_matches(net, states, models), models)[:MAX_JUDGED_READINGS]
        drawn: dict[bytes, Points] = {}
        for c, cost, unsuggested, shape, traits in _judged_by_habits(char, scorer, every, models):
            drawing, surprise = partial(_drawn, net, states, c, drawn), negative_log_likelihood(c)
            unknown = unsuggested >= UNKNOWN_SHAPE_SURPRISE
            found.append(ReadingHypothesis(c.name, drawing, cost, surprise, unknown, partial(_this, shape), traits))
    found = _likeliest(found if not own else [_with_habit_cost(o, own) for o in found])
    if not found or found[0].cost > GENERAL_RULES_FROM_COST:
        free = _by_general_rules(scorer, rivals=bool(found))
        found = _likeliest([*found, *(_with_habit_cost(o, own) if own else o for o in free)])
    paper = _paper(ink, parts)
    return Analysis(ink, tuple(_refit_likeliest(found, paper) if paper else found), parts, paper, char)


def _paper(ink: InkMap, parts: Options) -> FitContext | None:
    return fit_context(ink, smoothly=parts.smooth) if parts.refine else None


def _judged_by_habits(
    char: str, scorer: PathScorer, every: Sequence[Hypothesis], models: Sequence[Model]
) -> list[tuple[Hypothesis, float, float, Shape, NDArray[np.float32] | None]]:
    """Return readings with cost, people's habits added, surprise, shape, and what is kept for the second look.

    The surprise is that by forms which no picture suggests.

    The least cost stays what it was.
    """
    if not every:
        return []
    told = habit_inputs(scorer, every, models)
    judged = None
    if told.unsuggested.min() <= MAX_SURPRISE_OF_HABITS:
        judged = habit_costs(char, told.shapes, told.along, told.features, told.linear)
    if judged is None:
        costs: NDArray[np.float64] = told.linear
        traits: Iterable[NDArray[np.float32] | None] = repeat(None, len(every))
    else:
        costs, traits = told.linear + judged.costs, judged.traits
        costs += told.linear.min() - costs.min()
    return list(zip(every, costs.tolist(), told.unsuggested.tolist(), told.shapes, traits, strict=True))


def _this(shape: Shape) -> Shape:
    return shape


def _refit_likeliest(options: list[ReadingHypothesis], paper: FitContext) -> list[ReadingHypothesis]:
    """Return options of which the likeliest were fitted to the ink: what the pen did not do explains it worse.

    Those that were not tried count as explaining it no better than the worst that was.
    """
    near = [o for o in options[:FIT_TOP_N] if o.cost <= options[0].cost + FIT_COST_WINDOW]
    trials = [fit_hypothesis(o.lines, paper) for o in near] if len(near) > 1 else []
    fitted = np.arange(len(options)) < len(trials)
    unlike = np.zeros(len(options))
    if trials:
        unlike[:] = max(t.unlike for t in trials)
        unlike[fitted] = [t.unlike for t in trials]
        unlike -= unlike.min()
    more = RESIDUAL_INK_COST * unlike
    seen = np.array([o.traits is not None for o in options])
    if seen.any():
        looked = second_look(np.stack([o.traits for o in options if o.traits is not None]), unlike[seen], fitted[seen])
        more[seen] = looked - looked[0]
    weighed = [replace(o, cost=o.cost + float(x)) for o, x in zip(options, more, strict=True)]
    weighed[: len(trials)] = [replace(o, trial=t) for o, t in zip(weighed, trials, strict=False)]
    return _likeliest(weighed)


def _by_general_rules(scorer: PathScorer, *, rivals: bool) -> list[ReadingHypothesis]:
    """Return the options that follow no form; `rivals`: beside some that do."""
    net, states = scorer.net, scorer.states
    ways = readings(scorer)[: 1 if rivals else MAX_HYPOTHESES]
    if not ways:
        return []
    first = ways[0].end_to_end
    out = []
    for c in ways:
        cost, odd = (kinematic_cost(scorer, c.end_to_end), NO_FORM[1]) if rivals else (c.cost, 0.0)
        drawing, shaping = partial(_in_writing_order, net, states, c), partial(shaped_like, states, first, c)
        out.append(ReadingHypothesis("", drawing, cost, odd, shaping=shaping))
    return out


def _in_writing_order(net: Network, states: States, reading: Hypothesis) -> list[Points]:
    lines = _drawn(net, states, reading)
    return [lines[i] for i in writing_order(lines, [len(p) == 1 for p in lines])]


def shaped_like(states: States, first: Walks, reading: Hypothesis) -> Shape:
    """Return a reading's shape, its strokes in the order and the directions of another: only places count."""
    return shape_along(end_to_end(reorder_like(first, list(reading.walks))), states.here)


def _likeliest(options: list[ReadingHypothesis]) -> list[ReadingHypothesis]:
    """Return the options that stay in the choice, best first."""
    return sorted(options, key=lambda o: o.cost)[:MAX_HYPOTHESES]


def _with_habit_cost(option: ReadingHypothesis, own: list[Shape]) -> ReadingHypothesis:
    """Return an option that costs the more, the stranger it is to the writer's own ways."""
    return replace(option, cost=option.cost + min(_disagreement(option.shape, o) for o in own))


def _disagreement(shape: Shape, known: Shape) -> float:
    """Return the log odds by which a reading suffers for not being what is known."""
    whole, ink = stroke_distance(shape, known), undirected_distance(shape, known)
    return 10 * (INK_DISAGREEMENT_COST * ink + ORDER_DISAGREEMENT_COST * max(whole - ink, 0.0))


def _drawn(
    net: Network, states: States, reading: Hypothesis, before: dict[bytes, Points] | None = None
) -> list[Points]:
    """Return the lines of a reading; before: lines drawn, by their walks (readings share most strokes)."""
    before = {} if before is None else before
    every, starts = reading.end_to_end
    out = []
    for a, b in pairwise(starts.tolist()):
        key = every[a:b].tobytes()
        if key not in before:
            before[key] = draw(net, states, every[a:b])
        out.append(before[key])
    return out
