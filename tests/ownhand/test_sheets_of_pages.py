"""Pages of another sheet among those that begin a hand, and pages of a sheet that were not read yet."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from PIL import Image

from capture.read import PageReading
from ownhand.cli.main import main
from ownhand.commands import read as reading
from ownhand.commands.sheets_of_pages import of_one_sheet, pages_to_come
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import open_hand
from tests.capture.simulated import plain_picture, plain_reading, sheet
from tests.ownhand.stand_in import write_hand


@pytest.fixture
def page() -> PageReading:
    return plain_reading()


@pytest.fixture
def scans(tmp_path: Path) -> list[Path]:
    files = [tmp_path / name for name in ("mine.png", "hers.png")]
    for file in files:
        Image.fromarray(plain_picture().scan.pixels).save(file, dpi=(200, 200))
    return files


@pytest.mark.parametrize(("more", "code", "taken"), [([], 5, {"test-1"}), (["--adopt"], 5, {"test-1", "hers-1"})])
def test_a_second_sheet_among_the_pages_that_begin_a_hand_is_asked_about(
    more, code, taken, page, scans, tmp_path, monkeypatch, capsys
):
    hers = dataclasses.replace(page, sheet=dataclasses.replace(page.sheet, id="hers-1"))
    monkeypatch.setattr(reading, "_trace_all", lambda *_: {})
    monkeypatch.setattr(reading, "read_pages", lambda *_: (list(zip((page, hers), scans, strict=True)), []))
    hand = tmp_path / "hand"

    assert main(["read", str(hand), *map(str, scans), "--jobs", "1", *more]) == code

    said = capsys.readouterr().err
    asked = "hers.png: page 1 of sheet 'hers-1' does not belong to this hand."
    assert (asked in said) == (not more)
    assert {c.sheet for c in load_captures(open_hand(hand))} == taken


def test_the_hand_is_begun_with_the_sheet_that_most_pages_are_of(page):
    hers = dataclasses.replace(page, sheet=dataclasses.replace(page.sheet, id="hers-1"))
    read = [(hers, Path("1.png")), (page, Path("2.png")), (page, Path("3.png"))]

    own, others = of_one_sheet(read)

    assert [scan.name for _, scan in own] == ["2.png", "3.png"]
    assert [scan.name for scan, _ in others] == ["1.png"]
    assert of_one_sheet(read[:2])[0] == read[:1]


def test_the_code_tells_how_many_pages_the_sheet_has(page):
    assert page.sheet_pages == len(sheet().pages)


def test_pages_that_were_not_read_yet_are_named(page, tmp_path):
    hand = write_hand(tmp_path / "hand", "an", attempts=2, faults=False)
    (there,) = load_captures(hand)
    own = dataclasses.replace(page, sheet=dataclasses.replace(page.sheet, id=there.sheet))

    assert pages_to_come(hand, [dataclasses.replace(own, sheet_pages=1)]) == []
    assert pages_to_come(hand, [dataclasses.replace(own, sheet_pages=2)]) == [
        f"Sheet '{there.sheet}' has 2 pages; page 2 is not read yet."
    ]
    assert pages_to_come(hand, [dataclasses.replace(own, sheet_pages=4)]) == [
        f"Sheet '{there.sheet}' has 4 pages; pages 2, 3, 4 are not read yet."
    ]
