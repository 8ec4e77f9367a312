"""The result of reading one image: strokes, confidence, and the next best readings."""

from __future__ import annotations

from dataclasses import dataclass, field

from capture.report import Finding
from skeleton.geometry.stroke import Stroke

LOW_CONFIDENCE = 0.6
"""Readings below this are worth a look: it names 0.3 to 0.5 of the wrong readings and a twelfth of the right ones of
people left out of the fit (DigiLeTs, UNIPEN, UJI Pen Characters)."""


@dataclass(frozen=True, eq=False)
class Reading:
    """What the pen did, as far as the ink and the character tell.

    Frame of the strokes: the image's (mm, origin top left, y down).
    """

    strokes: tuple[Stroke, ...]
    """In writing order and direction."""

    confidence: float = 1.0
    """0 to 1: probability that paths, order and direction are right (`skeleton.scoring.confidence`)."""

    allograph: str = ""
    """Name of the form in the ductus table that was followed, '' for the general rules."""

    candidates: tuple[Reading, ...] = ()
    """The next best readings, best first; they have no candidates of their own."""

    findings: tuple[Finding, ...] = field(default=())
