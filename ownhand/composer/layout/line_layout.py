"""From a manuscript to lines with a place on a page.

Places are page-frame mm (y down), lengths of letters font units.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.errors import UsageError
from fontbuild.font import Font
from ownhand.composer.layout.letters import Letters
from ownhand.composer.layout.line_breaking import Syllables, Wrapped, reach_of, wrap
from ownhand.composer.layout.reserved import Column, Slot
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.text_box import TextBox
from ownhand.composer.text.characters import TAB
from ownhand.composer.text.prepared_text import Part, PreparedText
from ownhand.composer.variation.handwriting_statistics import Array

ABOVE = 1.2
"""Natural distance of lines, as a multiple of ascender to descender."""

LEAST_X_HEIGHTS = 2.7
"""... and never under so many x-heights."""

ROOM = 1.2
"""Room for ascenders over the first printed line, and for descenders under the last: lines differ in height."""

HANG = 1.1
"""Gap between a list mark and its text, x-heights."""

DEPTH = 2.5
"""Indent of a list in a list, x-heights."""


@dataclass(frozen=True)
class SetLine:
    """A line of letters with its place."""

    page: int
    """From 0."""

    y_mm: float
    """The baseline."""

    x_mm: float
    """Where the first letter's pen origin stands."""

    start: int
    end: int
    stretch: float = 0.0
    """Added to each word gap, mm."""

    narrow: float = 1.0
    """Factor of the whole line's length."""

    hyphen: int = -1
    """The character that ends the line as a hyphen; -1: none."""

    mark: tuple[int, int] | None = None
    mark_x_mm: float = 0.0
    left_mm: float = 0.0
    right_mm: float = 0.0
    """The stretch that it may fill: the box's, or what areas kept blank leave of it."""


@dataclass(frozen=True)
class SetText:
    """The lines of one box on all its pages."""

    box: TextBox
    lines: tuple[SetLine, ...]
    pages: int
    mm_per_unit: float
    pitch_mm: float
    ruled: bool
    broken_words: int
    left_over: int
    """Lines that found no place in a box that does not flow."""

    end: tuple[int, float] = (0, 0.0)
    """Column, counted through all pages, and baseline of the last line: where what follows goes on."""


@dataclass(frozen=True)
class Wobble:
    """What lines have of their own before they are broken; drawn once, so that fitting changes nothing."""

    width: Array
    """Factor of the length of each line, shape (n,); of more lines the figures begin anew."""

    margin: Array
    """Where each line begins, x-heights to the right of the edge."""


def syllables_of(language: str) -> Syllables | None:
    """Return the hyphenation of a language, None for ''.

    Raises
    ------
    UsageError
        If there is no such hyphenation.
    """
    if not language:
        return None
    import pyphen  # here, because most pages are set without

    known = pyphen.language_fallback(language)
    if known is None:
        short = sorted({name.split("_")[0] for name in pyphen.LANGUAGES})
        raise UsageError("hyphenate", f"no hyphenation for '{language}'", f"Use one of {', '.join(short)}.")
    divide: Syllables = pyphen.Pyphen(lang=known).positions
    return divide


def natural_pitch(font: Font) -> float:
    """Return the natural distance of lines in font units."""
    m = font.metrics
    return max(ABOVE * (max(m.ascender, m.cap_height) - m.descender), LEAST_X_HEIGHTS * m.x_height)


