"""Several plotter pages made one: pages of other hands, drawings and lettering along curves, on the same paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from capture.units import Points
from ownhand.composer.plot.plot_page import Index, PlotPage, pen_up_travel_mm
from ownhand.composer.settings.pens import Pen


def combined(pages: Sequence[PlotPage]) -> PlotPage:
    """Return the paths of all pages on the first one's paper, page after page; lines, words and letters are renumbered.

    A pen without a width of its own draws as wide as it was measured in the first of these hands to take it: however
    many write with it, it is one pen.

    Raises
    ------
    ValueError
        If there is no page.
    """
    if not pages:
        raise ValueError("there is no page to combine")
    first = pages[0]
    some = [p for p in pages if len(p)]
    if len(some) <= 1:
        return first if not some or some[0] is first else replace(
            some[0], number=first.number, size_mm=first.size_mm, margins_mm=first.margins_mm, family=first.family
        )  # fmt: skip
    starts, line, word, letter = [some[0].starts], [], [], []
    points, lines, words, letters = 0, 0, 0, 0
    for k, page in enumerate(some):
        if k:
            starts.append(page.starts[1:] + points)
        line.append(page.line + lines)
        word.append(page.word + words)
        letter.append(page.letter + letters)
        points += len(page.points_mm)
        lines += int(page.line.max()) + 1
        words += int(page.word.max()) + 1
        letters += len(page.chars)
    return replace(
        first,
        points_mm=np.concatenate([p.points_mm for p in some]),
        starts=np.concatenate(starts).astype(np.int64),
        line=np.concatenate(line),
        word=np.concatenate(word),
        letter=np.concatenate(letter),
        pen=np.concatenate([p.pen for p in some]),
        chars=tuple(c for p in some for c in p.chars),
        pens=_measured(some, first.pens),
        held=None,
        writing_travel_mm=_written_travel_mm(some),
    )


def _written_travel_mm(pages: Sequence[PlotPage]) -> float | None:
    """Return the travel of all pages as written, each begun at the page's corner; None where all are as written."""
    if all(p.writing_travel_mm is None for p in pages):
        return None
    own = (p.writing_travel_mm for p in pages)
    return sum(pen_up_travel_mm(p) if mm is None else mm for p, mm in zip(pages, own, strict=True))


def _measured(pages: Sequence[PlotPage], pens: tuple[Pen, ...]) -> tuple[Pen, ...]:
    """Return the pens, each of those that pages write with as wide as its line."""
    out = list(pens)
    for page in pages:
        for number in np.unique(page.pen).tolist():
            if number <= len(out) and out[number - 1].width_mm is None:
                out[number - 1] = replace(out[number - 1], width_mm=page.width_of(number))
    return tuple(out)


def page_of_strokes(strokes: Sequence[Points], like: PlotPage, *, pen: int = 1) -> PlotPage:
    """Return a page that holds cubic strokes (each of shape (3 k + 1, 2), page mm, y down) and no letters.

    Each stroke is a line and a word of its own; `like` gives paper, pens and family.
    """
    sizes = [len(s) for s in strokes]
    k: Index = np.arange(len(strokes))
    return replace(
        like,
        points_mm=np.concatenate(list(strokes)) if len(strokes) else np.zeros((0, 2)),
        starts=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        line=np.zeros(len(k), np.int64),
        word=k,
        letter=k,
        pen=np.full(len(k), pen, np.int64),
        chars=("",) * len(k),
        held=None,
        writing_travel_mm=None,
    )


def moved(page: PlotPage, by_mm: tuple[float, float], size_mm: tuple[float, float]) -> PlotPage:
    """Return the page's paths moved on paper of another size, mm; its margins are given up."""
    return replace(page, points_mm=page.points_mm + np.array(by_mm), size_mm=size_mm, margins_mm=(0.0, 0.0, 0.0, 0.0))
