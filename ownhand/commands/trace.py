"""Any ink drawing straight to strokes, without a sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import svgwrite

import skeleton
from capture.errors import InputError
from capture.fiducial_detection import grey_of
from capture.files import check_writable, write_text
from capture.scan import load_scans
from capture.units import px_per_mm
from skeleton.geometry.stroke import Stroke


def trace_image(path: Path, *, dpi: float, char: str | None = None) -> tuple[tuple[float, float], list[Stroke]]:
    """Return the size in mm of the picture in `path` and its strokes (image frame: mm, y down).

    Raises
    ------
    InputError
        If the file is not a picture, or holds several.
    """
    scans = list(load_scans(path))
    if len(scans) != 1:
        raise InputError(str(path), f"holds {len(scans)} pictures, one was expected", "Save each as a file of its own.")
    grey = grey_of(scans[0].pixels)
    k = px_per_mm(dpi)
    return (grey.shape[1] / k, grey.shape[0] / k), skeleton.trace(grey, dpi, char)


def traced_json(path: Path, *, dpi: float, char: str | None = None) -> dict[str, Any]:
    """Return `image`, and `strokes` as lists of [x, y] in mm from the image's top left corner, y down."""
    _, strokes = trace_image(path, dpi=dpi, char=char)
    return {"image": str(path), "strokes": [np.round(s.points_mm, 4).tolist() for s in strokes]}


def write_traced_svg(path: Path, output: Path, *, dpi: float, char: str | None = None, force: bool = False) -> Path:
    """Write the strokes of the picture in `path` as SVG paths in mm, one path a stroke, in writing order."""
    check_writable(output, force=force)
    (w, h), strokes = trace_image(path, dpi=dpi, char=char)
    drawing = svgwrite.Drawing(size=(f"{w:.3f}mm", f"{h:.3f}mm"), viewBox=f"0 0 {w:.3f} {h:.3f}", profile="full")
    group = drawing.g(fill="none", stroke="black", stroke_linecap="round", stroke_linejoin="round")
    for stroke in strokes:
        points = stroke.points_mm if not stroke.is_dot else np.repeat(stroke.points_mm, 2, axis=0)
        d = "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in points)
        group.add(drawing.path(d=d, stroke_width=f"{max(stroke.width_mm, 0.1):.3f}"))
    drawing.add(group)
    return write_text(output, drawing.tostring() + "\n")