def set_text(
    manuscript: PreparedText,
    letters: Letters,
    box: TextBox,
    *,
    font: Font,
    settings: Settings,
    mm_per_unit: float,
    wobble: Wobble,
    pen_mm: float,
    after: tuple[int, float] | None = None,
) -> SetText:
    """Return the lines of a text in its box, at one size; `after` another one's end (`SetText.end`), if given."""
    u, m = mm_per_unit, font.metrics
    ruling = box.ruling or settings.ruling
    rise, fall = max(m.ascender, m.cap_height) * u + pen_mm / 2, -m.descender * u + pen_mm / 2
    pitch = ruling.pitch_mm if ruling else natural_pitch(font) * u * settings.line_spacing
    if ruling:
        over = (box.y_mm + ROOM * rise - ruling.offset_mm) / pitch
        first = ruling.offset_mm + np.ceil(over - 1e-6) * pitch
    else:
        first = box.y_mm + rise
    x_height = m.x_height
    reserved = [r for r in settings.boxes if r.blank]
    below = fall * (ROOM if ruling else 0.9)
    column = Column(box, reserved, first, pitch, rise, fall, below, x_height * u)
    reach = reach_of(letters.advance)
    syllables = syllables_of(settings.hyphenate)
    hyphen = _hyphen_advance(manuscript, letters)
    lines: list[SetLine] = []
    page, y = (0, float(first)) if after is None else (after[0], after[1] + pitch)
    number, broken, spare = 0, 0, manuscript.hyphens[0] + 1
    blank = pitch if ruling else pitch * settings.paragraph_gap
    for index, part in enumerate(manuscript.parts):
        if part.new_page and (lines or page):
            page, y = (page // box.columns + 1) * box.columns, first
        if part.empty:
            y += blank if y > first or lines else 0.0
            continue
        hang, indent = _indents(part, reach, settings, u, x_height)

        slots = [_with_what_follows(manuscript.parts[index:], column.after(page, y), column, blank)]

        def room(
            k: int, hang: float = hang, indent: float = indent, number: int = number, slots: list[Slot] = slots
        ) -> float:
            inset = hang if k else indent
            while len(slots) <= k:
                slots.append(column.after(slots[-1].column, slots[-1].y_mm + pitch))
            margin = wobble.margin[(number + k) % len(wobble.margin)] * x_height * u
            free = slots[k].right_mm - slots[k].left_mm - pen_mm - inset - margin
            return float(max(free, 2 * x_height * u)) / (u * float(wobble.width[(number + k) % len(wobble.width)]))

        align = part.align or box.align or settings.align
        found = wrap(
            reach, part.start, part.end, part.breaks, part.words,
            room=room, hyphen=hyphen, syllables=syllables, justified=align == "justified",
        )  # fmt: skip
        broken += found.broken
        for k, line in enumerate(found.lines or (Wrapped(part.start, part.start, False, True, 0.0),)):
            slot = slots[k]
            page, y = slot.column, slot.y_mm
            inset = hang if k else indent
            # columns of a table stand under each other, however tightly their lines are written
            tabbed = TAB in letters.chars[line.start : line.end]
            narrow = 1.0 if tabbed else float(wobble.width[number % len(wobble.width)])
            margin = float(wobble.margin[number % len(wobble.margin)]) * x_height * u
            hyphen_at = spare if line.hyphen else -1
            spare = spare + 2 if line.hyphen and spare + 2 < manuscript.hyphens[1] else spare
            placed = SetLine(
                page, float(y), 0.0, line.start, line.end, narrow=narrow, hyphen=hyphen_at,
                left_mm=slot.left_mm, right_mm=slot.right_mm,
            )  # fmt: skip
            placed = _aligned(placed, line, letters, align, inset, margin, u, pen_mm, hyphen)
            if part.mark is not None and k == 0:
                at = slot.left_mm + pen_mm / 2 + part.depth * DEPTH * x_height * u + margin
                placed = replace(placed, mark=part.mark, mark_x_mm=at)
            lines.append(placed)
            y += pitch
            number += 1
    end = (lines[-1].page, lines[-1].y_mm) if lines else (after or (0, float(first) - float(pitch)))
    columns, page = page + 1, page // box.columns
    pages = page + 1 if lines else 0
    kept = [
        replace(line, page=line.page // box.columns)
        for line in lines
        if box.flows or (line.page < box.columns and line.y_mm + 0.5 * fall <= column.bottom_mm(line.page) + 1e-6)
    ]
    if box.down != "top" and kept and columns == 1:
        kept = _down(kept, box.down, column.bottom_mm(0) - fall - kept[-1].y_mm, float(pitch) if ruling else 0.0)
    return SetText(
        box, tuple(kept), pages if box.flows else min(pages, 1), u, float(pitch), ruling is not None, broken,
        len(lines) - len(kept), end,
    )  # fmt: skip


def _with_what_follows(parts: Sequence[Part], slot: Slot, column: Column, blank_mm: float) -> Slot:
    """Return where the first of these lines begins: in the next column where it is a heading that would end its own.

    A heading is a line set in the middle; further ones, and blank lines, may come between it and what it is over.
    """
    if not column.box.flows or parts[0].align != "centre" or slot.y_mm <= column.first_mm + 1e-6:
        return slot
    y = slot.y_mm
    for part in parts[1:]:
        if part.new_page:
            return slot
        y += blank_mm if part.empty else column.pitch_mm
        if not part.empty and part.align != "centre":
            kept = column.after(slot.column, y).column == slot.column
            return slot if kept else column.after(slot.column + 1, column.first_mm)
    return slot


def _down(lines: list[SetLine], down: str, free_mm: float, pitch_mm: float) -> list[SetLine]:
    """Return lines moved down by the room left below them, half of it or all; on ruled paper by whole pitches."""
    shift = max(0.0, free_mm) * (0.5 if down == "middle" else 1.0)
    if pitch_mm:
        shift = pitch_mm * int(shift / pitch_mm + 1e-6)
    return [replace(line, y_mm=line.y_mm + shift) for line in lines]


def _hyphen_advance(manuscript: PreparedText, letters: Letters) -> float:
    first, last = manuscript.hyphens
    return float(letters.advance[first + 1 : last : 2].max()) if last > first else 0.0


def _indents(part: Part, reach: Array, settings: Settings, u: float, x_height: float) -> tuple[float, float]:
    """Return the inset of all lines and of the first, mm."""
    if part.mark is not None:
        mark = float(reach[part.mark[1]] - reach[part.mark[0]])
        hang = (part.depth * DEPTH * x_height + mark + HANG * x_height) * u
        return hang, hang
    if part.align and part.align != "justified":
        return 0.0, 0.0  # a date, a salutation: it stands where it was told to, and begins no paragraph
    return max(0.0, -settings.indent_mm), max(0.0, settings.indent_mm)


def _aligned(
    placed: SetLine, line: Wrapped, letters: Letters, align: str, inset: float, margin: float,
    u: float, pen_mm: float, hyphen: float,
) -> SetLine:  # fmt: skip
    """Return the line with its x and stretch."""
    left, right = placed.left_mm + pen_mm / 2 + inset, placed.right_mm - pen_mm / 2
    long = (line.natural + (hyphen if line.hyphen else 0.0)) * placed.narrow * u
    free = right - left - long
    if align == "right":
        return replace(placed, x_mm=max(left, left + free - margin))
    if align == "centre":
        return replace(placed, x_mm=max(left, left + free / 2 + margin / 4))
    if align == "justified" and not line.last:
        gaps = float(letters.gap[line.start : line.end].sum())
        slack = free - margin
        if gaps and slack > -0.05 * long:
            return replace(placed, x_mm=left + margin, stretch=slack / gaps)
    return replace(placed, x_mm=left + margin)


def fitted(set_at: Callable[[float], SetText], largest: float, smallest: float) -> SetText:
    """Return the text at the largest size, between two, at which it fits one page of its box.

    `set_at(size)` sets it; where even the smallest does not fit, that one is returned.
    """

    def fits(text: SetText) -> bool:
        return text.left_over == 0 and text.pages <= 1

    best = set_at(largest)
    if fits(best):
        return best
    low, high = smallest, largest
    best = set_at(low)
    if not fits(best):
        return best
    for _ in range(9):
        middle = (low + high) / 2
        tried = set_at(middle)
        if fits(tried):
            best, low = tried, middle
        else:
            high = middle
    return best
