"""What the choice between readings is fitted on: the readings considered for inked characters, and which are right."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass
from functools import cache, partial
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels
from skeleton.cues import pen_events
from skeleton.fitting.line_fit import fit_context, fit_hypothesis
from skeleton.graph.junctions import Network
from skeleton.hypotheses import unlabelled
from skeleton.hypotheses.forms_sought import forms_for
from skeleton.hypotheses.labelled import Hypothesis, candidates
from skeleton.ink.ink_map import InkMap
from skeleton.matching.stroke_distance import Shape, shape_along
from skeleton.matching.template_matching import find_matches
from skeleton.pipeline import MAX_HYPOTHESES, build_state_graph_of, shaped_like
from skeleton.scoring.path_features import path_scorer
from skeleton.states.state_graph import States, draw
from tests.bench.people import BY_LOT, fits_choice, of_people, part
from tests.bench.trace_data import Case, fitted, fold
from tests.bench.trace_ink import ink
from tests.bench.training.characters import characters, museum
from tests.bench.training.rightness import rightness

Floats = NDArray[np.float64]
Apart = tuple[InkMap, Network, States]
Readings = tuple[list[Hypothesis], list[Shape], Floats]
How = Callable[[Apart, str], Readings]

USUAL_PEN_MM = 0.5


@dataclass(frozen=True, eq=False)
class Example:
    """The readings considered for one inked character."""

    group: str
    """Data set and writer, with `*` where they are not fitted: what a cross-validation leaves out together."""

    char: str
    features: Floats
    """Shape (readings, len(FEATURES) + 1): last, how unlike the ink their strokes are."""

    shapes: list[Shape]
    paths: NDArray[np.bool_]
    full: NDArray[np.bool_]

    @property
    def source(self) -> str:
        """The data set."""
        return self.group.split("/")[0]

    @property
    def fold(self) -> int:
        """The part of the training data that it is in."""
        return fold(*self.group.split("/", 1), self.char)

    @property
    def row(self) -> str:
        """The row of the table it counts in: writers not fitted stand apart."""
        return self.source + ("*" if self.group.endswith("*") else "")


@dataclass(frozen=True, eq=False)
class Task:
    """One character to be inked and read."""

    group: str
    case: Case
    number: int
    """Of the ink: the first is the usual one; of every other pair one is of a drawing library's discs."""

    seed: tuple[int, ...]
    network: Path | None = None
    """The pen-event network that it is read with; the one in use if None."""


def tasks(
    paths: Iterable[Path],
    inks: int,
    seed: int,
    *,
    unnamed: bool = False,
    share: float = 1.0,
    most: int | None = None,
    checked: bool = False,
    networks: Sequence[Path] = (),
) -> Iterator[Task]:
    """Yield what the choice is fitted on, in several inks; `checked`: other people's too, marked by `*`.

    share: of the characters, drawn by lot; most: characters of a data set, likewise. Of the sets of people the choice
    is fitted on the part B (`people.fits_choice`) and checked on the validation part; nobody who is left out is read.
    `networks` are the pen-event networks for each part of the training data, trained without it: what a network says of
    strokes that it was trained on is worth more than it will ever be again.
    """
    rng = np.random.default_rng(seed)
    for source, cases in characters(paths, unnamed=unnamed):
        kept = [(c, _used(source, c)) for _, c in cases]
        kept = [(c, used) for c, used in kept if used or (checked and _checked(source, c))]
        some = min(round(share * len(kept)), most or len(kept))
        for i in sorted(rng.choice(len(kept), some, replace=False)):
            case, used = kept[i]
            network = networks[fold(source, case.writer, case.char)] if networks and used else None
            for k in range(inks):
                group = f"{source}/{case.writer}{'' if used else '*'}"
                yield Task(group, case, k, (seed, i, k), network)
    for case in museum(1):
        network = networks[fold("museum", case.writer, case.char)] if networks else None
        if rng.random() < share:
            yield Task(f"museum/{case.writer}", case, 0, (seed,), network)


def _used(source: str, case: Case) -> bool:
    return fits_choice(source, case.writer) if of_people(source) else fitted(source, case.writer, case.char)


def _checked(source: str, case: Case) -> bool:
    # of the small sets there is no part between training and measuring
    return part(source, case.writer) == "val" if source in BY_LOT else not fitted(source, case.writer, case.char)


