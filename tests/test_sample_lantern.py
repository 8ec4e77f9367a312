"""The sample that is shipped: complete, hard, and true to its own record."""

import csv
import gzip
import json
import string
from collections import Counter
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import sample_sheets
from capture.languages import characters_for, characters_in
from capture.sheet_file import load_sheet
from sample_sheets.filling import fill
from sample_sheets.make import FOLDER, LANGUAGES, SEED
from sample_sheets.scanning import PRINT_DPI, printed
from sample_sheets.truth import read_truth, write_truth
from sample_sheets.writer import KEEPER, ink_page
from sample_sheets.writer.letterforms import knows
from sample_sheets.writer.machines import Flatbed, photographed, scanned


@pytest.fixture(scope="module")
def sheet():
    return load_sheet(FOLDER / "sheet" / "sheet.json")


@pytest.fixture(scope="module")
def truth():
    return read_truth(FOLDER / "truth.json.gz")


def test_the_whole_sample_stays_under_fifteen_megabytes():
    folder = Path(sample_sheets.__file__).parent

    assert sum(p.stat().st_size for p in folder.rglob("*") if "__pycache__" not in p.parts) < 15e6


def test_every_cell_of_the_sheet_has_its_truth_and_no_other_has(sheet, truth):
    places = {(p.page, c.row, c.column): (c.char, c.attempt) for p in sheet.pages for c in p.cells}

    assert {place: (t.char, t.attempt) for place, t in truth.items()} == places


def test_five_languages_are_complete(truth):
    written_ones = {t.char for t in truth.values() if t.status == "written"}

    assert set(characters_for(LANGUAGES)) <= written_ones
    assert all(knows(c) for c in characters_for(LANGUAGES))


def test_some_cells_are_blank_some_ticked_some_struck_through_and_ticked(truth):
    kinds = Counter(t.status for t in truth.values())
    accidents = Counter(t.accident for t in truth.values())

    assert kinds["blank"] >= 2 and kinds["spoiled"] >= 4
    assert accidents["struck"] >= 1
    assert accidents["outside"] and accidents["heavy"] and accidents["dry"] and accidents["shaky"]
    assert kinds["written"] > 0.9 * sum(kinds.values())


def test_a_cell_left_blank_has_no_strokes_and_every_other_has(truth):
    assert all((t.status == "blank") == (not t.strokes) for t in truth.values())


def test_strokes_lie_about_their_cells(sheet, truth):
    boxes = {(p.page, c.row, c.column): c.box_mm for p in sheet.pages for c in p.cells}
    outside = 0
    for place, t in truth.items():
        x, y, w, h = boxes[place]
        for s in t.strokes:
            assert (np.abs(s - [x + w / 2, y + h / 2]) < [1.3 * w, h]).all()
            outside += bool(((s < [x, y]) | (s > [x + w, y + h])).any())

    assert 0 < outside < 0.05 * len(truth)


def test_several_letters_are_written_in_more_than_one_form(truth):
    forms = {}
    for t in truth.values():
        forms.setdefault(t.char, set()).add(t.form)

    assert sum(len(f - {""}) > 1 for c, f in forms.items() if c in string.ascii_lowercase) >= 8


def test_scans_are_colour_pictures_of_whole_pages_at_300_dpi(sheet):
    for page in sheet.pages:
        with Image.open(FOLDER / "scans" / f"page-{page.page}.jpg") as picture:
            assert picture.mode == "RGB"
            assert picture.info["dpi"] == (300, 300)
            # ISO 216: A4 is 210 x 297 mm.
            assert picture.width >= 210 / 25.4 * 300 and picture.height >= 297 / 25.4 * 300 - 1


def test_the_same_seed_fills_the_sheet_with_the_same_strokes(sheet, tmp_path):
    cells, letters, _ = fill(sheet, np.random.default_rng([SEED, 0]))
    write_truth(tmp_path / "truth.json.gz", sheet, KEEPER.pen_mm, cells, letters)
    shipped = json.loads(gzip.decompress((FOLDER / "truth.json.gz").read_bytes()))
    again = json.loads(gzip.decompress((tmp_path / "truth.json.gz").read_bytes()))

    assert again.keys() == shipped.keys()
    for now, then in zip(again["cells"], shipped["cells"], strict=True):
        assert (now["char"], now["form"], now["status"]) == (then["char"], then["form"], then["status"])
        for s, t in zip(now["strokes"], then["strokes"], strict=True):
            # Another machine's sine may differ in its last digit, and with it which points are kept.
            assert np.allclose([s[0], s[-1]], [t[0], t[-1]], atol=0.01)


