"""Make everything in `sample_sheets/lantern` again: `python -m sample_sheets.make [--seed N] [--out FOLDER]`.

    sheet/sheet.json, sheet.pdf   the sheet, planned and printed by this project
    scans/page-N.jpg              its pages, filled in by the simulated writer and scanned at 300 dpi
    photo/page-2.jpg              one of them under a camera
    truth.json.gz                 the true strokes (`sample_sheets.truth` says how)

`card.txt` and `guests.csv` beside them, a postcard and its readers, are written by hand and stay.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

from capture.languages import characters_for
from capture.layout import lay_out
from capture.plan import plan_counts
from capture.print_sheet import write_pdf
from capture.sheet import Sheet
from capture.sheet_file import write_sheet
from sample_sheets.filling import fill
from sample_sheets.scanning import PRINT_DPI, lying, save_jpeg, written
from sample_sheets.truth import write_truth
from sample_sheets.writer import KEEPER
from sample_sheets.writer.machines import photographed, scanned

SEED = 1874
LANGUAGES = ("en", "fr", "de", "pl", "es")
X_HEIGHT_MM = 3.5
PAGES = 6
TEXT = (
    "When the fog comes in from the sea, the keeper rings the bell twice and puts the kettle on. "
    "Visitors who have climbed all 214 steps may sign the book, look through the great lens, and ask "
    "“How far does the light go?” – “Just far enough,” says the keeper; it is always the same answer. "
    "Quick gulls jump over the lazy waves & vanish. By evening the boxes are packed, the postcards "
    "stamped, the lamp is lit: one flash, a pause, two flashes, and somewhere a ship turns for home."
)


def plan() -> Sheet:
    """Return the sample's sheet."""
    raise NotImplementedError
