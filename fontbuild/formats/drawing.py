"""Strokes and the drawings that font files hold: contours of lines and curves."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from fontTools.pens.basePen import (
    decomposeQuadraticSegment,
    decomposeSuperBezierSegment,
)

from capture.units import Points
from fontbuild.font import Metrics
from fontbuild.glyph import Glyph

DOT = 1.0
"""Length of the line that stands for a dot in font files, font units."""


def straight(a: Points, b: Points) -> Points:
    """Return the last three control points of a straight piece.

    a, b: its ends, shape (2,), font units. The result has shape (3, 2).
    """
    return np.array([a + (b - a) / 3, a + (b - a) * 2 / 3, b])


def notdef(metrics: Metrics) -> Glyph:
    """Return the glyph shown for what the font lacks: an empty box of the x-height."""
    x = metrics.x_height
    corners = x * np.array([[0.2, 0.0], [0.2, 1.0], [0.8, 1.0], [0.8, 0.0], [0.2, 0.0]])
    stroke = np.vstack([corners[:1], *(straight(a, b) for a, b in pairwise(corners))])
    return Glyph(".notdef", "", (stroke,), advance=x)


FARTHEST = 1e6
"""Font units; a point farther off is a fault in the file."""


def sane(strokes: tuple[Points, ...]) -> tuple[Points, ...]:
    """Return strokes of a file of others.

    The points are font units, y up.

    Raises
    ------
    ValueError
        If a point has no place, or one that no letter reaches.
    """
    if not all(bool(np.all(np.abs(s) <= FARTHEST)) for s in strokes):
        raise ValueError("a point lies nowhere on a letter")
    return strokes


def cubic_strokes(drawing: list[tuple[str, tuple[Any, ...]]]) -> tuple[Points, ...]:
    """Return a recorded drawing (fontTools pen calls) as cubic strokes.

    Each has shape (3 n + 1, 2), font units, y up: knots and control points in turn.
    """
    strokes: list[list[tuple[float, float]]] = []
    for call, points in drawing:
        if call == "moveTo":
            strokes.append([points[0]])
        elif call == "lineTo":
            a, b = np.array(strokes[-1][-1], float), np.array(points[0], float)
            strokes[-1] += [tuple(p) for p in straight(a, b)]
        elif call == "curveTo":
            for c1, c2, p in decomposeSuperBezierSegment(points) if len(points) > 3 else [points]:
                strokes[-1] += [c1, c2, p]
        elif call == "qCurveTo":
            if points[-1] is None:  # closed, without a point on the curve
                start = tuple((np.array(points[-2]) + np.array(points[0])) / 2)
                strokes.append([start])
                points = (*points[:-1], start)
            for q, p in decomposeQuadraticSegment(points):
                a, b, c = (np.array(v, float) for v in (strokes[-1][-1], q, p))
                strokes[-1] += [tuple(a + (b - a) * 2 / 3), tuple(c + (b - c) * 2 / 3), tuple(c)]
        elif call == "closePath" and strokes and strokes[-1][0] != strokes[-1][-1]:
            a, b = np.array(strokes[-1][-1], float), np.array(strokes[-1][0], float)
            strokes[-1] += [tuple(p) for p in straight(a, b)]
    out = [np.array(s, float) for s in strokes]
    return tuple(s[:1] if len(s) == 4 and np.ptp(s, axis=0).max() <= DOT + 1e-6 else s for s in out)
