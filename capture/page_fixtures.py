"""What stands on every page whatever is written on it: markers, codes, scale bar, pen patch; and the room they leave.

Part of the layout rules: a change needs a new `capture.layout.LAYOUT`.
"""

from __future__ import annotations

from capture.sheet import CORNER_IDS, EDGE_IDS, Box, Cell, Mark, Page, RuledLine

MARGIN_MM = 5.0
"""Outside this nothing is printed: most office printers cannot (common practice, no source)."""

MARK_MM = 7.0
MARK_EVERY_MM = 47.0
CLEAR_MM = 2.5
"""White around markers and codes: for a marker of 7 mm two and a half modules, for a code at least the four modules
that ISO/IEC 18004:2015 asks for when it is drawn with modules up to 0.6 mm."""

STRIP_MM = 3.8
"""Height of the strip over a cell with its label and tick box, and over a ruled line with its text."""

ROW_GAP_MM = 1.2
CODE_MM = 26.0
BAR_MM = 100.0


def content_box(size_mm: tuple[float, float]) -> Box:
    """Return the box inside the markers and the white around them."""
    inset = MARGIN_MM + MARK_MM + CLEAR_MM
    return inset, inset, size_mm[0] - 2 * inset, size_mm[1] - 2 * inset


def bar_beside_code(size_mm: tuple[float, float]) -> bool:
    """Return whether the foot is wide enough for the bar to stand beside the code."""
    return content_box(size_mm)[2] >= CODE_MM + CLEAR_MM + BAR_MM + 4.0


def body_box(size_mm: tuple[float, float]) -> Box:
    """Return the box between head and foot, where the cells are."""
    x, y, width, height = content_box(size_mm)
    top, bottom = y + CODE_MM + CLEAR_MM + 1.0, y + height - CODE_MM - CLEAR_MM - 1.0
    if not bar_beside_code(size_mm):
        bottom -= 8.0
    return x, top, width, bottom - top


def row_tops(top_mm: float, height_mm: float, row_mm: float) -> list[float]:
    """Return the tops of the rows of `row_mm` that fit, what is left spread evenly between them."""
    count = int((height_mm + ROW_GAP_MM + 1e-6) / (row_mm + ROW_GAP_MM))
    pitch = min((height_mm - row_mm) / (count - 1), 1.15 * (row_mm + ROW_GAP_MM)) if count > 1 else 0.0
    return [top_mm + pitch * i for i in range(count)]


def furnish(
    number: int, size_mm: tuple[float, float], *, cells: tuple[Cell, ...] = (), ruled: tuple[RuledLine, ...] = ()
) -> Page:
    """Return the page with its markers, codes, scale bar and pen patch."""
    x, y, width, height = content_box(size_mm)
    foot = y + height - CODE_MM
    bar_y = foot + 4.0 if bar_beside_code(size_mm) else foot - 5.0
    patch_width = min(50.0, 0.24 * width)
    return Page(
        page=number,
        size_mm=size_mm,
        cells=cells,
        marks=marks_of(size_mm),
        code_mm=box(x, y, CODE_MM, CODE_MM),
        second_code_mm=box(x + width - CODE_MM, foot, CODE_MM, CODE_MM),
        bar_mm=(mm(x), mm(bar_y), BAR_MM),
        patch_mm=box(x + width - patch_width, y + 3.6, patch_width, CODE_MM - 3.6),
        ruled=ruled,
    )


def marks_of(size_mm: tuple[float, float]) -> tuple[Mark, ...]:
    """Return the markers: one in each corner, and more along all edges at most about 47 mm apart."""
    inset = MARGIN_MM + MARK_MM / 2
    left, top, right, bottom = inset, inset, size_mm[0] - inset, size_mm[1] - inset
    places = dict(zip(CORNER_IDS, ((left, top), (right, top), (right, bottom), (left, bottom)), strict=True))
    across, down = edge_places(left, right), edge_places(top, bottom)
    for first, edge in zip(
        EDGE_IDS,
        (
            [(x, top) for x in across],
            [(right, y) for y in down],
            [(x, bottom) for x in across],
            [(left, y) for y in down],
        ),
        strict=True,
    ):
        places.update({first + i: place for i, place in enumerate(edge)})
    return tuple(Mark(id=i, x_mm=mm(x), y_mm=mm(y), size_mm=MARK_MM) for i, (x, y) in sorted(places.items()))


def edge_places(start_mm: float, end_mm: float) -> list[float]:
    """Return evenly spread places between two corners, without these."""
    parts = max(2, round((end_mm - start_mm) / MARK_EVERY_MM))
    return [start_mm + (end_mm - start_mm) * i / parts for i in range(1, parts)]


def mm(value: float) -> float:
    """Return a length rounded to a micrometre, so that it reads the same from paper, from a file and from memory."""
    return round(value, 3)


def box(x: float, y: float, width: float, height: float) -> Box:
    """Return a box in rounded millimetres."""
    return mm(x), mm(y), mm(width), mm(height)
