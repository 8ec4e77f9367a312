"""From a scan to the ink of each cell, with a verdict on the page: the whole of `capture` in one function."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.bilevel import is_two_tone, undithered
from capture.cell import COVERED, assign_ink
from capture.crop import cut_out
from capture.glare import GLARE, burnt_out
from capture.ink import PageInk, PrintLayer, Sample, separate
from capture.page import MEASURING_PX_PER_MM, FindSheet, PageView, straighten
from capture.pen import measure_pen
from capture.print_model import PrintModel, print_model
from capture.register import register
from capture.report import Finding
from capture.scan import Scan
from capture.sheet import Box, Cell, Page, RuledLine, Sheet

BLURRED_MM = 0.45
PALE = 0.35
BENT_MM = 0.12
"""From here on a page is called blurred, pale or bent in its verdict."""

DARK_INSIDE = 0.5
"""Paper that is darker than this in one part of a cell, against the brightest in it, has something lying on it."""


@dataclass(frozen=True, eq=False)
class CellInk:
    """What was found in one cell."""

    char: str
    attempt: int
    row: int
    column: int
    status: str
    """'written', 'blank' or 'spoiled'."""

    grey: NDArray[np.uint8]
    """Shape (h, w): paper 255, ink dark, nothing but this cell's ink, 1 mm of white around; empty where none is."""

    px_per_mm: float
    left_mm: float
    top_mm: float
    """Page frame: top left corner of the image."""

    cell: Cell
    pen_mm: float
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class LineInk:
    """What was written on one ruled line."""

    line: RuledLine
    grey: NDArray[np.uint8]
    """Shape (h, w), as in `CellInk`."""

    px_per_mm: float
    left_mm: float
    top_mm: float
    baseline_mm: float
    """Page frame: y of the ruled line."""

    pen_mm: float


@dataclass(frozen=True)
class Verdict:
    """How well a page was seen."""

    dpi: float
    """Of the scan, on the paper as printed."""

    print_scale: float | None
    """Printed size over asked size: a length on the paper is page mm times this. None where it cannot be told."""

    blur_mm: float
    contrast: float
    local_error_mm: float
    """Median over the page of what the print lies off its place after all corrections."""

    marks_found: int
    marks_printed: int
    ink_density: float
    """Natural density of a full stroke."""

    pen_measured: bool
    """True if the pen was measured on its patch."""

    advice: str
    """What to do better, as one sentence; '' for a good page."""


@dataclass(frozen=True, eq=False)
class PageReading:
    """One page, read."""

    sheet: Sheet
    page: Page
    cells: tuple[CellInk, ...]
    lines: tuple[LineInk, ...]
    pen_mm: float
    verdict: Verdict
    findings: tuple[Finding, ...]
    """Those of all cells, and what concerns the whole page."""

    sheet_pages: int = 0
    """How many pages the sheet has in print; 0 where it is not known."""

    @property
    def doubtful(self) -> int:
        """Return how many cells a person should look at."""
        return sum(bool(c.findings) for c in self.cells)

    def count(self, status: str) -> int:
        """Return how many cells have a status."""
        return sum(c.status == status for c in self.cells)


def read_page(scan: Scan, find_sheet: FindSheet) -> PageReading:
    """Return the ink of each cell, or of each ruled line, of the page that a scan shows.

    Raises
    ------
    MarksNotFoundError, WrongSheetError
        As `capture.page.straighten`.
    """
    scan = replace(scan, pixels=undithered(scan.pixels))
    view = straighten(scan, find_sheet)
    model = print_model(view.sheet, view.page)
    layers = model.layers(MEASURING_PX_PER_MM)
    view, local_error_mm = register(view, layers)
    ink = page_ink(view, model, layers)
    boxes = [c.box_mm for c in view.page.cells] + [r.box_mm for r in view.page.ruled]
    pen_mm, measured = measure_pen(ink, _inner(view.page.patch_mm), boxes)
    verdict = _verdict(view, ink, local_error_mm, measured)
    glared = burnt_out(
        view.measuring_pixels(), layers, [c.box_mm for c in view.page.cells], px_per_mm=MEASURING_PX_PER_MM
    )
    cells = _read_cells(view.page, ink, pen_mm, glared.tolist())
    lines = _read_lines(view.page, ink, pen_mm)
    findings = [f for c in cells for f in c.findings]
    if verdict.advice:
        findings.insert(0, Finding("page not at its best", page=view.page.page, detail=verdict.advice))
    return PageReading(view.sheet, view.page, cells, lines, pen_mm, verdict, tuple(findings), view.sheet_pages)


def page_ink(view: PageView, model: PrintModel, coarse_layers: Sequence[PrintLayer]) -> PageInk:
    """Return the ink of a whole page, nothing else on it.

    `coarse_layers` are the model's at `MEASURING_PX_PER_MM`.
    """
    w, h = view.page.size_mm
    ppm = view.px_per_mm
    return separate(
        view.pixels((0.0, 0.0, w, h)),
        model.layers(ppm),
        Sample(view.measuring_pixels(), coarse_layers, _writing(view.page), MEASURING_PX_PER_MM),
        px_per_mm=ppm,
        blur_px=view.blur_mm * ppm,
        two_tone=is_two_tone(view.scan.pixels),
    )


