"""What is where on the paper: a sheet, its pages and its cells, and the `sheet.json` that says so.

All places are page-frame millimetres: from the page's top left corner, y down. Boxes are (x, y, width, height).
"""

from __future__ import annotations

from dataclasses import dataclass, field

Box = tuple[float, float, float, float]
"""x, y of the top left corner, width, height; mm."""

FORMAT = 1
"""Number of the `sheet.json` format."""

MARK_DICTIONARY = "DICT_5X5_100"
"""Name of the fiducials in OpenCV's ArUco module. Seven modules wide, border included, so a 7 mm marker has modules of
1 mm. At 150 dpi and 7 mm it was found as often as the 4x4 ones up to a blur of 0.4 mm (standard deviation), while its
codes differ in at least 7 bits instead of 3: a smudge does not turn one marker into another."""

CORNER_IDS = (0, 1, 2, 3)
"""Ids of the corner markers: top left, top right, bottom right, bottom left."""

EDGE_IDS = (10, 30, 50, 70)
"""First ids along the top (left to right), right (downwards), bottom (left to right) and left (downwards) edge."""


@dataclass(frozen=True)
class Cell:
    """The place for one attempt at one character."""

    char: str
    attempt: int
    """1, 2, ...: which of the attempts at this character."""

    row: int
    column: int
    """From 1, from the top left of the page."""

    box_mm: Box
    """The writing space: what is inked here belongs to this cell. The guides begin at its left edge."""

    baseline_mm: float
    """y of the baseline."""

    x_height_mm: float
    """Height of the x-height guide over the baseline: the writing size."""

    ascender_mm: float
    descender_mm: float
    """Heights of the two outer guides over the baseline; the descender's is negative."""

    label: str
    """What is printed beside the cell: the character, and its name where the shape alone leaves doubt."""

    label_mm: Box
    tick_mm: Box
    """The small box to tick when the attempt was spoiled."""


@dataclass(frozen=True)
class Mark:
    """A printed fiducial: a square marker of `size_mm`, centred on (x_mm, y_mm)."""

    id: int
    x_mm: float
    y_mm: float
    size_mm: float


@dataclass(frozen=True)
class RuledLine:
    """A ruled line with a text to copy on it."""

    text: str
    box_mm: Box
    baseline_mm: float


@dataclass(frozen=True)
class Page:
    """One side of paper."""

    page: int
    """From 1."""

    size_mm: tuple[float, float]
    cells: tuple[Cell, ...]
    marks: tuple[Mark, ...]
    code_mm: Box
    """Where the machine-readable code is printed."""

    bar_mm: tuple[float, float, float]
    """The scale bar: x and y of its left end, and its length (100 mm)."""

    patch_mm: Box | None = None
    """Where a few pen strokes and dots go, to measure the pen."""

    ruled: tuple[RuledLine, ...] = ()
    """Lines to copy, on a page that has no cells."""

    second_code_mm: Box | None = None
    """The same code again in the opposite corner, for when a thumb or a crease covers the first."""


@dataclass(frozen=True)
class Sheet:
    """All pages that are printed, filled in and read together."""

    id: str
    """Short, unique, printed on each page and in its code."""

    layout: int
    """Version of the layout rules that placed everything: the same version and characters give the same places."""

    paper: str
    """Name of the paper, or 'WxH' in mm."""

    x_height_mm: float
    pages: tuple[Page, ...]
    languages: tuple[str, ...] = field(default=())
