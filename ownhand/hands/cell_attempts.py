"""A cell's reading as an attempt, in true millimetres, and which of two attempts at it is kept."""

from __future__ import annotations

import dataclasses

from capture.limits import MOST_POINTS, MOST_STROKES, REACH_MM
from capture.read import CellInk
from capture.report import Finding
from capture.units import cell_from_image
from skeleton.attempt import ONE_OFF, Attempt
from skeleton.result import LOW_CONFIDENCE, Reading

NO_CHARACTER = "more ink than a character has"


def attempt_of(cell: CellInk, reading: Reading | None, *, sheet: str, page: int, scale: float = 1.0) -> Attempt:
    """Return a cell with its strokes as an attempt, in real millimetres on paper.

    `scale` is the printed size over the size asked for.
    """
    guide = cell.cell
    left, baseline = guide.box_mm[0] - cell.left_mm, guide.baseline_mm - cell.top_mm
    strokes = [
        dataclasses.replace(s, points_mm=cell_from_image(s.points_mm, left_mm=left, baseline_mm=baseline) * scale)
        for s in (reading.strokes if reading else ())
    ]
    findings = list(cell.findings)
    if not all(len(s.points_mm) <= MOST_POINTS and float(abs(s.points_mm).max()) <= REACH_MM for s in strokes) or (
        len(strokes) > MOST_STROKES
    ):
        # more than a person writes in a cell, and more than is read again: said, and left out
        findings.append(Finding(NO_CHARACTER, cell.char, page, cell.row, cell.column, f"{len(strokes)} strokes"))
        strokes = []
    if reading is not None and cell.status == "written":
        doubts = list(reading.findings)
        if reading.confidence < LOW_CONFIDENCE and not any("confidence" in f.kind for f in doubts):
            doubts.append(Finding("low confidence", detail=f"{reading.confidence:.2f}"))
        findings += [Finding(f.kind, cell.char, page, cell.row, cell.column, f.detail) for f in doubts]
    return Attempt(
        id=f"{sheet}/{page}/{cell.row}.{cell.column}",
        char=cell.char,
        attempt=cell.attempt,
        status=cell.status,
        strokes=tuple(strokes),
        x_height_mm=guide.x_height_mm * scale,
        ascender_mm=guide.ascender_mm * scale,
        descender_mm=guide.descender_mm * scale,
        width_mm=guide.box_mm[2] * scale,
        pen_mm=cell.pen_mm * scale,
        confidence=reading.confidence if reading else 1.0,
        allograph=reading.allograph if reading else "",
        findings=tuple(findings),
    )


def better(old: Attempt, new: Attempt) -> bool:
    """Whether an attempt as captured before is to be kept when its page is read again.

    Ink is better than none, then fewer findings, then more confidence; the newer of equals.
    """
    if any(f.kind == ONE_OFF for f in new.findings):
        return False  # it may be another letter: said of the new one only

    def rank(a: Attempt) -> tuple[bool, int, float]:
        return (a.status != "blank", -len(a.findings), a.confidence)

    return rank(old) > rank(new)
