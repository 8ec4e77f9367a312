"""What the writer does with a printed sheet: which cells it fills, leaves, spoils and ticks."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from capture.drawing import Line, Words, draw_page
from capture.sheet import Box, Cell, Page, Sheet
from sample_sheets.writer.hand import KEEPER, Habits, Trace, write_cell, write_line, write_path


@dataclass(frozen=True, eq=False)
class Filled:
    """One cell and what was done with it."""

    page: int
    cell: Cell
    status: str
    """'written', 'blank' or 'spoiled', as in `skeleton.attempt`."""

    form: str
    """Name of the form written; '' for a blank cell."""

    traces: tuple[Trace, ...]
    """Ink of the attempt, in writing order; page frame."""

    beside: tuple[Trace, ...] = ()
    """Ink that is no part of the attempt: the tick, the striking out."""

    accident: str = ""
    """What makes the attempt hard, '' for a common one."""


@dataclass(frozen=True, eq=False)
class Copied:
    """One letter of a copied line."""

    page: int
    line: int
    """From 1."""

    char: str
    form: str
    traces: tuple[Trace, ...]


FATES = ((0.009, "blank"), (0.020, "ticked"), (0.024, "struck"))
"""Cumulative shares of all cells."""


def _fates(sheet: Sheet, rng: np.random.Generator) -> dict[tuple[int, int, int], str]:
    """Return what befalls the cells (page, row, column) that are not simply filled; each character keeps an attempt."""
    fates: dict[tuple[int, int, int], str] = {}
    spared = Counter(c.char for p in sheet.pages for c in p.cells)
    for page in sheet.pages:
        for cell in page.cells:
            chance = rng.random()
            fate = next((name for limit, name in FATES if chance < limit), "")
            if fate and spared[cell.char] > 1:
                spared[cell.char] = 1
                fates[page.page, cell.row, cell.column] = fate
    return fates


ACCIDENTS = (
    (0.012, "outside"),
    (0.035, "heavy"),
    (0.060, "dry"),
    (0.080, "small"),
    (0.095, "shaky"),
)
"""Cumulative shares of the filled cells."""


def _accident(kind: str, habits: Habits) -> Habits:
    m = habits.manner
    match kind:
        case "heavy":
            return replace(habits, pen_mm=habits.pen_mm * 1.5)
        case "dry":
            return replace(habits, dry=0.75, pen_mm=habits.pen_mm * 0.9)
        case "small":
            return replace(habits, size=0.66, pen_mm=habits.pen_mm * 1.2)
        case "shaky":
            return replace(habits, manner=replace(m, tremor=m.tremor * 6, aim_sd=m.aim_sd * 2.8))
        case "outside":
            return replace(habits, size=1.3, aside=0.42)
    return habits


def fill(
    sheet: Sheet, rng: np.random.Generator, habits: Habits = KEEPER
) -> tuple[list[Filled], list[Copied], dict[int, list[Trace]]]:
    """Return the cells as filled, the letters of copied lines, and other ink (the patch) by page."""
    fates = _fates(sheet, rng)
    cells, copied, other = [], [], {}
    for page in sheet.pages:
        for cell in page.cells:
            cells.append(_fill_cell(page.page, cell, fates.get((page.page, cell.row, cell.column), ""), rng, habits))
        for number, line in enumerate(page.ruled, 1):
            x, _, width, _ = line.box_mm
            start = (x + 0.01 * width + rng.normal(0.5, 0.4), line.baseline_mm)
            letters = write_line(line.text, start, sheet.x_height_mm, rng, habits)
            copied += [Copied(page.page, number, char, form, tuple(ink)) for char, form, ink in letters]
        other[page.page] = tried(page, rng, habits) + agreed(sheet, page, rng, habits)
    return cells, copied, other


def _fill_cell(page: int, cell: Cell, fate: str, rng: np.random.Generator, habits: Habits) -> Filled:
    if fate == "blank":
        return Filled(page, cell, "blank", "", ())
    chance = rng.random()
    accident = "" if fate else next((name for limit, name in ACCIDENTS if chance < limit), "")
    today = _accident("shaky", habits) if fate else _accident(accident, habits)
    form, traces = write_cell(cell.char, cell, rng, today)
    if not fate:
        return Filled(page, cell, "written", form, tuple(traces), accident=accident)
    beside = [_tick(cell.tick_mm, rng, habits)]
    if fate == "struck":
        beside.append(_strike(traces, cell, rng, habits))
    return Filled(page, cell, "spoiled", form, tuple(traces), tuple(beside), accident=fate)


def _tick(box: Box, rng: np.random.Generator, habits: Habits) -> Trace:
    """Return a tick in a small box, which it may leave."""
    x, y, w, h = box
    knots = np.array([[0.12, 0.55], [0.40, 0.08], [1.02, 1.12]]) + rng.normal(0, 0.06, (3, 2))
    text = "{:.3f},{:.3f} {:.3f},{:.3f}! {:.3f},{:.3f}".format(*knots.ravel())
    return write_path(text, (x, y + h), (w, h), rng, habits)


def _strike(traces: list[Trace], cell: Cell, rng: np.random.Generator, habits: Habits) -> Trace:
    """Return a line struck through the attempt, to and fro."""
    points = np.vstack([t.points_mm for t in traces])
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    size = max(x1 - x0, y1 - y0, cell.x_height_mm)
    return write_path("-.15,.25 1.12,.48! -.10,.52! 1.15,.80", (x0, y1), (size, size), rng, habits)


def tried(page: Page, rng: np.random.Generator, habits: Habits) -> list[Trace]:
    """Return a few strokes and dots in the patch where the pen is tried."""
    if page.patch_mm is None:
        return []
    x, y, w, h = page.patch_mm
    unit = min(w / 6, h)
    marks = [f"{0.5 + 0.55 * i},.85 {0.42 + 0.55 * i},.15" for i in range(3)]
    marks += ["2.2,.22 3.5,.26", "2.2,.68@40 2.5,.8@0 2.85,.6@-40 3.15,.55@0 3.5,.75@50"]
    marks += [f"{3.95 + 0.45 * i},.52 {3.96 + 0.45 * i},.50" for i in range(4)]
    return [write_path(m, (x, y + h), (unit, h), rng, habits) for m in marks]


CONSENT = ("postcards to the museum's visitors", "Thea Lanternwick, 3 May")
"""What the writer puts on the printed blanks, in their order."""


def agreed(sheet: Sheet, page: Page, rng: np.random.Generator, habits: Habits) -> list[Trace]:
    """Return the ink on the page's blanks: a printed line that follows a text with a colon."""
    shapes = draw_page(sheet, page)
    blanks = [
        line
        for words, line in pairwise(shapes)
        if isinstance(words, Words) and words.text.endswith(":") and isinstance(line, Line)
    ]
    ink = []
    for text, blank in zip(CONSENT, blanks, strict=False):
        start = (blank.x1 + rng.uniform(1.5, 3.0), blank.y1 - 0.35)
        ink += [t for _, _, traces in write_line(text, start, 1.9, rng, habits) for t in traces]
    return ink
