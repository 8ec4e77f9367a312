"""A word's ink and its text read as strokes in the order of writing, and as letters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels
from skeleton.fitting.line_fit import fit_context, fit_hypothesis
from skeleton.fitting.refinement import completed
from skeleton.geometry.polyline import at_lengths, line_length
from skeleton.geometry.quantiles import median
from skeleton.geometry.stroke import Stroke
from skeleton.graph.junctions import Network
from skeleton.ink.ink_map import InkMap, find_ink_of_words
from skeleton.ink.scaled_darkness import Grey
from skeleton.pipeline import state_graph_of_ink
from skeleton.states.state_graph import States, draw
from skeleton.words.decoding import Decoded, decode_text
from skeleton.words.delayed_strokes import WrittenStroke
from skeleton.words.letter_forms import Known
from skeleton.words.links import RUNNING

Ints = NDArray[np.int64]

PASSED = 0.8
"""x-heights of line that a stroke draws of each of two letters at least where the pen stayed down between them: less is
the tail that a letter touches the next one with. Five writers of UNIPEN train_r01_v07 (Guyon et al., ICPR 1994; donor
kai), of the neighbours that one stroke of the reading wrote: of 323 that one stroke of the record wrote as well 20 have
less, of 99 that two wrote 37. Where a word is joined from `RUNNING` on, a quarter of these, it counts for nothing."""


@dataclass(frozen=True, eq=False)
class WordLetter:
    """One letter of a word that was read."""

    char: str
    pieces_mm: tuple[Points, ...]
    """Its part of the strokes, each (n, 2), in the order of writing; the image's frame: mm, y down. A join belongs to
    the letter that it leaves. Empty if no ink was found for it."""

    misfit: float
    """How far its ink lies from where its form has it, up or down, on the average, in x-heights."""

    joined: bool
    """True where the pen stayed down on the way to the next letter."""


@dataclass(frozen=True, eq=False)
class WordReading:
    """What the pen did in a word. Frame: the image's (mm, origin top left, y down)."""

    strokes: tuple[Stroke, ...]
    """In the order of writing: dots and bars of joined letters come after the word."""

    letters: tuple[WordLetter, ...]
    """In reading order, one for every character of the text; without any where nothing could be read."""

    baseline_mm: tuple[float, float]
    """Height of the baseline at the image's left edge, and its slope (down per mm to the right)."""

    x_height_mm: float
    slant: float
    """How far strokes lean: mm to the right per mm up."""

    cost: float
    """Of a letter, on the average: how badly the text suits the ink, near 0 for well; NaN where nothing was read."""


def read_word(grey: Grey, dpi: float, text: str, known: Known | None = None) -> WordReading:
    """Return the strokes of a word whose text is known, and which ink belongs to which letter.

    Parameters
    ----------
    grey
        Shape (h, w), uint8; dark ink of this word alone on light paper.
    dpi
        Pixels per inch.
    text
        What was written, without spaces.
    known
        The writer's own letters, tried before all others: for each character attempts, each a list of strokes (n, 2)
        in x-heights, baseline at y = 0, y down.

    Raises
    ------
    ValueError
        If `grey` is not a two-dimensional uint8 array, `dpi` is not positive, or the text has spaces or is empty.
    """
    if getattr(grey, "ndim", 0) != 2 or grey.dtype != np.uint8:
        raise ValueError(f"grey must be a uint8 array of shape (h, w), got {getattr(grey, 'dtype', type(grey))}")
    if not dpi > 0:
        raise ValueError(f"dpi must be positive, got {dpi}")
    if not text or any(c.isspace() for c in text):
        raise ValueError(f"text must be one word, got {text!r}")
    ink = find_ink_of_words(grey, float(dpi))
    return read_word_ink(ink, text, known) if ink is not None else nothing_read()


def nothing_read() -> WordReading:
    """Return the reading of no ink, or of ink that cannot be the text."""
    return WordReading((), (), (0.0, 0.0), 0.0, 0.0, float("nan"))


def read_word_ink(ink: InkMap, text: str, known: Known | None = None, *, below: float = np.inf) -> WordReading:
    """Return the reading of a word's ink, none that does not cost less than `below`; see `read_word`."""
    apart = state_graph_of_ink(ink, of_words=True)
    if apart is None:
        return nothing_read()
    _, net, states = apart
    found = decode_text(net, states, text, known, below=below)
    if found is None:
        return nothing_read()
    strokes = found.strokes
    written = _fitted(net, states, ink, strokes)
    return _reading(text, found, written, ink.px_per_mm)


def _fitted(net: Network, states: States, ink: InkMap, strokes: Sequence[WrittenStroke]) -> list[tuple[Stroke, Ints]]:
    """Return strokes fitted to the ink together, each with the letter of every point."""
    if not strokes:
        return []
    lines = [draw(net, states, s.walk) for s in strokes]
    trial = fit_hypothesis(lines, fit_context(ink), far=True)
    out = []
    # after so many rounds nothing is gained by exchanges
    for k, (s, r) in enumerate(zip(strokes, completed(trial, untangled=False), strict=True)):
        before = trial.lines.points[trial.lines.stroke == k] + trial.paper.low
        letter = led_on(_by_places(states.here[s.walk], s.letter, lines[k], len(before)), before, r.line)
        points = image_from_pixels(r.line, px_per_mm=ink.px_per_mm)
        width = r.width / ink.px_per_mm
        out.append((Stroke(points, float(median(r.width)) / ink.px_per_mm, width, r.closed), letter))
    return out


def _by_places(places: Points, letter: Ints, line: Points, count: int) -> Ints:
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


def _reading(
    text: str,
    found: Decoded,
    written: Sequence[tuple[Stroke, Ints]],
    px_per_mm: float,
) -> WordReading:
    """Return what was found, the strokes cut into letters."""
    frame = found.frame
    x_height = frame.x_height / px_per_mm
    pieces: list[list[Points]] = [[] for _ in text]
    parts = [_parts(stroke.points_mm, letter) for stroke, letter in written]
    for j, piece in (part for own in parts for part in own):
        pieces[j].append(piece)
    joined = left_joined(parts, len(text), x_height)
    letters = tuple(
        WordLetter(char, tuple(pieces[j]), float(found.misfit[j]), j in joined) for j, char in enumerate(text)
    )
    at_left = frame.y - frame.slope * (frame.x + 0.5)
    return WordReading(
        tuple(stroke for stroke, _ in written), letters, ((at_left + 0.5) / px_per_mm, frame.slope),
        x_height, frame.slant, found.cost,
    )  # fmt: skip


def _parts(points: Points, letter: Ints) -> list[tuple[int, Points]]:
    """Return a stroke cut where its letters change; the point where it is cut belongs to both."""
    cuts = np.flatnonzero(np.diff(letter)) + 1
    bounds = zip([0, *cuts.tolist()], [*cuts.tolist(), len(letter)], strict=True)
    return [(int(letter[a]), points[a : min(b + 1, len(letter))]) for a, b in bounds]


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
