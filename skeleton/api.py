"""The package in one function: a grey image read as strokes in writing order."""

from __future__ import annotations

from collections.abc import Sequence

from skeleton.geometry.stroke import Stroke
from skeleton.ink.ink_map import require_grey
from skeleton.ink.scaled_darkness import Grey
from skeleton.pipeline import read
from skeleton.result import Reading


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
    require_grey(grey, dpi)
    return read(grey, float(dpi), char, handedness=handedness, known=known, alternatives=4, judged=judged)
