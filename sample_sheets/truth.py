"""The true strokes of the sample, on disk.

`truth.json.gz` holds one object:

- `format`: 1; `sheet`: id of the sheet; `pen_mm`: width of the pen;
- `cells[]`: `page, row, column, char, attempt, status, form, accident, strokes`;
- `lines[]`: letters of the ruled page: `page, line, char, form, strokes`.

`strokes` are lists of `[x, y]`, mm from the page's top left corner, y down, in the order and direction of writing.
`status` is 'written', 'blank' or 'spoiled'; `form` says which of the writer's forms of the character was written, and
`accident` what makes a cell hard ('heavy', 'dry', 'small', 'shaky', 'outside', 'ticked', 'struck'), if anything.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.sheet import Sheet
from sample_sheets.filling import Copied, Filled
from sample_sheets.writer.hand import Trace

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TrueCell:
    """What was written in a cell."""

    page: int
    row: int
    column: int
    char: str
    attempt: int
    status: str
    form: str
    accident: str
    strokes: tuple[Array, ...]
    """Each (n, 2): page mm, y down, in the order and direction of writing."""


def _simplified(points: Array, within_mm: float = 0.004) -> Array:
    """Return the fewest of the points that stay `within_mm` of all (Douglas & Peucker 1973)."""
    keep = np.zeros(len(points), bool)
    keep[[0, -1]] = True
    todo = [(0, len(points) - 1)]
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        way = points[b] - points[a]
        rest = points[a + 1 : b] - points[a]
        along = np.clip(rest @ way / max(float(way @ way), 1e-12), 0, 1)
        away = np.hypot(*(rest - along[:, None] * way).T)
        far = int(away.argmax())
        if away[far] > within_mm:
            keep[a + 1 + far] = True
            todo += [(a, a + 1 + far), (a + 1 + far, b)]
    return points[keep]


def plain_strokes(lines: Iterable[Array], within_mm: float = 0.004) -> list[list[list[float]]]:
    """Return lines as plain lists, with the fewest points that tell their course."""
    return [np.round(_simplified(points, within_mm), 3).tolist() for points in lines]


def _strokes(traces: tuple[Trace, ...]) -> list[list[list[float]]]:
    return plain_strokes(t.points_mm for t in traces)


def write_truth(path: Path, sheet: Sheet, pen_mm: float, cells: list[Filled], letters: list[Copied]) -> None:
    """Write the true strokes; the same strokes give the same bytes."""
    data: dict[str, Any] = {"format": 1, "sheet": sheet.id, "pen_mm": pen_mm}
    data["cells"] = [
        {
            "page": f.page,
            "row": f.cell.row,
            "column": f.cell.column,
            "char": f.cell.char,
            "attempt": f.cell.attempt,
            "status": f.status,
            "form": f.form,
            "accident": f.accident,
            "strokes": _strokes(f.traces),
        }
        for f in cells
    ]
    data["lines"] = [
        {"page": c.page, "line": c.line, "char": c.char, "form": c.form, "strokes": _strokes(c.traces)} for c in letters
    ]
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    path.write_bytes(gzip.compress(text.encode(), mtime=0))


def read_truth(path: Path) -> dict[tuple[int, int, int], TrueCell]:
    """Return the true cells by (page, row, column)."""
    data = json.loads(gzip.decompress(path.read_bytes()))
    cells = {}
    for c in data["cells"]:
        strokes = tuple(np.array(s, float) for s in c.pop("strokes"))
        cells[c["page"], c["row"], c["column"]] = TrueCell(**c, strokes=strokes)
    return cells
