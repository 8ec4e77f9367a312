"""What a layout file names beside it: drawings, read and put into the settings as paths; and further hands."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from capture.errors import InputError, UsageError
from capture.safe_paths import path_inside
from fontbuild.font import Font
from ownhand.composer.plot.drawings import path_data_of, strokes_of_svg
from ownhand.hands.font_of_hand import font_of

PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff")


def with_drawings(data: dict[str, Any], folder: Path) -> tuple[dict[str, Any], list[str]]:
    """Return a layout's data with the files of its drawings read, and what of them is not drawn, a line each.

    A drawing's `file` is an SVG document, or a picture whose ink is traced at the drawing's `dpi`; it lies in the
    layout's folder or below.

    Raises
    ------
    InputError
        If a file lies elsewhere, cannot be read, or holds no line.
    UsageError
        If a picture has no resolution.
    """
    drawings = data.get("drawings")
    if not isinstance(drawings, list):
        return data, []
    out, notices = [], []
    for drawing in drawings:
        if isinstance(drawing, dict) and isinstance(drawing.get("file"), str) and drawing["file"]:
            path, lines = _path_of(drawing, folder)
            notices += lines
            drawing = {**{k: v for k, v in drawing.items() if k not in ("file", "dpi")}, "path": path}
        out.append(drawing)
    return {**data, "drawings": out}, notices


def _path_of(drawing: dict[str, Any], folder: Path) -> tuple[str, list[str]]:
    try:
        file = path_inside(folder, drawing["file"]).resolve()
    except InputError:
        what = "lies outside the layout's folder, or is no file's name"
        raise InputError(drawing["file"], what, "Put the drawing beside the layout.") from None
    if file.suffix.lower() in PICTURES:
        from ownhand.commands.trace import trace_image

        dpi = drawing.get("dpi")
        if not (isinstance(dpi, int | float) and 10 <= dpi <= 10_000):
            raise UsageError(drawing["file"], "a picture needs its resolution", "Give the drawing `dpi = 300`, say.")
        _, strokes = trace_image(file, dpi=float(dpi))
        if not strokes:
            raise InputError(str(file), "no ink was found on it", "Use a picture with dark lines on light paper.")
        return path_data_of([_as_cubic(s.points_mm) for s in strokes]), []
    try:
        raw = file.read_bytes()
    except OSError as error:
        raise InputError(str(file), f"cannot be read ({error.strerror})", "Check its name and permissions.") from None
    found, left_out = strokes_of_svg(raw, where=str(file))
    return path_data_of(found), [
        f"{file.name}: {n} {kind}{'s' if n > 1 else ''} left out; only lines are drawn" for kind, n in left_out.items()
    ]


def _as_cubic(points: np.ndarray) -> np.ndarray:
    """Return a polyline, shape (n, 2), as cubic pieces, shape (3 n - 2, 2); a dot as a hair's breadth."""
    p = points if len(points) > 1 else np.vstack([points, points + np.array([0.01, 0.0])])
    a, b = p[:-1], p[1:]
    pieces = np.stack([a + (b - a) / 3, a + (b - a) * 2 / 3, b], axis=1).reshape(-1, 2)
    return np.vstack([p[:1], pieces])


def fonts_of(hands: Mapping[str, Path]) -> dict[str, Font]:
    """Return the fonts of further hands, by the names they were given.

    Raises
    ------
    FontFileError, HandFolderError
        As `ownhand.hands.font_of_hand.font_of`.
    """
    return {name: font_of(folder) for name, folder in hands.items()}