def examples(every: Iterable[Task], *, unnamed: bool = False, processes: int | None = None) -> Iterator[Example]:
    """Yield what was read of each task that left any ink; on all cores, if it is not said on how many."""
    each = partial(example, unnamed=unnamed)
    if processes == 1:
        yield from (e for e in map(each, every) if e is not None)
        return
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        yield from (e for e in pool.map(each, every, chunksize=16) if e is not None)


def example(task: Task, *, unnamed: bool = False) -> Example | None:
    """Return what is read of a task, None of a blank image."""
    how = _unnamed if unnamed else _named
    seen = patch.object(pen_events, "trained", return_value=_network(task.network)) if task.network else nullcontext()
    with seen:
        if task.case.grey is not None:
            return _example(task.group, task.case.char, how, task.case.grey, 300, task.case.strokes)
        return _example(task.group, task.case.char, how, *_inked(task))


@cache
def _network(file: Path) -> pen_events.Trained:
    return pen_events.network_of(pen_events.arrays(file))


def _inked(task: Task) -> tuple[NDArray[np.uint8], float, list[Points]]:
    rng, k = np.random.default_rng(task.seed), task.number
    dpi = float(rng.choice([150, 200, 300, 300, 400, 600])) if k else 300.0
    pen = float(rng.uniform(0.3, 0.8) if rng.random() < 0.7 else rng.uniform(0.2, 1.2)) if k else USUAL_PEN_MM
    kind = str(rng.choice(["clean", "noisy", "skipping"])) if k else "noisy"
    pressure = float(rng.uniform(0.05, 0.25)) if k else 0.15
    image, off = ink(
        task.case.strokes, dpi=dpi, pen_mm=pen, kind=kind, seed=int(rng.integers(1 << 30)), pressure=pressure,
        discs=k % 2 == 1,
    )  # fmt: skip
    return image, dpi, [s + off for s in task.case.strokes]


def _named(ground: Apart, char: str) -> Readings:
    """Return the readings that a tracer who is told the character considers, and their shapes."""
    ink_map, net, states = ground
    models = forms_for(ink_map, char, "right")
    every = candidates(path_scorer(net, states), find_matches(net, states, models), models)
    return every, [shape_along(c.end_to_end, states.here) for c in every], _unlike(ground, every)


def _unnamed(ground: Apart, char: str) -> Readings:
    """Return the readings that a tracer who is not told the character considers, and their shapes."""
    _, net, states = ground
    every = unlabelled.readings(path_scorer(net, states))
    return every, [shaped_like(states, every[0].end_to_end, c) for c in every], _unlike(ground, every)


def _unlike(ground: Apart, every: Sequence[Hypothesis]) -> Floats:
    """Return how unlike the ink each reading is, those that are not likely as unlike as the worst."""
    found, net, states = ground
    paper = fit_context(found)
    some = [fit_hypothesis([draw(net, states, w) for w in c.walks], paper).unlike for c in every[:MAX_HYPOTHESES]]
    return np.array(some + [max(some, default=0.0)] * (len(every) - len(some)))


def lines_mm(ground: Apart, every: Sequence[Hypothesis]) -> list[list[Points]]:
    """Return the strokes of readings, mm; one that several share is the same array."""
    found, net, states = ground
    drawn: dict[bytes, Points] = {}
    out = []
    for c in every:
        walk, starts = c.end_to_end
        parts = [walk[a:b] for a, b in pairwise(starts.tolist())]
        for stretch in parts:
            if stretch.tobytes() not in drawn:
                drawn[stretch.tobytes()] = image_from_pixels(draw(net, states, stretch), px_per_mm=found.px_per_mm)
        out.append([drawn[stretch.tobytes()] for stretch in parts])
    return out


def _example(
    group: str, char: str, how: How, grey: NDArray[np.uint8], dpi: float, true: list[Points]
) -> Example | None:
    apart = build_state_graph_of(grey, dpi)
    if apart is None:
        return None
    every, shapes, unlike = how(apart, char)
    if not every:
        return None
    paths, full = rightness(lines_mm(apart, every), true)
    if how is _unnamed:
        full = paths
    features = np.column_stack([[c.features for c in every], unlike])
    return Example(group, char, features, shapes, paths, full)