def _writing(page: Page) -> NDArray[np.bool_]:
    """Return where ink is expected, on a grid of `MEASURING_PX_PER_MM`."""
    out = np.zeros(tuple(round(s * MEASURING_PX_PER_MM) for s in page.size_mm[::-1]), np.uint8)
    boxes = [c.box_mm for c in page.cells] + [r.box_mm for r in page.ruled]
    patch = _inner(page.patch_mm)
    for x, y, w, h in [*boxes, *([patch] if patch else [])]:
        p, q = (round(v * MEASURING_PX_PER_MM) for v in (x, y))
        r, s = (round(v * MEASURING_PX_PER_MM) for v in (x + w, y + h))
        cv2.rectangle(out, (p, q), (r, s), 1, -1)
    return out > 0


def _keep_out(page: Page) -> list[Box]:
    """Return what is printed in black, and the pen patch, each with a little around it."""
    boxes = [(m.x_mm - m.size_mm / 2, m.y_mm - m.size_mm / 2, m.size_mm, m.size_mm) for m in page.marks]
    boxes += [b for b in (page.code_mm, page.second_code_mm, page.patch_mm) if b is not None]
    return [(x - 0.8, y - 0.8, w + 1.6, h + 1.6) for x, y, w, h in boxes]


def _inner(patch_mm: Box | None) -> Box | None:
    """Return the patch without its frame."""
    if patch_mm is None:
        return None
    x, y, w, h = patch_mm
    return x + 0.5, y + 0.5, w - 1.0, h - 1.0


def _read_cells(page: Page, ink: PageInk, pen_mm: float, glared: Sequence[bool]) -> tuple[CellInk, ...]:
    if not page.cells:
        return ()
    dealt = assign_ink(ink, page.cells, pen_mm=pen_mm, keep_out=_keep_out(page))
    out = []
    for i, owned in enumerate(dealt.cells):
        cell = owned.cell
        if owned.mask.size:
            grey, left, top = cut_out(ink, dealt, i)
        else:
            grey, left, top = np.zeros((0, 0), np.uint8), cell.box_mm[0], cell.box_mm[1]
        kinds = owned.kinds
        if glared[i]:
            kinds += (GLARE,)
        elif COVERED not in kinds and _is_dark_inside(ink, page, cell):
            kinds += (COVERED,)
        findings = tuple(
            Finding(kind, char=cell.char, page=page.page, row=cell.row, column=cell.column) for kind in kinds
        )
        out.append(
            CellInk(
                cell.char, cell.attempt, cell.row, cell.column, owned.status, grey, ink.px_per_mm, left, top, cell,
                pen_mm, findings,
            )
        )  # fmt: skip
    return tuple(out)


def _is_dark_inside(ink: PageInk, page: Page, cell: Cell) -> bool:
    """Return whether the paper in a cell is in one place much darker than in another."""
    k = ink.paper.shape[1] / page.size_mm[0]
    x, y, w, h = cell.box_mm
    here = ink.paper[int(y * k) : int((y + h) * k) + 1, int(x * k) : int((x + w) * k) + 1]
    return bool(here.size and here.min() < DARK_INSIDE * here.max())


def _read_lines(page: Page, ink: PageInk, pen_mm: float) -> tuple[LineInk, ...]:
    """Return the ink of each ruled line; a line's box, taken as a cell, owns what is written on it."""
    if not page.ruled:
        return ()
    cells = tuple(
        Cell("\u00a0", 1, i + 1, 1, r.box_mm, r.baseline_mm, 1.0, 2.0, -1.0, r.text, (0, 0, 0, 0), (0, 0, 0, 0))
        for i, r in enumerate(page.ruled)
    )
    dealt = assign_ink(ink, cells, pen_mm=pen_mm, keep_out=_keep_out(page))
    out = []
    for i, line in enumerate(page.ruled):
        if not dealt.cells[i].mask.size:
            continue
        grey, left, top = cut_out(ink, dealt, i)
        out.append(LineInk(line, grey, ink.px_per_mm, left, top, line.baseline_mm, pen_mm))
    return tuple(out)


def _verdict(view: PageView, ink: PageInk, local_error_mm: float, measured: bool) -> Verdict:
    advice = ""
    scale = view.print_scale
    if view.blur_mm > BLURRED_MM:
        advice = "The picture is blurred: hold the camera still and let it focus, or scan the page."
    elif local_error_mm > BENT_MM:
        advice = "The sheet was not flat: press it down and take the picture again."
    elif ink.colour.measured and ink.colour.strength < PALE:
        advice = "The writing is pale: use a darker pen, or scan with more contrast."
    elif view.dpi < 190:
        advice = "The picture is coarse: scan at 300 dpi or more."
    elif scale is not None and abs(scale - 1) > 0.015:
        advice = f"The sheet was printed at {100 * scale:.1f} %: the writing is measured at its real size."
    return Verdict(
        dpi=view.dpi,
        print_scale=scale,
        blur_mm=view.blur_mm,
        contrast=view.contrast,
        local_error_mm=local_error_mm,
        marks_found=len(view.marks),
        marks_printed=len(view.page.marks),
        ink_density=ink.colour.strength,
        pen_measured=measured,
        advice=advice,
    )
