"""Letters filled one cell off are noticed, asked about, and taken for what they are; nothing is renamed unasked."""

from __future__ import annotations

import contextlib
import dataclasses
import io
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from capture.layout import lay_out
from capture.read import PageReading, read_page
from capture.sheet import Cell, Sheet
from capture.sheet_file import save_sheet
from fontbuild.build import build_font
from fontbuild.font import Record
from ownhand.cli.main import main
from ownhand.hands.captures import load_captures
from ownhand.hands.decisions import apply_decisions, building_rules
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import HandRecord, create_hand, open_hand
from ownhand.hands.one_off import find_run, suggested
from ownhand.review.session.review_session import ReviewSession
from ownhand.review.web.views import one_off_view
from ownhand.validation import Place
from tests.bench.capture_pages import Written, print_page, take, write_cells
from tests.capture.simulated import PLAIN, picture, plain_picture, sheet, written

CHARS = "aegiknstxydhbrmwuvz"


@pytest.fixture(scope="module")
def printed() -> Sheet:
    return lay_out([(c, 2) for c in CHARS], sheet_id="off-1", paper="A5", languages=("en",))


def place_of(cell: Cell) -> tuple[int, int]:
    return cell.row, cell.column


def shifted(page_cells: tuple[Cell, ...], letters: list[Written], from_row: int) -> list[Written]:
    """Return the letters from a row on written into the next cell each, the first of these left blank."""
    start = next(i for i, c in enumerate(page_cells) if c.row == from_row)
    out = list(letters[:start])
    for i in range(start, len(page_cells)):
        cell = page_cells[i]
        if i == start:
            out.append(Written(cell, []))
            continue
        mine, before = page_cells[i], page_cells[i - 1]
        move = np.array([
            mine.box_mm[0] + mine.box_mm[2] / 2 - before.box_mm[0] - before.box_mm[2] / 2,
            mine.baseline_mm - before.baseline_mm,
        ])  # fmt: skip
        out.append(Written(cell, [s + move for s in letters[i - 1].strokes]))
    return out


