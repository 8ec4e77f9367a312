"""The package in one function: a grey image read as strokes in writing order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from capture.report import Finding
from skeleton.stroke import Stroke

if TYPE_CHECKING:
    from skeleton.ink_map import Grey


LOW_CONFIDENCE = 0.6
"""Readings below this are worth a look: it names a third of the wrong readings and a twelfth of the right ones, on the
simulated hand as on people's pens (UJI Pen Characters)."""


@dataclass(frozen=True, eq=False)
class Reading:
    """What the pen did, as far as the ink and the character tell.

    Frame of the strokes: the image's (mm, origin top left, y down).
    """

    strokes: tuple[Stroke, ...]
    """In writing order and direction."""

    confidence: float = 1.0
    """0 to 1: how well the strokes, inked again, give the scan back, and how clear the choice among readings was."""

    allograph: str = ""
    """Name of the form in the ductus table that was followed, '' for the general rules."""

    candidates: tuple[Reading, ...] = ()
    """The next best readings, best first; they have no candidates of their own."""

    findings: tuple[Finding, ...] = field(default=())


def trace(grey: Grey, dpi: float, char: str | None = None) -> list[Stroke]:
    """Return the strokes that drew the ink of an image, in writing order and direction.

    Parameters
    ----------
    grey
        Shape (h, w), uint8; dark ink on light paper.
    dpi
        Pixels per inch.
    char
        The character that was written, if known: its ductus guides order, direction and pen lifts.

    Returns
    -------
    list of Stroke
        Points in mm from the image's top left corner, y down; empty for a blank image.
    """
    return list(_read(grey, dpi, char, judged=False).strokes)


def read_character(
    grey: Grey,
    dpi: float,
    char: str | None = None,
    *,
    handedness: str = "right",
    known: Sequence[Sequence[Stroke]] = (),
) -> Reading:
    """Return the best reading of an image and the next best ones.

    Parameters
    ----------
    handedness
        'right' or 'left': whose habits to expect where the ink does not tell.
    known
        How this writer is known to write the character: strokes of earlier attempts, y down, in any size and place.

    Raises
    ------
    ValueError
        If `grey` is not a two-dimensional uint8 array or `dpi` is not positive.
    """
    return _read(grey, dpi, char, handedness, known, judged=True)


def _read(
    grey: Grey,
    dpi: float,
    char: str | None,
    handedness: str = "right",
    known: Sequence[Sequence[Stroke]] = (),
    *,
    judged: bool,
) -> Reading:
    from skeleton.reader import read

    if getattr(grey, "ndim", 0) != 2 or grey.dtype != np.uint8:
        raise ValueError(f"grey must be a uint8 array of shape (h, w), got {getattr(grey, 'dtype', type(grey))}")
    if not dpi > 0:
        raise ValueError(f"dpi must be positive, got {dpi}")
    return read(grey, float(dpi), char, handedness=handedness, known=known, alternatives=4, judged=judged)
