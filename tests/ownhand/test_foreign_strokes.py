"""Published strokes inked into our sheet, scanned and read back: the whole way from paper to strokes.

Sources: KanjiVG (Apel, CC BY-SA 3.0; PyPI `kanjivg`), Latin letters and digits in stroke order; the Hershey fonts
(Wolcott & Hilsenrath, NBS Special Publication 424, 1976; PyPI `Hershey-Fonts`), an engraver's centre lines.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from capture.layout import lay_out
from capture.sheet import Cell, Page
from capture.sheet_file import save_sheet
from capture.units import image_from_cell
from ownhand.cli.main import main
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import HandRecord, create_hand, open_hand
from tests.bench.capture_pages import Degrade, Written, print_page, take
from tests.bench.trace_data import LATIN, Case, hershey, kanjivg
from tests.bench.trace_score import Score, score

PEN_MM = 0.45


def placed(case: Case, cell: Cell) -> list[np.ndarray]:
    """Return published strokes as high as the cell's ascender, in its middle, standing on the line; page mm."""
    points = np.concatenate(case.strokes)
    low, high = points.min(axis=0), points.max(axis=0)
    x, _, w, _ = cell.box_mm
    room = np.array([w - 2.5, cell.ascender_mm - 0.4])
    scale = float((room / np.maximum(high - low, 1e-6)).min())
    shift = np.array([x + w / 2 - scale * (low[0] + high[0]) / 2, cell.baseline_mm - scale * high[1]])
    return [s * scale + shift for s in case.strokes]


def inked(
    folder: Path, cases: dict[str, Case], *, seed: int
) -> tuple[Path, Page, dict[tuple[int, int], list[np.ndarray]]]:
    """Print a sheet for the characters, ink their strokes into it and scan it; give hand, page and true strokes."""
    sheet = lay_out([(c, 2) for c in cases], sheet_id=f"foreign-{seed}", x_height_mm=4.5)
    hand = create_hand(folder / "hand", HandRecord("Foreign"))
    (hand.sheets_folder / sheet.id).mkdir(parents=True)
    save_sheet(sheet, hand.sheets_folder / sheet.id / "sheet.json")
    page = sheet.pages[0]
    written = [Written(cell, placed(cases[cell.char], cell)) for cell in page.cells]
    how = Degrade(pen_mm=PEN_MM, seed=seed, turn_deg=0.8, noise=3.0, jpeg=92)
    Image.fromarray(take(page, print_page(sheet, page), written, how).scan.pixels).save(
        folder / "scan.jpg", quality=92, dpi=(300, 300)
    )
    return hand.path, page, {(w.cell.row, w.cell.column): w.strokes for w in written}


def scores(hand: Path, page: Page, truth: dict[tuple[int, int], list[np.ndarray]]) -> Iterator[tuple[str, Score]]:
    cells = {(c.row, c.column): c for c in page.cells}
    (capture,) = load_captures(open_hand(hand))
    for attempt in capture.attempts:
        place = tuple(map(int, attempt.id.rsplit("/", 1)[-1].split(".")))
        cell = cells[place]
        assert attempt.status == "written"
        found = [
            image_from_cell(s.points_mm, left_mm=cell.box_mm[0], baseline_mm=cell.baseline_mm) for s in attempt.strokes
        ]
        yield attempt.char, score(found, truth[place], PEN_MM)


@pytest.mark.parametrize(
    ("cases", "seed", "paths"),
    [
        ({c.char: c for c in kanjivg(LATIN, known=True) if c.char.isalnum()}, 1, 0.5),
        ({c.char: c for c in hershey() if c.char in "ACEFGHJKLMNOPRSTUVWXYZaceghmnorstuvwxz234567"}, 2, 0.5),
    ],
    ids=["kanjivg", "hershey"],
)
def test_published_strokes_come_back_from_a_scanned_sheet(tmp_path, cases, seed, paths):
    hand, page, truth = inked(tmp_path, cases, seed=seed)

    assert main(["read", str(hand), str(tmp_path / "scan.jpg")]) == 0

    results = [s for _, s in scores(hand, page, truth)]
    assert len(results) == len(page.cells)
    assert np.mean([s.mean for s in results]) < 0.030
    assert np.mean([s.paths for s in results]) > paths
