"""Ruled lines with a text to copy: how it is parted into lines and pages, and where these lie.

Part of the layout rules: a change needs a new `capture.layout.LAYOUT`.
"""

from __future__ import annotations

from collections.abc import Sequence

from capture.known_words import TABLES, fitting_lines
from capture.page_fixtures import STRIP_MM, body_box, box, content_box, furnish, mm, row_tops
from capture.sheet import Page, RuledLine

RULED_HEADROOM, RULED_FOOTROOM = 2.4, 1.1
"""A ruled line's box over and under its baseline, in x-heights: closer than the cells, as on writing paper."""

RULED_CHAR = {1: (1.3,), 2: (1.3,), 3: (1.2, 1.15, 1.1)}
"""Width that a written character is reckoned to take on a ruled line, spaces included, in x-heights, by layout; a
smaller one only where that saves a page. Of 31 people in UNIPEN (Guyon et al. 1994) who wrote such words the middle one
took 0.95 without spaces, about 1.1 with them, and three of four less than 1.35."""

RULED_SHARE = {1: 0.92, 2: 0.92, 3: 0.95}
"""Share of a ruled line that is reckoned with, by layout."""

RULED_TEXT = 420
"""Bytes of UTF-8 on a page of ruled lines up to layout 2, and of any word: what the page's code holds with modules that
a scan at 150 dpi shows, where it spells out all of them."""


def pages_of_text(
    words: Sequence[str],
    *,
    first: int,
    size_mm: tuple[float, float],
    x_height_mm: float,
    languages: Sequence[str],
    layout: int,
) -> list[Page]:
    """Return the pages of ruled lines for words to copy, numbered from `first`: as few as the layout's widths allow.

    Where a page has no room for a line, the last one is empty.
    """
    width = RULED_SHARE[layout] * content_box(size_mm)[2]
    best: list[Page] = []
    for char in RULED_CHAR[layout]:
        left = wrap(words, most=max(8, int(width / (char * x_height_mm))))
        pages: list[Page] = []
        while left and (not pages or pages[-1].ruled):
            coded = left[: fitting_lines(left, languages, layout)] if layout in TABLES else left
            number = first + len(pages)
            pages.append(page_of_lines(coded, number=number, size_mm=size_mm, x_height_mm=x_height_mm, layout=layout))
            left = left[len(pages[-1].ruled) :]
        if not best or len(pages) < len(best):
            best = pages
    return best


def wrap(words: Sequence[str], *, most: int) -> list[str]:
    """Return the words in lines of at most so many characters; a longer word has a line of its own."""
    lines: list[str] = []
    for word in words:
        if lines and len(lines[-1]) + 1 + len(word) <= most:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def page_of_lines(
    lines: Sequence[str], *, number: int, size_mm: tuple[float, float], x_height_mm: float, layout: int
) -> Page:
    """Return the page with as many ruled lines for `lines`, from the first, as it takes."""
    left, top, width, height = body_box(size_mm)
    over, under = RULED_HEADROOM * x_height_mm, RULED_FOOTROOM * x_height_mm
    ruled: list[RuledLine] = []
    written = 0
    for line_top, text in zip(row_tops(top, height, STRIP_MM + over + under), lines, strict=False):
        written += len(text.encode()) + 1
        if ruled and written > RULED_TEXT and layout not in TABLES:
            break
        baseline = line_top + STRIP_MM + over
        ruled.append(RuledLine(text, box(left, line_top + STRIP_MM, width, over + under), mm(baseline)))
    return furnish(number, size_mm, ruled=tuple(ruled))
