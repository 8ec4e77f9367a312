"""Drawings as cubic strokes: SVG path data and SVG files read, placed on the page.

Paths and transforms are read by svgelements (SVG 1.1 and the parts of SVG 2 that it knows).
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from capture.errors import InputError, UsageError
from capture.units import MM_PER_INCH, Points
from ownhand.composer.plot.svg_documents import closed_once, looked_through
from ownhand.composer.settings.additions import Drawing

CSS_PPI = 96.0
"""Pixels of an inch in SVG (CSS 2.1, 4.3.2)."""

MOST_POINTS = 400_000
LEAST_EXTENT = 1e-6
"""Share of a drawing's longer side; what is narrower is a straight line that has no width to be scaled."""

SAME = 1e-9
"""Places of a path that differ by no more, and by no more of themselves, are one: its sums are not exact."""

NOT_DRAWN = {"Text": "text", "Image": "picture"}


def strokes_of_path(data: str, *, what: str = "path") -> list[Points]:
    """Return SVG path data as cubic strokes, each of shape (3 k + 1, 2), in the unit of the data; y as it is.

    Raises
    ------
    UsageError
        If it is no path data; `what` is named.
    """
    from svgelements import Path

    try:
        return _cubics(Path(closed_once(data)))
    except (ValueError, TypeError, IndexError, AttributeError, ArithmeticError, RecursionError):
        raise UsageError(what, f"'{data[:30]}' is no SVG path data", "Write it as M, L, C, A … with numbers.") from None


def strokes_of_svg(data: bytes, *, where: str) -> tuple[list[Points], dict[str, int]]:
    """Return the lines of an SVG document as cubic strokes in mm, y down, and what was left out, by kind.

    Whatever is drawn or filled becomes the line around it. Texts and pictures are left out.

    Raises
    ------
    InputError
        If it is not an SVG document, or holds no line.
    """
    from svgelements import SVG, Shape

    remedy = "Save the drawing as SVG with paths."
    document = looked_through(data, where=where)
    try:
        # an empty root comes back as a bare element, without a list of what is in it
        elements = list(SVG.parse(io.BytesIO(document), reify=True, ppi=CSS_PPI).elements())
    except Exception as error:  # every fault of a file from outside, whatever the reader calls it
        raise InputError(where, f"cannot be read as SVG ({type(error).__name__})", remedy) from None
    strokes: list[Points] = []
    left_out: dict[str, int] = {}
    points = 0
    for element in elements:
        values = element.values if hasattr(element, "values") and isinstance(element.values, dict) else {}
        if values.get("display") == "none" or values.get("visibility") == "hidden":
            continue
        if isinstance(element, Shape):
            try:
                lines = [s * MM_PER_INCH / CSS_PPI for s in _cubics(element)]
            except (ValueError, TypeError, IndexError, AttributeError, ArithmeticError) as error:
                raise InputError(where, f"a line of it cannot be drawn ({error})", remedy) from None
            strokes += lines
            points += sum(map(len, lines))
        elif kind := NOT_DRAWN.get(type(element).__name__):
            left_out[kind] = left_out.get(kind, 0) + 1
        if points > MOST_POINTS:
            raise InputError(where, f"it holds more than {MOST_POINTS} points", "Simplify the drawing.")
    if not strokes:
        raise InputError(where, "it holds no line to draw", remedy)
    return strokes, left_out


