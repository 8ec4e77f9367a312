"""The contact sheet of a page: its ink with the strokes drawn over it, numbered, start and direction marked."""

from __future__ import annotations

from pathlib import Path

import cv2

from capture.label_font import font_path
from capture.safe_paths import path_inside
from capture.sheet import Cell, Page
from capture.units import image_from_cell
from ownhand.hands.captures import PageCapture
from ownhand.pictures.canvas import QUIET, RULE, STROKE_COLOURS, WARN, Canvas, Colour
from skeleton.attempt import Attempt

PX_PER_MM = 14.0
INK_TINT: Colour = (196, 192, 182)
SPOILED: Colour = (246, 238, 232)


def draw_contact(page: Page, capture: PageCapture, folder: Path) -> Canvas:
    """Return the contact sheet of a page as captured; `folder` holds its ink pictures."""
    canvas = Canvas(*page.size_mm, px_per_mm=PX_PER_MM)
    attempts = {(a.id.rsplit("/", 1)[-1]): a for a in capture.attempts}
    title = f"Sheet {capture.sheet}, page {capture.page}: {tally(capture)}"
    canvas.text(14, 20, title, font=font_path(bold=True), size_mm=4.2, colour=QUIET)
    legend = "disc: where the pen lands; arrow: where it goes; number: which stroke"
    canvas.text(14, 25, legend, font=font_path(), size_mm=3.2, colour=QUIET)
    for cell in page.cells:
        attempt = attempts.get(f"{cell.row}.{cell.column}")
        if attempt is not None:
            _draw_cell(canvas, cell, attempt, capture, folder)
    return canvas


def tally(capture: PageCapture) -> str:
    """Return how many attempts of a page have which status, in words."""
    status = [a.status for a in capture.attempts]
    return ", ".join(f"{status.count(s)} {s}" for s in ("written", "blank", "spoiled"))


def _draw_cell(canvas: Canvas, cell: Cell, attempt: Attempt, capture: PageCapture, folder: Path) -> None:
    x, y, w, h = cell.box_mm
    scale = attempt.x_height_mm / cell.x_height_mm
    if attempt.status == "spoiled":
        canvas.fill(x, y, w, h, colour=SPOILED)
    for level in (0.0, cell.x_height_mm):
        canvas.line([(x, cell.baseline_mm - level), (x + w, cell.baseline_mm - level)], width_mm=0.1, colour=RULE)
    picture = capture.ink.get(attempt.id)
    if picture is not None:
        grey = cv2.imread(str(path_inside(folder, picture.file)), cv2.IMREAD_GRAYSCALE)
        if grey is not None:
            left, top = x + picture.left_mm / scale, cell.baseline_mm - picture.top_mm / scale
            canvas.shade(grey, left, top, px_per_mm=picture.px_per_mm * scale, colour=INK_TINT)  # type: ignore[arg-type]
    doubtful = bool(attempt.findings) and attempt.status == "written"
    canvas.text(x, y - 0.6, cell.char, font=font_path(), size_mm=3.0, colour=WARN if doubtful else QUIET)
    note = attempt.status if attempt.status != "written" else attempt.findings[0].kind if attempt.findings else ""
    if note:
        size = min(2.0, 1.9 * w / len(note))
        canvas.text(x, y + h - 0.3, note, font=font_path(), size_mm=size, colour=WARN)
    if attempt.status == "spoiled":
        return
    for number, stroke in enumerate(attempt.strokes):
        colour = STROKE_COLOURS[number % len(STROKE_COLOURS)]
        points = image_from_cell(stroke.points_mm / scale, left_mm=x, baseline_mm=cell.baseline_mm)
        canvas.line(points, width_mm=0.16, colour=colour)
        canvas.dot(points[0], radius_mm=0.26, colour=colour)
        if len(points) > 1:
            canvas.arrow(points, size_mm=0.9, colour=colour)
        at = points[0]
        canvas.text(
            at[0] - 0.4, at[1] - 0.4, str(number + 1), font=font_path(), size_mm=1.9, colour=colour, anchor="rs"
        )
