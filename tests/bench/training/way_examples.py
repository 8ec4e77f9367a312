"""Ways to write people's words, as they are found, and what of the written line each of them loses."""

from __future__ import annotations

import multiprocessing
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels
from skeleton.ink.ink_map import find_ink_of_words
from skeleton.pipeline import state_graph_of_ink
from skeleton.words.along_ways import ToldOfWay, told_of_ways
from skeleton.words.decoding import ways_to_write
from skeleton.words.finished_ways import finished
from skeleton.words.lost_line import LOST_STEP_MM
from tests.bench.people import part
from tests.bench.trace_ink import even, ink
from tests.bench.words import NEAR_MM, Word, partners

DPI = 300.0

OF_ALL, OF_MANY = 260, 90
"""Most words of a writer whose letters join, and of one who prints: there are few of the first."""

JOINING = ("cee/", "kar/", "kai/")

PENS_MM = (0.35, 0.7)
"""Between which the width of the pen is drawn by lot, where it is not half a millimetre."""


@dataclass(frozen=True, eq=False)
class WayExample:
    """A way to write a word, and what it loses."""

    told: ToldOfWay
    lost: NDArray[np.float32]
    """Shape (points,): steps of the written line, `LOST_STEP_MM` long, that are passed too far off at each point."""

    begun: NDArray[np.float32]
    """Shape (points,): strokes that begin there in truth."""

    way: float
    """Share of the written line that is passed in the same sequence."""

    unexplained: float
    strokes: int
    """How many the way has."""


@dataclass(frozen=True, eq=False)
class WordExample:
    """The ways to write a word."""

    text: str
    writer: str
    true_strokes: int
    ways: tuple[WayExample, ...]


Job = tuple[Word, int, float]
"""A word, the seed of its ink, and the pen's width, mm."""


def jobs_of(words: Sequence[Word], which: str, inks: int, seed: int) -> list[Job]:
    """Return words of a part's people, by lot, in so many inks: the first with a pen of half a millimetre."""
    of_writer: dict[str, list[Word]] = defaultdict(list)
    for word in words:
        if len(word.text) > 1 and part("unipen", word.writer) == which:
            of_writer[word.writer].append(word)
    chosen = []
    for writer in sorted(of_writer):
        order = np.random.default_rng(seed).permutation(len(of_writer[writer]))
        most = OF_ALL if writer.startswith(JOINING) else OF_MANY
        chosen += [of_writer[writer][i] for i in order[:most]]
    rng = np.random.default_rng(seed)
    return [
        (word, 100_000 * number + i, 0.5 if number == 0 else float(rng.uniform(*PENS_MM)))
        for number in range(inks)
        for i, word in enumerate(chosen)
    ]


def made(jobs: Sequence[Job], cores: int) -> list[WordExample]:
    """Return what is found of words, those left out in which nothing is."""
    with multiprocessing.get_context("fork").Pool(cores) as pool:
        found = list(pool.imap(example_of, jobs, chunksize=4))
    return [f for f in found if f is not None]


def example_of(job: Job) -> WordExample | None:
    """Return the ways that are found to write a word; None where there are none."""
    word, seed, pen_mm = job
    grey, offset = ink(word.strokes, dpi=DPI, pen_mm=pen_mm, seed=seed, discs=True)
    true = [s + offset for s in word.strokes]
    seen = find_ink_of_words(grey, DPI)
    apart = state_graph_of_ink(seen, of_words=True) if seen is not None else None
    if seen is None or apart is None:
        return None
    _, net, states = apart
    found = ways_to_write(net, states, word.text)
    if found is None:
        return None
    ways, out = [finished(found.ink, word.text, laid) for laid in found.laid], []
    every = told_of_ways(found.ink, ways, word.text)
    for way, told, left in zip(ways, every, found.unexplained.tolist(), strict=True):
        places = image_from_pixels(told.places, px_per_mm=seen.px_per_mm)
        lost, begun, share = lost_of(places, told.stroke, true)
        out.append(WayExample(told, lost, begun, share, left, len(way.strokes)))
    return WordExample(word.text, word.writer, len(true), tuple(out))


def lost_of(
    places: Points, stroke: NDArray[np.int64], true: Sequence[Points]
) -> tuple[NDArray[np.float32], NDArray[np.float32], float]:
    """Return lost steps and true begins at every point of a way, and the share that is passed; see `WayExample`."""
    line, owner = [], []
    for k in range(int(stroke[-1]) + 1):
        mine = np.flatnonzero(stroke == k)
        points = even(places[mine], LOST_STEP_MM)
        line.append(points)
        owner.append(mine[np.round(np.linspace(0, len(mine) - 1, len(points))).astype(int)])
    parts = [even(s, LOST_STEP_MM) for s in true]
    near, partner = partners(np.concatenate(line), np.concatenate(parts), NEAR_MM)
    at = np.concatenate(owner)[partner]
    begins = np.cumsum([0, *(len(p) for p in parts[:-1])])
    lost = np.bincount(at[~near], minlength=len(places)).astype(np.float32)
    return lost, np.bincount(at[begins], minlength=len(places)).astype(np.float32), float(near.mean())
