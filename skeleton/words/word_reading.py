"""A word's ink and its text read as strokes in the order of writing, and as letters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels
from skeleton.fitting.line_fit import fit_context, fit_hypothesis
from skeleton.fitting.refinement import completed
from skeleton.geometry.quantiles import median
from skeleton.geometry.stroke import Stroke
from skeleton.graph.junctions import Network
from skeleton.ink.ink_map import InkMap, find_ink_of_words
from skeleton.ink.scaled_darkness import Grey
from skeleton.pipeline import state_graph_of_ink
from skeleton.states.state_graph import States, draw
from skeleton.words.cut_letters import in_turn, led_on, left_joined, letters_along, parts_of
from skeleton.words.cut_rightness import DOUBTFUL, LEAST, rightness
from skeleton.words.decoding import Decoded, decode_text
from skeleton.words.delayed_strokes import WrittenStroke
from skeleton.words.legibility import surprise_at
from skeleton.words.letter_forms import Known
from skeleton.words.letter_pictures import CutWord
from skeleton.words.signs import is_sign, passed_once, signs_apart

Ints = NDArray[np.int64]

OF_RIGHTNESS, OF_NAMES = 0.5, 1.5
"""What counts in a word's cost beside that of its way: the e-folds by which its letters are likely to be cut wrongly,
and those by which they are read as others, a letter, on the average. How much tells another word's text best is flat:
with none of the former, or as much of the latter as twice this, within a fiftieth; see `line_reading.SUITS`."""

UNTOLD, UNTOLD_FROM = 2.16, -1.28
"""What stands for the cost of a word of which nobody says as what its letters are read, figures or another script, is
linear in the rest: from where a word suited, and suited without doubt, before letters were read, it leads to the bounds
that there are since."""


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

    right: float = 1.0
    """How likely it was cut rightly; see `cut_rightness`."""

    @property
    def doubtful(self) -> bool:
        """Whether it was cut wrongly as likely as not."""
        return self.right < DOUBTFUL


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
    """Of a letter, on the average: how badly the text suits the ink, how unlikely it is that the letters were cut
    rightly, and that anybody reads them; near 0 for well, NaN where nothing was read."""


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
    reading = _reading(text, found, written, ink.px_per_mm)
    return reading if reading.cost < below else nothing_read()


def _fitted(net: Network, states: States, ink: InkMap, strokes: Sequence[WrittenStroke]) -> list[tuple[Stroke, Ints]]:
    """Return strokes fitted to the ink together, each with the letter of every point."""
    if not strokes:
        return []
    lines = [draw(net, states, s.walk) for s in strokes]
    trial = fit_hypothesis(lines, fit_context(ink, far=True))
    out = []
    # after so many rounds nothing is gained by exchanges
    for k, (s, r) in enumerate(zip(strokes, completed(trial, untangled=False), strict=True)):
        before = trial.lines.points[trial.lines.stroke == k] + trial.paper.low
        letter = led_on(letters_along(states.here[s.walk], s.letter, lines[k], len(before)), before, r.line)
        points = image_from_pixels(r.line, px_per_mm=ink.px_per_mm)
        width = r.width / ink.px_per_mm
        out.append((Stroke(points, float(median(r.width)) / ink.px_per_mm, width, r.closed), letter))
    return out


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
    whole = [parts_of(stroke.points_mm, in_turn(stroke.points_mm, letter)) for stroke, letter in written]
    parts = signs_apart(whole, text)
    for j, piece in (part for own in parts for part in own):
        pieces[j].append(piece)
    pen = float(np.median([stroke.width_mm for stroke, _ in written])) if written else 0.0
    pieces = [passed_once(of, pen) if is_sign(char) else of for char, of in zip(text, pieces, strict=True)]
    joined = left_joined(parts, len(text), x_height)
    baseline = (frame.y - frame.slope * (frame.x + 0.5) + 0.5) / px_per_mm, frame.slope
    cut = CutWord(
        text, pieces, [j in joined for j in range(len(text))], found.misfit.tolist(), baseline, x_height,
        frame.slant, found.cost, pen,
    )  # fmt: skip
    (right,) = rightness([cut])
    letters = tuple(
        WordLetter(char, tuple(pieces[j]), float(found.misfit[j]), j in joined, float(right[j]))
        for j, char in enumerate(text)
    )
    cost = _cost(found.cost - OF_RIGHTNESS * float(np.log(np.maximum(right, LEAST)).mean()), surprise_at(cut))
    return WordReading(tuple(stroke for stroke, _ in written), letters, baseline, x_height, frame.slant, cost)


def _cost(of_way: float, surprise: float | None) -> float:
    """Return what a word costs of which it is told, or not, as what its letters are read."""
    return max(of_way, UNTOLD * of_way + UNTOLD_FROM) if surprise is None else of_way + OF_NAMES * surprise
