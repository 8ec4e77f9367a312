"""One attempt at a character: what a person wrote in one cell, traced."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from capture.report import Finding
from skeleton.geometry.stroke import Stroke

ONE_OFF = "filled one cell off?"
"""Finding: a neighbour's label suits the ink far better, and so it is for a run of cells."""


@dataclass(frozen=True, eq=False)
class Attempt:
    """What was written in one cell of one sheet.

    Frame of the strokes: the cell's (mm, x from the left guide, y up from the baseline).
    """

    id: str
    """`<sheet id>/<page>/<row>.<column>`, unique within a hand."""

    char: str
    """The character asked for: one Unicode character or a base with combining marks; NFC."""

    attempt: int
    """1, 2, ...: which of the attempts at this character on its sheet."""

    status: str
    """'written', 'blank' or 'spoiled' (its box was ticked)."""

    strokes: tuple[Stroke, ...]
    x_height_mm: float
    """The writing size of the sheet: baseline to x-height guide."""

    ascender_mm: float
    descender_mm: float
    """Heights of the guides over the baseline; the descender's is negative."""

    width_mm: float
    """Width of the writing space of the cell."""

    pen_mm: float
    """Pen width measured on the page."""

    confidence: float = 1.0
    """0 to 1: how well the strokes, inked again, give the scan back, and how sure their order is."""

    allograph: str = ""
    """Name of the form in the ductus table that was recognised, '' if none."""

    findings: tuple[Finding, ...] = field(default=())


def attempt_to_json(a: Attempt) -> dict[str, Any]:
    """Return `a` as plain JSON data: lengths in mm, rounded to a micrometre."""
    return {
        "id": a.id,
        "char": a.char,
        "attempt": a.attempt,
        "status": a.status,
        "x_height_mm": a.x_height_mm,
        "ascender_mm": a.ascender_mm,
        "descender_mm": a.descender_mm,
        "width_mm": a.width_mm,
        "pen_mm": round(a.pen_mm, 4),
        "confidence": round(a.confidence, 4),
        "allograph": a.allograph,
        "findings": [vars(f) for f in a.findings],
        "strokes": [
            {
                "points_mm": np.round(s.points_mm, 4).tolist(),
                "width_mm": round(s.width_mm, 4),
                "widths_mm": None if s.widths_mm is None else np.round(s.widths_mm, 3).tolist(),
                "closed": s.closed,
            }
            for s in a.strokes
        ],
    }