@pytest.fixture(scope="module")
def scans(printed: Sheet, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One page filled as it should be, and one whose letters stand one cell to the right from row 3 on."""
    folder = tmp_path_factory.mktemp("scans")
    page = printed.pages[0]
    letters = write_cells(page, seed=3, blank=0.0, ticked=0.0)
    paper = print_page(printed, page)
    out = {}
    for name, cells in (("right", letters), ("off", shifted(page.cells, letters, 3))):
        out[name] = folder / f"{name}.png"
        Image.fromarray(take(page, paper, cells, PLAIN).scan.pixels).save(out[name], dpi=(PLAIN.dpi, PLAIN.dpi))
    return out


def begun(path: Path, printed: Sheet) -> Path:
    hand = create_hand(path, HandRecord("Lamp Room"))
    save_sheet(printed, hand.sheets_folder / printed.id / "sheet.json")
    return path


@pytest.fixture(scope="module")
def told_once(printed: Sheet, scans: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A hand into which the page that is off was read, and what was said."""
    path = begun(tmp_path_factory.mktemp("read") / "hand", printed)
    with contextlib.redirect_stderr(io.StringIO()) as said:
        assert main(["read", str(path), str(scans["off"])]) == 0
    return path, " ".join(said.getvalue().split())


@pytest.fixture(scope="module")
def once_read(told_once: tuple[Path, str]) -> Path:
    """The hand into which the page that is off was read; to be copied, not to be changed."""
    return told_once[0]


def true_label(cells: tuple[Cell, ...], place: tuple[int, int]) -> str:
    """Return what stands in a cell of the page that is off."""
    at = next(i for i, c in enumerate(cells) if place_of(c) == place)
    return cells[at - 1 if cells[at].row >= 3 else at].char


def test_a_page_filled_one_cell_off_is_asked_about_and_its_letters_stay_out(
    printed: Sheet, scans: dict[str, Path], told_once: tuple[Path, str]
) -> None:
    hand, said = told_once
    assert "off-1 page 1: filled one cell to the right from row 3 on?" in said
    assert f"ownhand read {hand} {scans['off']} --one-off" in said
    (capture,) = load_captures(open_hand(hand))
    cells = printed.pages[0].cells
    wrong = {a.id for a in capture.attempts if a.status == "written" and a.char != true_label(cells, at(a.id))}
    marked = {a.id: suggested(a)[0] for a in capture.attempts if suggested(a)}
    assert set(marked) == wrong
    assert all(char == true_label(cells, at(id_)) for id_, char in marked.items())
    aside = {s.id: s.reason for s in build_font(capture.attempts, Record("Lamp Room")).set_aside}
    assert all(aside[id_] == "perhaps filled one cell off" for id_ in wrong)


def at(id_: str) -> tuple[int, int]:
    row, column = id_.rsplit("/", 1)[-1].split(".")
    return int(row), int(column)


def test_the_correction_is_taken_survives_and_can_be_undone(
    printed: Sheet, scans: dict[str, Path], once_read: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = shutil.copytree(once_read, tmp_path / "hand")
    cells = printed.pages[0].cells
    capsys.readouterr()

    assert main(["read", str(path), str(scans["off"]), "--one-off"]) == 0
    main(["read", str(path), str(scans["off"])])
    told = capsys.readouterr().err
    hand = open_hand(path)
    decisions = load_decisions(hand.decisions_file)
    attempts = apply_decisions([a for c in load_captures(hand) for a in c.attempts], decisions)
    letters = [a for a in attempts if a.status == "written"]

    assert all(a.char == true_label(cells, at(a.id)) for a in letters)
    assert not any(suggested(a) for a in letters)
    assert "filled one cell to the right from row 3 on?" not in told
    assert not any(
        "off" in s.reason for s in build_font(attempts, Record("L"), decisions=building_rules(decisions)).set_aside
    )
    book = ReviewSession(hand)
    book.undo(book.decisions.version)
    assert not load_decisions(hand.decisions_file).attempts["off-1/1/4.1"].char


def test_a_page_filled_as_it_should_be_is_asked_nothing(
    printed: Sheet, scans: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    hand = begun(tmp_path / "hand", printed)

    main(["read", str(hand), str(scans["right"]), "--one-off"])
    said = capsys.readouterr().err

    assert "filled one cell" not in said
    assert "no run of cells was found" in said


def test_the_review_asks_and_takes_either_answer(once_read: Path, tmp_path: Path) -> None:
    path = shutil.copytree(once_read, tmp_path / "hand")
    book = ReviewSession(open_hand(path))
    (run,) = one_off_view(book)

    assert run["where"] == "Sheet off-1, page 1"
    assert run["words"] == "to the right from row 3 on"
    letters = run["letters"]
    mends = [{**letters[0], "do": "relabel"}, {"attempt": letters[1]["attempt"], "do": "keep"}]
    book.take(0, Place(mends, "mends", []))
    assert book.char(letters[0]["attempt"]) == letters[0]["char"]
    assert one_off_view(book)[0]["letters"] == letters[2:]


def test_a_row_down_is_told_from_a_cell_to_the_right() -> None:
    cells = lay_out([(c, 2) for c in CHARS], sheet_id="s", paper="A5").pages[0].cells
    labels = {place_of(c): c.char for c in cells}
    rows = {row: [c for c in cells if c.row == row] for row in {c.row for c in cells}}
    costs = {}
    for c in cells:
        true = c.char
        if c.row > 2 and c.column <= len(rows[c.row - 1]):
            true = rows[c.row - 1][c.column - 1].char
        costs[place_of(c)] = {char: 1.0 if char == true else 6.0 for char in CHARS}

    run = find_run(cells, labels, costs)

    assert run is not None
    assert run.words == "a row down from row 3 on"
    assert find_run(cells, labels, {p: {c: 1.0 if c == labels[p] else 6.0 for c in CHARS} for p in labels}) is None


# --- glare -----------------------------------------------------------------------------------------------------------


def read(pixels: np.ndarray) -> PageReading:
    shot = plain_picture()
    return read_page(dataclasses.replace(shot.scan, pixels=pixels), lambda _: sheet())


def test_a_cell_under_glare_is_named_as_glare_and_a_blank_one_is_not() -> None:
    pixels = plain_picture().scan.pixels.copy()
    cell = next(w.cell for w in written() if w.strokes and not w.ticked)
    x, y, w, h = cell.box_mm
    middle = (np.array([x + w / 2, y + h / 2]) + 6.0) * PLAIN.dpi / 25.4  # the picture shows 6 mm around the page
    yy, xx = np.mgrid[: pixels.shape[0], : pixels.shape[1]]
    far = np.hypot(xx - middle[0], yy - middle[1]) / (PLAIN.dpi / 25.4)
    light = 160 / (1 + np.exp((far - 0.75 * max(w, h)) / 0.8))
    glared = np.clip(pixels + light[..., None], 0, 255).astype(np.uint8)

    found = {c.cell: [f.kind for f in c.findings] for c in read(glared).cells}

    assert found[cell] == ["burnt out by glare"]
    blank = [w.cell for w in written() if not w.strokes and not w.ticked]
    assert not any("burnt out by glare" in found[c] for c in blank if abs(c.row - cell.row) > 1)


@pytest.mark.parametrize("how", ["plain", "two tones", "bright"])
def test_paper_that_is_only_white_is_no_glare(how: str) -> None:
    scan = (picture(PLAIN.but(dpi=300, bilevel=True)) if how == "two tones" else plain_picture()).scan
    if how == "bright":
        scan = dataclasses.replace(scan, pixels=cv2.convertScaleAbs(scan.pixels, alpha=1.08))

    cells = read_page(scan, lambda _: sheet()).cells

    assert not any(f.kind == "burnt out by glare" for c in cells for f in c.findings)


def test_what_glare_took_is_told_apart_from_what_is_blank(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from ownhand.commands import read as reading

    monkeypatch.setattr(reading, "_trace_all", lambda *_: {})
    pixels = plain_picture().scan.pixels.copy()
    cell = next(w.cell for w in written() if w.strokes and not w.ticked)
    x, y, w, h = ((v + o) * PLAIN.dpi / 25.4 for v, o in zip(cell.box_mm, (6, 6, 0, 0), strict=True))
    pixels[int(y) : int(y + h), int(x) : int(x + w)] = 255
    Image.fromarray(pixels).save(tmp_path / "lamp.png", dpi=(PLAIN.dpi, PLAIN.dpi))

    main(["read", str(tmp_path / "hand"), str(tmp_path / "lamp.png")])
    said = " ".join(capsys.readouterr().err.split())

    assert f"1 cell(s) burnt out by glare, by row.column: {cell.char} ({cell.row}.{cell.column})" in said
    assert f"{cell.char} ({cell.row}.{cell.column})" not in said.partition("taken as blank")[2]
