"""What the judge of readings is fitted on: the choice that it is given when an image is read, and which are right."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from skeleton.fitting.line_fit import fit_context, fit_hypothesis
from skeleton.hypotheses.forms_sought import forms_for
from skeleton.hypotheses.habit_inputs import habit_inputs
from skeleton.hypotheses.labelled import candidates
from skeleton.matching import sketches
from skeleton.matching.sketches import SketchNetwork
from skeleton.matching.template_matching import find_matches
from skeleton.pipeline import MAX_JUDGED_READINGS, build_state_graph_of
from skeleton.scoring.path_features import path_scorer
from skeleton.scoring.writing_habits import habit_costs, stroke_inputs
from skeleton.states.state_graph import draw
from tests.bench.people import BY_LOT, of_people, part, trains_network
from tests.bench.trace_data import OWN_DPI, Case, fitted, fold
from tests.bench.trace_ink import ink
from tests.bench.training.bending import bent
from tests.bench.training.characters import characters, museum
from tests.bench.training.example_files import load_files, make_files
from tests.bench.training.examples import USUAL_PEN_MM, lines_mm
from tests.bench.training.rightness import WITHIN_MM, rightness

MOST_FITTED, FITTED_WITHIN = 8, 3.5
"""Readings that are fitted to the ink, the likeliest by the judge in use, and log odds behind the best of them: a few
more than when an image is read, for another judge will rank them otherwise."""

MUSEUM_ATTEMPTS = 8
"""Of the simulated hands, in whose own ink they are read."""

DISCS_SHARE = 0.5
"""Share of the inks that are laid in a drawing library's discs; the usual ink is not."""


@dataclass(frozen=True, eq=False)
class Choices:
    """The readings of characters, those of the first character first."""

    counts: NDArray[np.int64]
    """Shape (characters,): how many readings each has; the other arrays have a row for each reading, or character."""

    strokes: NDArray[np.float16]
    along: NDArray[np.float16]
    features: NDArray[np.float32]
    linear: NDArray[np.float32]
    """Shape (readings, ...): as `writing_habits.habit_costs` takes them."""

    unlike: NDArray[np.float32]
    """Shape (readings,): ink left unexplained, NaN where a reading was not fitted."""

    paths: NDArray[np.bool_]
    full: NDArray[np.bool_]
    """Shape (readings,): right in its paths; in order and direction too."""

    char: NDArray[np.int32]
    """Shape (characters,): code point."""

    source: NDArray[np.str_]
    seen: NDArray[np.bool_]
    """Shape (characters,): whether the pen-event network was trained on its writer."""

    writer: NDArray[np.str_]
    ink: NDArray[np.int16]
    """Shape (characters,): number of the ink, 0 for the usual one."""


@dataclass(frozen=True, eq=False)
class Written:
    """A character to be inked and read."""

    source: str
    case: Case
    number: int
    """Of the ink."""

    seed: tuple[int, ...]


def written(
    paths: Sequence[Path], parts: Sequence[str], inks: int, seed: int, most: int | None = None
) -> list[Written]:
    """Return the characters of some parts of the people, of the small sets those for training, in several inks.

    All in the first ink come first, in an order drawn by lot, then all in the second one. most: characters of the sets
    of people in each ink.
    """
    every: list[tuple[str, Case, int]] = []
    for source, cases in characters(paths):
        for i, c in cases:
            belongs = part(source, c.writer) if of_people(source) else "train"
            if belongs in parts and (belongs != "train" or fitted(source, c.writer, c.char)):
                every.append((source, c, i))
    if "train" in parts:
        every += [("museum", c, i) for i, c in enumerate(museum(MUSEUM_ATTEMPTS))]
    rng = np.random.default_rng(seed)
    out = []
    for k in range(inks):
        some = [x for x in every if k == 0 or x[1].grey is None]
        some = [some[j] for j in rng.permutation(len(some))]
        theirs = [x for x in some if x[0] in BY_LOT][:most]
        some = [x for x in some if x[0] not in BY_LOT] + theirs
        for j in rng.permutation(len(some)):
            source, case, i = some[j]
            out.append(Written(source, case, k, (seed, i, k)))
    return out


