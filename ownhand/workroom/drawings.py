"""The drawings that layouts name: kept beside the layouts, read once, and where on the page each of them lies."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from capture.errors import InputError, OwnhandError
from capture.scan import load_scans
from ownhand.commands.additions import PICTURES, with_drawings
from ownhand.composer.plot.drawings import placed
from ownhand.composer.settings.additions import Drawing
from ownhand.composer.settings.settings import Settings
from ownhand.hands.hand import Hand

SUFFIXES = {".svg", *PICTURES}
USUAL_DPI = 300
"""Of a picture that does not say (common practice, no source)."""

Given = tuple[str, tuple[str, ...]]
"""Path data, and what of the file is not drawn."""


def layouts_folder(hand: Hand) -> Path:
    """Return where layouts, and the drawings that they name, are kept."""
    return hand.path / "layouts"


def drawing_names(hand: Hand) -> list[str]:
    """Return the drawings that are kept beside the layouts."""
    return sorted(p.name for p in layouts_folder(hand).glob("[!.]*") if p.suffix.lower() in SUFFIXES)


def with_drawings_read(data: dict[str, Any], hand: Hand) -> tuple[dict[str, Any], list[str]]:
    """Return a layout's data with the files of its drawings read, and what of them is not drawn, a line each.

    As `commands.additions.with_drawings`, which reads a file anew each time; here it is read again when it changes.

    Raises
    ------
    OwnhandError
        As `commands.additions.with_drawings`.
    """
    drawings = data.get("drawings")
    if not isinstance(drawings, list):
        return data, []
    out: list[Any] = []
    notices: list[str] = []
    for drawing in drawings:
        if isinstance(drawing, dict) and isinstance(drawing.get("file"), str) and drawing["file"]:
            path, lines = _given(layouts_folder(hand), drawing["file"], drawing.get("dpi"))
            notices += lines
            drawing = {**{k: v for k, v in drawing.items() if k not in ("file", "dpi")}, "path": path}
        out.append(drawing)
    return {**data, "drawings": out}, notices


def _given(folder: Path, file: str, dpi: Any) -> Given:
    try:
        state = (folder / file).stat()
        changed = (state.st_mtime_ns, state.st_size)
    except (OSError, ValueError):
        changed = (0, 0)
    return _read(folder, file, dpi if isinstance(dpi, int | float) else None, changed)


@lru_cache(maxsize=32)
def _read(folder: Path, file: str, dpi: float | None, changed: tuple[int, int]) -> Given:
    drawing = {"file": file} if dpi is None else {"file": file, "dpi": dpi}
    read, notices = with_drawings({"drawings": [drawing]}, folder)
    return read["drawings"][0]["path"], tuple(notices)


def extents(settings: Settings) -> list[list[float]]:
    """Return for each drawing left, top, width and height of its ink on the page, mm; [] for one that has no ink."""
    out: list[list[float]] = []
    for number, drawing in enumerate(settings.drawings, 1):
        try:
            out.append(_extent(placed(drawing, number=number)))
        except OwnhandError:
            out.append([])
    return out


def _extent(strokes: Sequence[Any]) -> list[float]:
    low = [min(float(s[:, k].min()) for s in strokes) for k in (0, 1)]
    high = [max(float(s[:, k].max()) for s in strokes) for k in (0, 1)]
    return [round(v, 2) for v in (*low, high[0] - low[0], high[1] - low[1])]


def drawing_view(hand: Hand, name: str) -> dict[str, Any]:
    """Return what the page needs to know of a drawing; a picture has a resolution, which the person may correct.

    Raises
    ------
    InputError
        If there is no such drawing, or it holds no line.
    """
    if name not in drawing_names(hand):
        raise InputError(name[:80], "is not one of the hand's drawings", "Drop the drawing on the page.")
    file, dpi = layouts_folder(hand) / name, None
    if file.suffix.lower() in PICTURES:
        told = next((scan.dpi for scan in load_scans(file)), None)
        dpi = round(told) if told else USUAL_DPI
    path, _ = _given(layouts_folder(hand), name, dpi)
    _, _, *size = _extent(placed(Drawing(path), number=1))
    return {"file": name, "dpi": dpi, "size_mm": size}
