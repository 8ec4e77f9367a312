"""Any ink drawing straight to strokes, without a sheet: into every kind of file that a page can become."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import svgwrite

import skeleton
from capture.errors import UsageError
from capture.fiducial_detection import grey_of
from capture.files import check_writable, write_bytes
from capture.scan import load_scan
from capture.units import px_per_mm
from ownhand.commands.hatching import check_resolved, widest_mm
from ownhand.commands.inverted import check_not_inverted
from ownhand.composer.formats import KINDS, page_bytes
from ownhand.composer.plot.machine import Machine
from ownhand.composer.plot.plot_page import PlotPage
from skeleton.geometry.stroke import Stroke

SOLID_MM = 1.6
"""Ink broader than this is told of: more than the line of most pens (common practice, no source)."""


def trace_image(path: Path, *, dpi: float, char: str | None = None) -> tuple[tuple[float, float], list[Stroke]]:
    """Return the size in mm of the picture in `path` and its strokes (image frame: mm, y down).

    Raises
    ------
    InputError
        If the file is not a picture, holds several, is inverted, or its lines lie too close for its resolution.
    """
    grey = grey_of(load_scan(path).pixels)
    check_not_inverted(grey, str(path))
    check_resolved(grey, dpi, str(path))
    k = px_per_mm(dpi)
    return (grey.shape[1] / k, grey.shape[0] / k), skeleton.trace(grey, dpi, char)


def traced_json(path: Path, *, dpi: float, char: str | None = None) -> dict[str, Any]:
    """Return `image`, and `strokes` as lists of [x, y] in mm from the image's top left corner, y down."""
    _, strokes = trace_image(path, dpi=dpi, char=char)
    return {"image": str(path), "strokes": [np.round(s.points_mm, 4).tolist() for s in strokes]}


def write_traced(
    path: Path,
    output: Path,
    *,
    dpi: float,
    char: str | None = None,
    machine: Machine | None = None,
    force: bool = False,
) -> tuple[Path, tuple[str, ...]]:
    """Write the strokes of the picture in `path`, in writing order; return where, and what to tell about it.

    The kind of file follows the suffix of `output`: .svg, .hpgl or .plt, .gcode or .nc; .png draws the picture.

    Raises
    ------
    UsageError
        If the suffix is none of these, or the drawing does not fit the machine.
    InputError
        If the picture cannot be traced.
    OutputError
        If the file exists and `force` was not given, or cannot be written.
    """
    kind = KINDS.get(output.suffix.lower())
    if kind is None:
        raise UsageError(str(output), f"unknown kind of file '{output.suffix}'", f"Use one of {', '.join(KINDS)}.")
    check_writable(output, force=force)
    size, strokes = trace_image(path, dpi=dpi, char=char)
    page = page_of_strokes(strokes, size)
    data = page_bytes(page, kind, machine)
    if kind == "svg":
        data = traced_svg(strokes, size).encode()  # each line as wide as its ink
    broad = widest_mm(grey_of(load_scan(path).pixels), dpi)
    solid = f"{path} holds ink up to {broad:.1f} mm wide" if broad > SOLID_MM else ""
    if not strokes:
        why = f"{solid} and no line" if solid else f"{path} holds no ink"
        return write_bytes(output, data), (f"{why}: nothing is drawn. Give dark lines on light paper.",)
    if not solid:
        return write_bytes(output, data), ()
    told = "of solid areas only the middle line is drawn, and hatching too fine for the picture looks the same."
    return write_bytes(output, data), (f"{solid}: {told}",)


def page_of_strokes(strokes: Sequence[Stroke], size_mm: tuple[float, float]) -> PlotPage:
    """Return strokes (image frame: mm, y down) as a page for the plotter, each a line of straight cubic pieces."""
    paths = [_straight_pieces(s.points_mm[:1] if s.is_dot else s.points_mm) for s in strokes]
    n = len(paths)
    zeros, numbers = np.zeros(n, np.int64), np.arange(n)
    widths = [s.width_mm for s in strokes if s.width_mm > 0]
    return PlotPage(
        1, size_mm, (0.0, 0.0, 0.0, 0.0),
        np.concatenate(paths) if paths else np.zeros((0, 2)),
        np.concatenate([[0], np.cumsum([len(p) for p in paths])]).astype(np.int64),
        zeros, zeros, numbers, zeros + 1, ("",) * n, pen_mm=float(np.median(widths)) if widths else 0.4,
    )  # fmt: skip


def _straight_pieces(points: np.ndarray) -> np.ndarray:
    if len(points) < 2:
        return np.asarray(points, float)
    a, b = points[:-1], points[1:]
    pieces = np.stack([a + (b - a) / 3, a + 2 * (b - a) / 3, b], axis=1).reshape(-1, 2)
    return np.vstack([points[:1], pieces])


def traced_svg(strokes: Sequence[Stroke], size_mm: tuple[float, float]) -> str:
    """Return strokes as SVG paths in mm, one path a stroke, each as wide as its ink."""
    w, h = size_mm
    drawing = svgwrite.Drawing(size=(f"{w:.3f}mm", f"{h:.3f}mm"), viewBox=f"0 0 {w:.3f} {h:.3f}", profile="full")
    group = drawing.g(fill="none", stroke="black", stroke_linecap="round", stroke_linejoin="round")
    for stroke in strokes:
        points = stroke.points_mm if not stroke.is_dot else np.repeat(stroke.points_mm, 2, axis=0)
        d = "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in points)
        group.add(drawing.path(d=d, stroke_width=f"{max(stroke.width_mm, 0.1):.3f}"))
    drawing.add(group)
    return str(drawing.tostring()) + "\n"
