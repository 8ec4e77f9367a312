"""Hands that join their letters: whether one does, and what its pen leaves for the end of the word.

Who writes a word in one go comes back for its dots and bars: delayed strokes, as the literature on on-line handwriting
calls them (Tappert, Suen and Wakahara, "The state of the art in on-line handwriting recognition", IEEE Trans. PAMI 12,
1990).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fontbuild.font import Font
from fontbuild.joins import ENTRY, EXIT, JOINS
from fontbuild.spacing import COMMON
from ownhand.composer.plot.plot_page import Index, PlotPage, reordered

NEAR, JOINS_FROM = 0.25, 0.25
"""A hand joins when at least this share of its neighbouring letters' ends lie so near, in x-heights."""

OVER = 0.35
"""x-heights over which such a hand goes from letter to letter without lifting."""

FEWEST = 8
"""Pairs of letters that tell whether a hand joins."""

GAP_SHARE = 0.35
"""Share of the scatter of gaps that is left inside words where the pen goes on: the line between holds them."""


@dataclass(frozen=True, eq=False)
class _Ways:
    """How the pen may get from letter to letter; one row a path."""

    letter: Index
    """Numbered anew, so that each belongs to one word."""

    small: NDArray[np.bool_]
    """Dots, wherever in their letter they were written."""

    to_next_mm: NDArray[np.float64]
    """From the path's end to where the next letter begins; infinite for dots and signs, and at the end of a word."""


def joins(font: Font) -> bool:
    """Return whether the hand joins its letters: whether they were so written, or one often ends near the next one.

    Where running text was read, it tells: letters from cells, of which there may be more, say nothing against it.
    """
    written = [EXIT in g.anchors or ENTRY in g.anchors for c, v in font.glyphs.items() if c.islower() for g in v]
    if JOINS in font.rhythm:
        return font.rhythm[JOINS] > 0 or any(written)
    if written and float(np.mean(written)) >= JOINS_FROM:
        return True
    x = font.metrics.x_height
    away = []
    for first, second in ((p[0], p[1]) for p in COMMON.split() if all(font.glyphs.get(c) for c in p)):
        one, two = font.glyphs[first][0], font.glyphs[second][0]
        ends = np.array([s[-1] for s in one.strokes if np.ptp(s, axis=0).max() > NEAR * x])
        entry = next((s[0] for s in two.strokes if np.ptp(s, axis=0).max() > NEAR * x), None)
        if len(ends) and entry is not None:
            begins = entry + np.array([one.advance + font.kerning.get((first, second), 0.0), 0.0])
            away.append(float(np.hypot(*(begins - ends).T).min()))
    return len(away) >= FEWEST and float(np.mean(np.array(away) <= NEAR * x)) >= JOINS_FROM


def delayed_strokes(page: PlotPage, *, within_mm: float) -> PlotPage:
    """Return the page with the dots and bars of joined letters written after their word.

    Where one path of a letter ends within `within_mm` of the next letter's beginning, the pen goes on there, and what
    the letter has after that path waits until the word is done, as do the dots of both.
    """
    ways = _ways(page, within_mm)
    goes_on = ways.to_next_mm <= within_mm
    if page.held is not None:
        goes_on &= page.held[page.letter]
    if not goes_on.any():
        return page
    before: Index = np.cumsum(goes_on) - goes_on
    base = np.maximum.accumulate(np.where(_begins(ways.letter), before, 0))
    joined = np.zeros(int(ways.letter.max()) + 2, bool)
    joined[ways.letter[goes_on]] = joined[ways.letter[goes_on] + 1] = True
    waits = (before > base) | (ways.small & joined[ways.letter])
    if not waits.any():
        return page
    word = np.cumsum(_changes(page))
    return reordered(page, np.lexsort((np.arange(len(page)), waits, word)).astype(np.int64))


def _ways(page: PlotPage, within_mm: float) -> _Ways:
    k = len(page)
    if k < 2:
        return _Ways(np.zeros(k, np.int64), np.zeros(k, bool), np.full(k, np.inf))
    first, last = page.ends_mm
    low, high = (f.reduceat(page.points_mm, page.starts[:-1]) for f in (np.minimum, np.maximum))
    small = (high - low).max(axis=1) <= within_mm
    letter: Index = np.cumsum(_begins(page.letter) | _changes(page)) - 1
    word = np.cumsum(_changes(page))
    is_line = ~small & np.array([c.isalpha() for c in page.chars], bool)[page.letter]
    entry = np.full(int(letter[-1]) + 2, k)
    np.minimum.at(entry, letter[is_line], np.flatnonzero(is_line))
    ahead = np.minimum(entry[letter + 1], k - 1)
    ok = is_line & (entry[letter + 1] < k) & (word[ahead] == word)
    away = np.full(k, np.inf)
    away[ok] = np.hypot(*(first[ahead[ok]] - last[ok]).T)
    return _Ways(letter, small, away)


def _begins(column: Index) -> NDArray[np.bool_]:
    return np.concatenate([[True], column[1:] != column[:-1]])


def _changes(page: PlotPage) -> NDArray[np.bool_]:
    """Return where another word, line or pen begins; the first path is none."""
    differs = np.zeros(len(page), bool)
    for column in (page.word, page.line, page.pen):
        differs[1:] |= column[1:] != column[:-1]
    return differs
