"""Pages put on larger sheets, with marks to cut them apart by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from capture.units import Points
from ownhand.composer.plot.combine import combined, moved, page_of_strokes
from ownhand.composer.plot.plot_page import PlotPage
from ownhand.composer.settings.imposition import Imposition

AWAY_MM = 1.0
"""Between a page's corner and its marks, so that no mark is left on the card (common practice, no source)."""


def sheet_of(pages: Sequence[PlotPage | None], imposition: Imposition, *, number: int = 1) -> PlotPage:
    """Return one sheet with pages of one size in its places, row by row; None leaves a place free.

    Raises
    ------
    UsageError
        If they do not fit; see `Imposition.places`.
    ValueError
        If there is no page, or there are more than places.
    """
    some = [p for p in pages if p is not None]
    places = imposition.places(some[0].size_mm)
    if len(pages) > len(places):
        raise ValueError(f"{len(pages)} pages, {len(places)} places")
    size = imposition.size_mm
    layers = [moved(p, at, size) for p, at in zip(pages, places, strict=False) if p is not None]
    if imposition.crop_marks:
        used = [at for p, at in zip(pages, places, strict=False) if p is not None]
        marks = crop_marks(used, some[0].size_mm, imposition)
        layers.append(page_of_strokes(marks, layers[0], pen=imposition.pen))
    return replace(combined(layers), number=number)


def crop_marks(
    corners: Sequence[tuple[float, float]], page_mm: tuple[float, float], imposition: Imposition
) -> list[Points]:
    """Return the crop marks of pages with these top left corners: cubic strokes of shape (4, 2), mm.

    A mark that would lie on a page, its own or a neighbour's, is left out; marks that neighbours share are drawn once.
    """
    (width, height), (w, h) = imposition.size_mm, page_mm
    lines: dict[tuple[float, ...], None] = {}
    for x, y in corners:
        for cx, sx in ((x, -1.0), (x + w, 1.0)):
            for cy, sy in ((y, -1.0), (y + h, 1.0)):
                reach = AWAY_MM + imposition.mark_mm
                across = (cx + sx * AWAY_MM, cy, cx + sx * reach, cy)
                down = (cx, cy + sy * AWAY_MM, cx, cy + sy * reach)
                for mark in (across, down):
                    lines[tuple(round(min(max(v, 0.0), (width, height)[k % 2]), 3) for k, v in enumerate(mark))] = None
    kept = []
    for x0, y0, x1, y1 in lines:
        on_page = any(
            max(x0, x1) > a + 1e-6
            and min(x0, x1) < a + w - 1e-6
            and max(y0, y1) > b + 1e-6
            and min(y0, y1) < b + h - 1e-6
            for a, b in corners
        )
        if not on_page and (x0, y0) != (x1, y1):
            kept.append(np.column_stack([np.linspace(x0, x1, 4), np.linspace(y0, y1, 4)]))
    return kept


def sheets_of(pages: Sequence[PlotPage], imposition: Imposition) -> list[PlotPage]:
    """Return pages of one size on as many sheets as they need.

    Raises
    ------
    UsageError
        If they do not fit; see `Imposition.places`.
    """
    if not pages:
        return []
    each = len(imposition.places(pages[0].size_mm))
    return [sheet_of(pages[i : i + each], imposition, number=1 + i // each) for i in range(0, len(pages), each)]
