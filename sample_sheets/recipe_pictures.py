"""Make the contact page of the recipes again: `python -m sample_sheets.recipe_pictures HAND OTHER`.

HAND is the sample's hand, read and built, OTHER a second hand or font: the guest's, say (`python -m sample_sheets.make
--writer guest --out FOLDER`, read and built). Every recipe is run as it stands, in a folder of its own; of what it
makes the first page is shown. Wants resvg-py, as the tests do.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
import sys
import tempfile
from pathlib import Path

import resvg_py
from PIL import Image, ImageDraw, ImageFont

from capture.label_font import font_path
from ownhand.cli.main import main as ownhand
from sample_sheets.pictures import kept

RECIPES = Path(__file__).parent / "recipes"
COLUMNS, CELL_PX, GAP_PX, LABEL_PX = 4, 440, 24, 34
PX_PER_MM = 8.0
ONLY_FOR_A_MACHINE = {"--one-file": 0, "--machine": 1}
"""Options left out for the picture, and how many words each takes with it."""


def words_of(folder: Path, hand: Path, other: Path) -> list[str]:
    """Return a recipe's command, hands and a kind of file that can be shown put in."""
    words = [w.replace("OTHER", str(other)) for w in shlex.split((folder / "command.txt").read_text())[1:]]
    words = [str(hand) if w == "HAND" else re.sub(r"\.hpgl$", ".svg", w) for w in words]
    for option, more in ONLY_FOR_A_MACHINE.items():
        if option in words:
            at = words.index(option)
            del words[at : at + 1 + more]
    return words


def first_page(folder: Path, hand: Path, other: Path) -> Image.Image:
    """Run a recipe and return its first page."""
    with tempfile.TemporaryDirectory() as room:
        there = shutil.copytree(folder, Path(room) / folder.name)
        before = set(there.rglob("*"))
        with contextlib.chdir(there):
            code = ownhand(words_of(folder, hand, other))
        made = sorted(p for p in set(there.rglob("*.svg")) - before)
        if code or not made:
            raise SystemExit(f"{folder.name}: exit code {code}, {len(made)} pages")
        return drawn(made[0].read_text())


def drawn(text: str) -> Image.Image:
    """Return the picture of a page of ours."""
    text = re.sub(r'="([\d.]+)mm"', lambda m: f'="{float(m[1]) * PX_PER_MM:.0f}"', text, count=2)
    return Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=text, background="white")))).convert("RGB")


def contact_page(pages: list[tuple[str, Image.Image]]) -> Image.Image:
    """Return all pages in small with their names."""
    rows = -(-len(pages) // COLUMNS)
    size = (COLUMNS * (CELL_PX + GAP_PX) + GAP_PX, rows * (CELL_PX + LABEL_PX + GAP_PX) + GAP_PX)
    sheet = Image.new("RGB", size, "#d9dcd8")
    pen, font = ImageDraw.Draw(sheet), ImageFont.truetype(str(font_path(bold=False)), 22)
    for i, (name, page) in enumerate(pages):
        x = GAP_PX + i % COLUMNS * (CELL_PX + GAP_PX)
        y = GAP_PX + i // COLUMNS * (CELL_PX + LABEL_PX + GAP_PX)
        page.thumbnail((CELL_PX, CELL_PX), Image.Resampling.LANCZOS)
        pen.text((x, y), name, "#333333", font)
        sheet.paste(page, (x, y + LABEL_PX))
    return sheet


def main(argv: list[str]) -> int:
    """Make the page."""
    hand, other = (Path(a).resolve() for a in argv)
    folders = sorted(d for d in RECIPES.iterdir() if d.is_dir())
    path = kept(contact_page([(d.name, first_page(d, hand, other)) for d in folders]), "recipes.png", 128, width=1800)
    print(f"{path}: {path.stat().st_size // 1024} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
