"""Files of strangers: pictures, PDFs, fonts, tables and layouts, damaged at random and made on purpose."""

from __future__ import annotations

import io
import json
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from capture.layout import lay_out
from capture.print_sheet import sheet_pdf
from capture.scan import count_scans, load_scans
from fontbuild.formats.svg_font import svg_font
from fontbuild.formats.svg_font_reader import load_svg_font
from fontbuild.formats.ufo import load_ufo, save_ufo
from ownhand.commands.write import settings_of
from ownhand.composer.merge.table import read_table
from ownhand.composer.plot.machine import load_machine
from tests.bench.attacks.tally import Tally
from tests.capture.test_scan_bounds import huge_page, million_pages
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.test_workbooks import ods, xlsx
from tests.test_fuzz import damaged, damaged_json

Harm = Callable[[bytes, random.Random], bytes]


def _try(
    tally: Tally, kind: str, file: Path, good: list[bytes], count: int, read: Callable[[Path], object],
    harm: Harm = damaged,
) -> None:  # fmt: skip
    rng = random.Random(21)
    for number in range(count):
        data = good[number] if number < len(good) else harm(rng.choice(good), rng)
        file.write_bytes(data)
        tally.reads(kind, lambda: read(file))


def _saved(kind: str, mode: str, **how: object) -> bytes:
    grey = np.random.default_rng(1).integers(0, 255, (90, 70), np.uint8)
    out = io.BytesIO()
    Image.fromarray(grey).convert(mode).save(out, kind, **how)
    return out.getvalue()


def _decoded(file: Path) -> None:
    count_scans(file)
    for scan in load_scans(file):
        assert scan.pixels.size


def pictures(folder: Path, tally: Tally, share: float) -> None:
    """Decode PNG, JPEG and TIFF of all modes, whole and damaged."""
    good = [_saved("PNG", mode) for mode in ("1", "L", "LA", "RGB", "RGBA", "P", "I;16")]
    good += [_saved("JPEG", mode) for mode in ("L", "RGB", "CMYK")]
    good += [_saved("TIFF", mode, compression="tiff_lzw") for mode in ("L", "RGB")]
    _try(tally, "pictures", folder / "x.png", good, max(1, int(60 * share)), _decoded)


def pdfs(folder: Path, tally: Tally, share: float) -> None:
    """Read PDFs that ask for gigabytes, a million pages, and damaged ones."""
    sheet = lay_out({"a": 2}, sheet_id="s", paper="A5")
    good = [sheet_pdf(sheet, title="x"), huge_page(), million_pages()]
    _try(tally, "PDFs", folder / "x.pdf", good, max(3, int(40 * share)), _decoded)


def fonts(folder: Path, tally: Tally, share: float) -> None:
    """Read SVG fonts and UFOs, damaged in one of their files."""
    font = hershey_font(variants=1)
    svg = svg_font(font).encode()
    good = [svg, svg.decode().replace("UTF-8", "utf-16").encode("utf-16")]
    _try(tally, "fonts", folder / "x.svg", good, max(1, int(30 * share)), load_svg_font)
    ufo = save_ufo(font, folder / "good.ufo")
    (ufo / "data" / "org.ownhand.letters.npz").unlink()
    files = sorted(p.relative_to(ufo) for p in ufo.rglob("*") if p.is_file())
    rng = random.Random(22)
    for _ in range(max(1, int(30 * share))):
        bad = folder / "bad.ufo"
        shutil.copytree(ufo, bad)
        file = bad / rng.choice(files)
        file.write_bytes(damaged(file.read_bytes(), rng))
        tally.reads("fonts", lambda bad=bad: load_ufo(bad))
        shutil.rmtree(bad)


def tables(folder: Path, tally: Tally, share: float) -> None:
    """Read tables in all code pages, layouts and machines, whole and damaged."""
    names = "name;town\nŁucja Ślusarz;Gdańsk\n„Grün“;x\n"
    good = [
        names.encode(code, "replace") for code in ("utf-8", "utf-8-sig", "utf-16", "cp1250", "cp1252", "mac_latin2")
    ]
    _try(tally, "tables and layouts", folder / "x.csv", good, max(1, int(40 * share)), read_table)
    books = [write(folder / "book").read_bytes() for write in (xlsx, ods)]
    _try(tally, "tables and layouts", folder / "x.xlsx", books, max(1, int(40 * share)), read_table)
    layout = {"paper": "A6", "boxes": [{"name": "a", "x_mm": 20, "y_mm": 20, "width_mm": 9, "height_mm": 9}]}
    _try(
        tally, "tables and layouts", folder / "x.json", [json.dumps(layout).encode()], max(1, int(40 * share)),
        lambda file: settings_of(file, {}), damaged_json,
    )  # fmt: skip
    machine = json.dumps({"name": "desk", "bed_mm": [300, 200], "pen_up": ["M3 S30"], "draw_mm_s": 40}).encode()
    _try(tally, "tables and layouts", folder / "m.json", [machine], max(1, int(20 * share)), load_machine, damaged_json)
