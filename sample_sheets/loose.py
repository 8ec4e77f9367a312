"""Single characters in the museum's hand, without a sheet around them: for benches and tests."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.sheet import Cell
from sample_sheets.writer.hand import KEEPER, Habits, write_cell
from sample_sheets.writer.machines import sheet_of_paper
from sample_sheets.writer.pen import ink_page

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class LooseCharacter:
    """One attempt on white paper."""

    char: str
    attempt: int
    form: str
    grey: NDArray[np.uint8]
    strokes: tuple[Array, ...]
    """Each (n, 2): image-frame mm (y down), in the order and direction of writing."""

    pen_mm: float


def loose_characters(
    chars: Iterable[str],
    attempts: int,
    *,
    dpi: float = 300,
    x_height_mm: float = 3.5,
    noise: float = 4.0,
    seed: int = 0,
    habits: Habits = KEEPER,
) -> Iterator[LooseCharacter]:
    """Return attempts at each of `chars`, inked and scanned; the same arguments give the same pictures."""
    for char in chars:
        rng = np.random.default_rng([seed, *map(ord, char)])
        for attempt in range(1, attempts + 1):
            yield _loose(char, attempt, dpi, x_height_mm, noise, rng, habits)


def _loose(
    char: str, attempt: int, dpi: float, x: float, noise: float, rng: np.random.Generator, habits: Habits
) -> LooseCharacter:
    wide, tall, base = 12 * x, 9 * x, 5 * x
    guides = base, x, 2 * x, -x
    cell = Cell(char, attempt, 1, 1, (0, 0, wide, tall), *guides, char, (0, 0, 0, 0), (0, 0, 0, 0))
    form, traces = write_cell(char, cell, rng, habits)
    points = np.vstack([t.points_mm for t in traces])
    k = dpi / 25.4
    low = np.floor((points.min(axis=0) - 1.5) * k) / k
    size = np.ceil((points.max(axis=0) + 1.5 - low) * k).astype(int)
    fine = 2 if dpi >= 450 else 4 if dpi < 250 else 3
    moved = [type(t)(t.points_mm - low, t.widths_mm, t.darkness) for t in traces]
    white = np.full((size[1] * fine, size[0] * fine, 3), 255, np.uint8)
    page = ink_page(sheet_of_paper(white, k * fine, rng, dust=False), moved, k * fine, rng)
    grey = cv2.cvtColor(page, cv2.COLOR_RGB2GRAY)
    grey = cv2.resize(grey, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA).astype(np.float32)
    grey = cv2.GaussianBlur(grey, (0, 0), 0.6) + rng.normal(0, noise, grey.shape)
    strokes = tuple(t.points_mm for t in moved)
    return LooseCharacter(char, attempt, form, np.clip(np.rint(grey), 0, 255).astype(np.uint8), strokes, habits.pen_mm)
