"""Make the museum's second hand again, in `sample_sheets/archivist`: `python -m sample_sheets.make_running`.

    sheet/sheet.json, sheet.pdf   capitals, figures and signs in cells, and words to copy on ruled lines
    scans/page-N.jpg              its pages, filled in by a simulated writer who joins letters, 300 dpi
    letter.jpg, letter.txt        a letter on plain paper, without a sheet, and its text
    truth.json.gz                 the true strokes and letters

`truth.json.gz` holds `format` 1, `pen_mm`, `cells[]` (`page, row, column, char, strokes`) and `words[]`: `page` (0: the
letter), `line`, `word` (from 1), `text`, and `pieces[]` of `[stroke, letter, points]` in the order of writing: pieces
of one stroke follow each other without a lift. Points are `[x, y]`, mm from the page's top left corner, y down;
strokes and letters are counted from 0.

`postcard.txt` beside them is written by hand and stays.
"""

from __future__ import annotations

import argparse
import gzip
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image as PillowImage

from capture.copy_words import words_to_copy
from capture.layout import lay_out
from capture.print_sheet import sheet_pdf
from capture.sheet import Page, Sheet
from capture.sheet_file import save_sheet
from sample_sheets.filling import agreed, tried
from sample_sheets.scanning import PRINT_DPI, lying, written
from sample_sheets.truth import plain_strokes
from sample_sheets.writer.hand import write_cell
from sample_sheets.writer.machines import Flatbed, scanned, sheet_of_paper
from sample_sheets.writer.pen import Image, ink_page
from sample_sheets.writer.running_hand import ARCHIVIST, RunningHabits, WrittenWord, write_running_line

FOLDER = Path(__file__).parent / "archivist"
SEED = 1902
ID = "archivist-1"
TITLE = "The lighthouse museum"
LANGUAGES = ("en",)
X_HEIGHT_MM = 2.8
LAYOUT = 2
"""Of the sheet that the scans in the folder show; later layouts have other lines."""

CELLS = "ABCDEFGHIJKLMNOPRSTUVW0123456789.,’!?-"
LETTER_MM = (148.0, 210.0)
"""ISO A5."""

LETTER_LINES_MM = 10.5
LETTER_X_HEIGHT_MM = 2.5
QUALITY, NOISE = 38, 1.4
"""Of the JPEG, and of the scanner: the sample is to stay small."""

WITHIN_MM = 0.01
"""How true the truth is."""

LETTER = """Dear Maria,
thank you for your letter and
for the photograph of the old
boat. We found her name in the
keeper's book of that winter,
among the ships that passed
on a foggy night and answered
our bell. The lamp is lit again
every evening, and visitors may
climb up to the gallery. Come
and see it when you like, the
kettle is always on. With kind
greetings from the lighthouse,
the archivist
"""


def running_sheet() -> Sheet:
    """Return the sheet: one page of cells, and words with the pairs of letters that the languages need."""
    words = " ".join(words_to_copy(LANGUAGES).words)
    return lay_out(
        [(c, 1) for c in CELLS],
        sheet_id=ID,
        x_height_mm=X_HEIGHT_MM,
        languages=LANGUAGES,
        ruled_text=words,
        layout=LAYOUT,
    )