def make(
    every: Sequence[Written], where: Path, *, cores: int, seconds: float, networks: Sequence[SketchNetwork] = ()
) -> None:
    """Read characters for some time, and write what was read to files in a folder.

    networks: of `sketches`, for each part of the training data one that was trained without it; that in use if none.
    """
    make_files(every, partial(_choices, networks=networks), where, cores=cores, seconds=seconds)


def load(where: Path) -> Choices:
    """Return what `make` wrote into a folder."""
    return load_files(Choices, where)


def _choices(one: Written, networks: Sequence[SketchNetwork]) -> list[Choices]:
    seen = nullcontext()
    if networks and one.source != "museum":
        apart = networks[fold(one.source, one.case.writer, one.case.char)]
        seen = patch.object(sketches, "trained", return_value=apart)
    with seen:
        found = _choice(one)
    return [] if found is None else [found]


def inked(one: Written) -> tuple[NDArray[np.uint8], float, float, list[NDArray[np.float64]]]:
    """Return picture, resolution, width of the pen, mm, and where the strokes lie: the usual ink, or any other."""
    case, rng = one.case, np.random.default_rng(one.seed)
    if case.grey is not None:
        return case.grey, OWN_DPI, case.pen_mm, case.strokes
    if one.number == 0:
        image, off = ink(case.strokes, seed=int(rng.integers(1 << 30)))
        return image, OWN_DPI, USUAL_PEN_MM, [s + off for s in case.strokes]
    # what was drawn or drafted is straight where it is meant to be
    strokes = bent(case.strokes, rng) if of_people(one.source) else case.strokes
    dpi = float(rng.choice([150, 200, 300, 300, 300, 400]))
    pen = float(rng.uniform(0.3, 0.8) if rng.random() < 0.85 else rng.uniform(0.2, 1.2))
    kind, pressure = str(rng.choice(["clean", "noisy", "noisy", "skipping"])), float(rng.uniform(0.05, 0.25))
    discs = bool(rng.random() < DISCS_SHARE)
    image, off = ink(
        strokes, dpi=dpi, pen_mm=pen, kind=kind, seed=int(rng.integers(1 << 30)), pressure=pressure, discs=discs
    )
    return image, dpi, pen, [s + off for s in strokes]


def _choice(one: Written) -> Choices | None:
    """Return the readings considered for a character, None where nothing was read."""
    char = unicodedata.normalize("NFC", one.case.char)
    grey, dpi, pen, true = inked(one)
    apart = build_state_graph_of(grey, dpi)
    models = forms_for(apart[0], char, "right") if apart else []
    if apart is None or not models or len(char) > 1:
        return None
    found, net, states = apart
    scorer = path_scorer(net, states)
    every = candidates(scorer, find_matches(net, states, models), models)[:MAX_JUDGED_READINGS]
    if not every:
        return None
    told = habit_inputs(scorer, every, models)
    judged = habit_costs(char, told.shapes, told.along, told.features, told.linear)
    cost = told.linear if judged is None else told.linear + judged.costs
    first = np.argsort(cost, kind="stable")[:MOST_FITTED]
    first = first[cost[first] <= cost.min() + FITTED_WITHIN]
    unlike = np.full(len(every), np.nan, np.float32)
    if len(first) > 1:
        paper = fit_context(found)
        for i in first:
            unlike[i] = fit_hypothesis([draw(net, states, w) for w in every[i].walks], paper).unlike
    paths, full = rightness(lines_mm(apart, every), true, max(WITHIN_MM, 0.6 * pen))
    of = one.case.writer
    return Choices(
        np.array([len(every)]), stroke_inputs(told.shapes).astype(np.float16), told.along.astype(np.float16),
        told.features.astype(np.float32), told.linear.astype(np.float32), unlike, paths, full,
        np.array([ord(char)], np.int32), np.array([one.source]),
        np.array([one.source in BY_LOT and trains_network(one.source, of)]),
        np.array([of]), np.array([one.number], np.int16),
    )  # fmt: skip