def test_the_copied_lines_say_what_was_to_be_copied(sheet):
    data = json.loads(gzip.decompress((FOLDER / "truth.json.gz").read_bytes()))
    asked = "".join("".join(line.text.split()) for page in sheet.pages for line in page.ruled)

    assert asked and "".join(letter["char"] for letter in data["lines"]) == asked


def test_the_ink_lies_where_the_truth_says(sheet, truth):
    page = sheet.pages[0].page
    cells, _, _ = fill(sheet, np.random.default_rng([SEED, 0]))
    traces = [t for f in cells if f.page == page for t in f.traces][:60]
    k = 300 / 25.4
    white = np.full((round(297 * k), round(210 * k), 3), 255, np.uint8)
    inked = ink_page(white, traces, k, np.random.default_rng(0))
    along = np.vstack([t.points_mm[t.darkness > 0.6] for t in traces]) * k - 0.5
    on = inked[tuple(np.rint(along[:, ::-1]).astype(int).T)][:, 0]

    assert (on < 140).mean() > 0.97
    assert (inked[:, :, 0] < 140).sum() / k**2 == pytest.approx(
        sum(float(t.widths_mm.mean()) * 0.05 * len(t.points_mm) for t in traces), rel=0.25
    )


def test_a_flatbed_without_faults_gives_the_page_back():
    rng = np.random.default_rng(1)
    k = 600 / 25.4
    page = np.full((round(60 * k), round(40 * k), 3), 240, np.uint8)
    cv2.circle(page, (round(12 * k), round(20 * k)), round(2 * k), (0, 0, 0), -1)
    machine = Flatbed(bed_mm=(40, 60), skew_deg=0, shift_mm=(0, 0), stretch=0, jerk_mm=0, blur_px=0.3, noise=0, shade=0)
    ys, xs = np.nonzero(scanned(page, k, machine, rng)[:, :, 0] < 120)
    middle = (np.array([xs.mean(), ys.mean()]) + 0.5) / (300 / 25.4)

    assert middle == pytest.approx([12, 20], abs=0.03)


def test_a_scan_upside_down_is_the_scan_turned_by_half():
    k = 600 / 25.4
    page = np.full((round(50 * k), round(30 * k), 3), 240, np.uint8)
    page[:200, :200] = 0
    turned, straight = (
        scanned(page, k, Flatbed(bed_mm=(30, 50), upside_down=u), np.random.default_rng(2)) for u in (True, False)
    )

    assert np.array_equal(turned[::-1, ::-1], straight)


def test_a_photo_shows_the_whole_page_on_the_table():
    k = 200 / 25.4
    page = np.full((round(297 * k), round(210 * k), 3), 245, np.uint8)
    page[:40, :40] = page[:40, -40:] = page[-40:, :40] = page[-40:, -40:] = (200, 0, 0)
    photo = photographed(page, k, np.random.default_rng(3), size_px=(640, 853)).astype(int)
    red = (photo[:, :, 0] - photo[:, :, 2] > 70) & (photo[:, :, 1] < 40)

    assert cv2.connectedComponents(red.astype(np.uint8))[0] - 1 >= 4


def test_every_guest_has_what_the_card_asks_for_in_characters_of_the_sheet(sheet):
    card = (FOLDER / "card.txt").read_text(encoding="utf-8")
    fields = {name for _, name, _, _ in string.Formatter().parse(card) if name}
    with (FOLDER / "guests.csv").open(encoding="utf-8", newline="") as f:
        guests = list(csv.DictReader(f))

    asked = {cell.char for page in sheet.pages for cell in page.cells}

    assert len(guests) >= 10
    assert {g["language"] for g in guests} == set(LANGUAGES)
    for guest in guests:
        assert all(guest[field] for field in fields)
        assert set(characters_in(card.format(**guest))) | set(characters_in(" ".join(guest.values()))) <= asked


def test_the_sheet_is_printed_at_its_true_size(sheet):
    page = printed(FOLDER / "sheet" / "sheet.pdf", 1)
    k = PRINT_DPI / 25.4
    x, y, length = (round(v * k) for v in sheet.pages[0].bar_mm)
    dark = np.nonzero(page[y, : x + 2 * length].mean(axis=1) < 160)[0]

    # ISO 216: A4 is 210 x 297 mm.
    assert page.shape[1] / k == pytest.approx(210, abs=0.1) and page.shape[0] / k == pytest.approx(297, abs=0.1)
    assert (dark[dark < x + length + 2 * k].max() - dark[dark > x - 2 * k].min()) / k == pytest.approx(100, abs=0.15)
