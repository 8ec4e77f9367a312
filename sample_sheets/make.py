"""Make everything in `sample_sheets/lantern` again: `python -m sample_sheets.make`.

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
from capture.plan import plan_attempts
from capture.print_sheet import sheet_pdf
from capture.sheet import Sheet
from capture.sheet_file import save_sheet
from sample_sheets.filling import fill
from sample_sheets.scanning import lying, save_jpeg, written
from sample_sheets.truth import write_truth
from sample_sheets.writer import GUEST, KEEPER, Habits
from sample_sheets.writer.machines import photographed, scanned

FOLDER = Path(__file__).parent / "lantern"
SEED = 1874
WRITERS = {"keeper": KEEPER, "guest": GUEST}
ID = "lantern-1"
TITLE = "The lighthouse museum"
LANGUAGES = ("en", "fr", "de", "pl", "es")
X_HEIGHT_MM = 3.5
PAGES = 6
PHOTO_OF = 2
LAYOUT = 1
"""The sample is a sheet of the first layout, as people have them on paper: its scans, 8 MB, need not be made again for
a new one, and every test that reads them shows that old sheets are still read."""

TEXT = (
    "When fog comes in from the sea, the keeper rings the bell and puts the kettle on. “How far does the "
    "light go?” – “Just far enough.” Quick gulls jump over the lazy waves & vanish; by evening all 214 "
    "cards are boxed and stamped. One flash, a pause, two flashes: somewhere a ship turns home!"
)


def sample_sheet() -> Sheet:
    """Return the sample's sheet."""
    counts = plan_attempts(characters_for(LANGUAGES), LANGUAGES, pages=PAGES, x_height_mm=X_HEIGHT_MM, layout=LAYOUT)
    return lay_out(counts, sheet_id=ID, x_height_mm=X_HEIGHT_MM, languages=LANGUAGES, ruled_text=TEXT, layout=LAYOUT)


def make(folder: Path, seed: int, sheet: Sheet | None = None, habits: Habits = KEEPER) -> None:
    """Write the sheet, its scans and their truth into `folder`."""
    sheet = sheet or sample_sheet()
    for name in ("sheet", "scans", "photo"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    pdf = folder / "sheet" / "sheet.pdf"
    save_sheet(sheet, folder / "sheet" / "sheet.json")
    pdf.write_bytes(sheet_pdf(sheet, title=TITLE))
    cells, letters, other = fill(sheet, np.random.default_rng([seed, 0]), habits)
    write_truth(folder / "truth.json.gz", sheet, habits.pen_mm, cells, letters)
    for page in sheet.pages:
        number = page.page
        rng = np.random.default_rng([seed, number])
        ink = [t for f in cells if f.page == number for t in (*f.traces, *f.beside)]
        ink += [t for c in letters if c.page == number for t in c.traces] + other[number]
        picture, px_per_mm = written(pdf, number, ink, rng)
        machine = lying(number, rng)
        scan = scanned(picture, px_per_mm, machine, rng)
        save_jpeg(folder / "scans" / f"page-{number}.jpg", scan, dpi=machine.dpi, quality=80)
        if number == PHOTO_OF:
            photo = photographed(picture, px_per_mm, rng)
            save_jpeg(folder / "photo" / f"page-{number}.jpg", photo, dpi=None, quality=80)
        print(f"page {number} of {len(sheet.pages)}", file=sys.stderr)


def main(argv: list[str] | None = None) -> int:
    """Make the sample; return 0."""
    parser = argparse.ArgumentParser(prog="python -m sample_sheets.make", description="Make the sample again.")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--out", type=Path, default=FOLDER)
    parser.add_argument("--writer", choices=sorted(WRITERS), default="keeper")
    args = parser.parse_args(argv)
    make(args.out, args.seed, habits=WRITERS[args.writer])
    return 0


if __name__ == "__main__":
    sys.exit(main())