@np.errstate(over="ignore", invalid="ignore")  # what is no number any more is told at the end
def _cubics(shape: Any) -> list[Points]:
    """Return the subpaths of a shape as cubic strokes; every other kind of segment is raised to cubics."""
    from svgelements import Arc, Close, CubicBezier, Line, Move, Path, QuadraticBezier

    path = shape if isinstance(shape, Path) else Path(shape)
    strokes: list[list[tuple[float, float]]] = []
    for segment in path:
        if isinstance(segment, Move):
            strokes.append([_place(segment.end)])
            continue
        if not strokes:
            continue
        for piece in segment.as_cubic_curves() if isinstance(segment, Arc) else (segment,):
            here = np.array(strokes[-1][-1])
            end = piece.end if piece.end is not None else strokes[-1][0]
            if isinstance(piece, Close):
                end = strokes[-1][0]
            to = np.array(_place(end))
            if isinstance(piece, CubicBezier):
                a, b = np.array(_place(piece.control1)), np.array(_place(piece.control2))
            elif isinstance(piece, QuadraticBezier):
                q = np.array(_place(piece.control))
                a, b = here + 2 / 3 * (q - here), to + 2 / 3 * (q - to)
            elif isinstance(piece, Line | Close):
                if np.allclose(here, to, rtol=SAME, atol=SAME):
                    continue
                a, b = here + (to - here) / 3, here + 2 / 3 * (to - here)
            else:
                continue
            strokes[-1] += [tuple(a.tolist()), tuple(b.tolist()), tuple(to.tolist())]
    out = [np.array(s, float) for s in strokes if len(s) > 1]
    if not all(np.isfinite(s).all() for s in out):
        raise ValueError("a place is not a number")
    return out


def _place(point: Any) -> tuple[float, float]:
    return (float(point[0]), float(point[1]))


def path_data_of(strokes: Iterable[Points]) -> str:
    """Return cubic strokes as SVG path data, rounded to thousandths of their unit."""
    parts = []
    for s in strokes:
        numbers = " ".join(f"{v:.3f}".rstrip("0").rstrip(".") for v in s[1:].ravel())
        parts.append(f"M{s[0, 0]:.3f} {s[0, 1]:.3f}" + (f"C{numbers}" if len(s) > 1 else ""))
    return "".join(parts)


def placed(drawing: Drawing, *, number: int) -> list[Points]:
    """Return the strokes of a drawing on the page, mm, y down.

    Raises
    ------
    UsageError
        If it has no path, or its path cannot be read; `number`, from 1, tells which drawing.
    """
    what = f"drawing {number}"
    if not drawing.path:
        remedy = "Give `path`, or `file` in a layout file."
        raise UsageError(what, "it has no path" if not drawing.file else "its file was not read", remedy)
    strokes = strokes_of_path(drawing.path, what=what)
    if not strokes:
        raise UsageError(what, "its path draws nothing", "Give a path with a line in it.")
    low, high = _extent(strokes)
    wide, tall = high - low
    for side, asked, other, extent in (
        ("width", drawing.width_mm, "height_mm", wide),
        ("height", drawing.height_mm, "width_mm", tall),
    ):
        if asked is not None and extent < LEAST_EXTENT * max(wide, tall):
            raise UsageError(what, f"its path has no {side} that could be made {asked:g} mm", f"Give {other} alone.")
    scale_x = scale_y = 1.0
    if drawing.width_mm is not None:
        scale_x = scale_y = drawing.width_mm / wide
    if drawing.height_mm is not None:
        scale_y = drawing.height_mm / tall
        scale_x = scale_x if drawing.width_mm is not None else scale_y
    turn = np.radians(drawing.turn_deg)
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    middle = (low + high) / 2
    turned = [((s - middle) * [scale_x, scale_y]) @ rotation for s in strokes]
    corner, _ = _extent(turned)
    return [s - corner + [drawing.x_mm, drawing.y_mm] for s in turned]


def _extent(strokes: Sequence[Points]) -> tuple[Points, Points]:
    """Return least and greatest x and y of the curves, sampled."""
    from ownhand.composer.plot.plot_page import flatten

    starts = np.concatenate([[0], np.cumsum([len(s) for s in strokes])]).astype(np.int64)
    points, _ = flatten(np.concatenate(list(strokes)), starts, within_mm=0.02)
    return points.min(axis=0), points.max(axis=0)