def make(folder: Path, seed: int, hand: RunningHabits = ARCHIVIST) -> None:
    """Write the sheet, its scans, the letter and the truth into `folder`."""
    sheet = running_sheet()
    for name in ("sheet", "scans"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    pdf = folder / "sheet" / "sheet.pdf"
    save_sheet(sheet, folder / "sheet" / "sheet.json")
    pdf.write_bytes(sheet_pdf(sheet, title=TITLE))
    truth: dict[str, Any] = {"format": 1, "pen_mm": hand.habits.pen_mm, "cells": [], "words": []}
    for page in sheet.pages:
        rng = np.random.default_rng([seed, page.page])
        cells = [(cell, write_cell(cell.char, cell, rng, hand.habits)[1]) for cell in page.cells]
        words = _copied(page, sheet.x_height_mm, rng, hand)
        for cell, traces in cells:
            where = {"page": page.page, "row": cell.row, "column": cell.column, "char": cell.char}
            truth["cells"].append({**where, "strokes": plain_strokes([t.points_mm for t in traces])})
        truth["words"] += [_told(page.page, line, n, w) for line, n, w in words]
        ink = [t for _, traces in cells for t in traces] + [t for _, _, w in words for t in w.traces]
        ink += tried(page, rng, hand.habits) + agreed(sheet, page, rng, hand.habits)
        picture, px_per_mm = written(pdf, page.page, ink, rng)
        machine = replace(lying(page.page, rng), noise=NOISE)
        _save(folder / "scans" / f"page-{page.page}.jpg", scanned(picture, px_per_mm, machine, rng), machine)
    rng = np.random.default_rng([seed, 0])
    lines = LETTER.splitlines()
    (folder / "letter.txt").write_text(LETTER, encoding="utf-8")
    words = []
    for number, line in enumerate(lines, 1):
        at = (14.0 + rng.normal(0, 0.8), 18.0 + LETTER_LINES_MM * number)
        found = write_running_line(line, at, LETTER_X_HEIGHT_MM, rng, hand)
        words += [(number, n, w) for n, w in enumerate(found, 1)]
    truth["words"] += [_told(0, line, n, w) for line, n, w in words]
    page_px = tuple(round(v * PRINT_DPI / 25.4) for v in LETTER_MM[::-1])
    paper = sheet_of_paper(np.full((*page_px, 3), 252, np.uint8), PRINT_DPI / 25.4, rng)
    inked = ink_page(paper, [t for _, _, w in words for t in w.traces], PRINT_DPI / 25.4, rng)
    machine = Flatbed(bed_mm=(LETTER_MM[0] + 2, LETTER_MM[1] + 2), skew_deg=-0.7, shift_mm=(0.2, -0.1), noise=NOISE)
    _save(folder / "letter.jpg", scanned(inked, PRINT_DPI / 25.4, machine, rng), machine)
    text = json.dumps(truth, ensure_ascii=False, separators=(",", ":"))
    (folder / "truth.json.gz").write_bytes(gzip.compress(text.encode(), mtime=0))


def _copied(
    page: Page, x_height_mm: float, rng: np.random.Generator, hand: RunningHabits
) -> list[tuple[int, int, WrittenWord]]:
    """Return what is written on the ruled lines of a page: line, word and the word itself; ends that do not fit not."""
    out = []
    for number, line in enumerate(page.ruled, 1):
        x, _, width, _ = line.box_mm
        start = (x + 1.5 + abs(rng.normal(0, 0.8)), line.baseline_mm)
        for n, word in enumerate(write_running_line(line.text, start, x_height_mm, rng, hand), 1):
            if max(float(t.points_mm[:, 0].max()) for t in word.traces) <= x + width:
                out.append((number, n, word))
    return out


def _told(page: int, line: int, number: int, word: WrittenWord) -> dict[str, Any]:
    pieces = [[stroke, letter, *plain_strokes([points], WITHIN_MM)] for stroke, letter, points in word.pieces]
    return {"page": page, "line": line, "word": number, "text": word.text, "pieces": pieces}


def _save(path: Path, picture: Image, machine: Flatbed) -> None:
    """Write a picture as a scanner set to grey does."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    PillowImage.fromarray(grey).save(path, "JPEG", quality=QUALITY, optimize=True, dpi=(machine.dpi, machine.dpi))


def main(argv: list[str] | None = None) -> int:
    """Make the sample; return 0."""
    parser = argparse.ArgumentParser(prog="python -m sample_sheets.make_running", description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--out", type=Path, default=FOLDER)
    args = parser.parse_args(argv)
    make(args.out, args.seed)
    return 0


if __name__ == "__main__":
    sys.exit(main())
