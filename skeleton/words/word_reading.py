"""A word's ink and its text read as strokes in the order of writing, and as letters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points, image_from_pixels
from skeleton.fitting.refinement import completed, fit_context, fit_hypothesis
from skeleton.geometry.polyline import lengths_along
from skeleton.geometry.quantiles import median
from skeleton.geometry.stroke import Stroke
from skeleton.graph.junctions import Network
from skeleton.graph.junctions import build_network
from skeleton.graph.ink_graph import build_graph
from skeleton.graph.pruning import repair
from skeleton.ink.ink_map import Grey, InkMap, find_ink
from skeleton.pipeline import read_ink
from skeleton.states.state_graph import States, build_states, draw
from skeleton.words.decoding import Decoded, connected_parts, decode_text
from skeleton.words.delayed_strokes import WrittenStroke, in_writing_order, owner_of
from skeleton.words.letter_forms import Known

DOUBTFUL = 0.35
"""Misfit, x-heights, from which a letter is doubtful."""


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
    """Of a letter, on the average: how badly the text suits the ink, 0 for well; NaN where nothing was read."""


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
    ink = find_ink(grey, float(dpi))
    return read_word_ink(ink, text, known) if ink is not None else nothing_read()


def nothing_read() -> WordReading:
    """Return the reading of no ink, or of ink that cannot be the text."""
    return WordReading((), (), (0.0, 0.0), 0.0, 0.0, float("nan"))


def read_word_ink(ink: InkMap, text: str, known: Known | None = None) -> WordReading:
    """Return the reading of a word's ink; see `read_word`."""
    net = build_network(repair(build_graph(ink), ink), ink)
    if not net.pieces:
        return nothing_read()
    states = build_states(net, ink, 0.5 * ink.pen_px)
    found = decode_text(net, states, text, known)
    if found is None:
        return nothing_read()
    strokes = _dealt(states, found, text)
    places = found.frame.place(states.here)
    order = in_writing_order(strokes, [float(places[s.walk, 0].mean()) for s in strokes])
    strokes = [strokes[i] for i in order]
    alone = _letters_alone(net, states, strokes) if SINGLE else {}
    written: list[tuple[Stroke, NDArray[np.int64]]] = []
    joined = _fitted(net, states, ink, [s for s in strokes if int(s.letter[0]) not in alone], alone)
    done: set[int] = set()
    for s in strokes:
        j = int(s.letter[0])
        if j not in alone:
            written.append(next(joined))
        elif j not in done:
            done.add(j)
            own = _read_alone(ink, alone[j], text[j])
            written += [(stroke, np.full(len(stroke.points_mm), j)) for stroke in own]
    return _reading(text, found, strokes, written, ink.px_per_mm)
