"""One writer's own way of writing a character, from strokes that are known.

One hand is consistent: once the strokes of a character are known, from a corrected letter or one that was read without
doubt, they say more about the next one than any table.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from skeleton.ductus.allograph import Allograph
from skeleton.ductus.curve import evenly
from skeleton.ductus.lookup import Handedness, allographs
from skeleton.geometry.arc_length import line_length

MIN_LINE_X_HEIGHTS = 0.12
"""A stroke shorter than this is a dot (in x-heights)."""

OWN_FORMS_SHARE = 0.9
"""Share that a writer's own forms take together; the table's keep the rest. An estimate, see `with_own`."""


def allograph_from_strokes(
    char: str,
    strokes_mm: Sequence[ArrayLike],
    *,
    x_height_mm: float | None = None,
    baseline_mm: float = 0.0,
    y_up: bool = True,
    name: str = "own",
) -> Allograph:
    """Return a writer's own form of `char`.

    Parameters
    ----------
    char
        The character written.
    strokes_mm
        Arrays of shape (n >= 1, 2), mm, in the order and direction written; cell frame (y up, baseline at 0), or the
        image's (y down) if `y_up` is false.
    x_height_mm
        Writing size. Without it, size and height over the line are taken from the table's usual form, and
        `baseline_mm` says nothing.
    baseline_mm
        Where the baseline lies, in the frame of the strokes.
    y_up
        Direction of y in `strokes_mm`.
    name
        Name of the form.

    Raises
    ------
    ValueError
        If there is no stroke, one is not of shape (n >= 1, 2) or not finite, or `x_height_mm` is not positive.

    Examples
    --------
    >>> form = allograph_from_strokes("l", [[[5.0, 7.0], [5.0, 0.0]]], x_height_mm=3.5)
    >>> form.box, form.prior
    ((0.0, 0.0, 0.0, 2.0), 1.0)
    """
    char = unicodedata.normalize("NFC", char)
    lines = [np.atleast_2d(np.asarray(s, float)) for s in strokes_mm]
    if not lines:
        raise ValueError(f"{char!r}: expected at least one stroke")
    for k, line in enumerate(lines, 1):
        if line.ndim != 2 or line.shape[1] != 2 or len(line) < 1 or not np.isfinite(line).all():
            raise ValueError(f"{char!r}, stroke {k}: expected finite points of shape (n >= 1, 2), got {line.shape}")
    if x_height_mm is not None and not x_height_mm > 0:
        raise ValueError(f"expected a positive x-height, got {x_height_mm} mm")
    up = np.array([1.0, 1.0 if y_up else -1.0])
    lines = [line * up for line in lines]
    points = np.vstack(lines)
    low, high = points.min(0), points.max(0)
    if x_height_mm is not None:
        unit, base = x_height_mm, baseline_mm * up[1]
    else:
        unit, base = _size_from_table(char, low, high)
    drawn = [(line - [low[0], base]) / unit for line in lines]
    return Allograph(name, char, tuple(_stroke(line) for line in drawn), 1.0)


def with_own(
    own: Sequence[Allograph], char: str, *, handedness: Handedness = "right", trust: float = OWN_FORMS_SHARE
) -> tuple[Allograph, ...]:
    """Return a writer's own forms of `char` before those of the table, priors set anew.

    The own forms share `trust` in proportion to their priors, the table's share what is left; the priors sum to 1.
    Without own forms it is the table, and for a character that the table does not know the own forms alone.

    Raises
    ------
    ValueError
        If `trust` does not lie between 0 and 1, ends excluded.
    """
    if not 0 < trust < 1:
        raise ValueError(f"expected 0 < trust < 1, got {trust}")
    usual = allographs(char, handedness=handedness)
    if not own:
        return usual
    mine = trust if usual else 1.0
    total = sum(a.prior for a in own)
    first = sorted((replace(a, prior=mine * a.prior / total) for a in own), key=lambda a: -a.prior)
    return (*first, *(replace(a, prior=(1 - mine) * a.prior) for a in usual))


def _size_from_table(char: str, low: np.ndarray, high: np.ndarray) -> tuple[float, float]:
    """Return the unit (mm) and the height of the baseline that give `char` the size it has in the table."""
    usual = allographs(char)
    left, bottom, right, top = usual[0].box if usual else (0.0, 0.0, 1.0, 1.0)
    width, height = high - low
    by_height = height >= width
    wanted, found = (top - bottom, height) if by_height else (right - left, width)
    unit = float(found / wanted) if found > 0 and wanted > 0 else 1.0
    return unit, float((low[1] + high[1]) / 2 - unit * (bottom + top) / 2)


def _stroke(line: np.ndarray) -> np.ndarray:
    return evenly(line) if line_length(line) >= MIN_LINE_X_HEIGHTS else line.mean(0, keepdims=True)
