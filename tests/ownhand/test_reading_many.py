"""Many scans at once: one bad file costs itself, and what is another person's is asked about."""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import capture.page
from capture.code import page_payload
from capture.errors import WrongSheetError
from capture.read import read_page
from capture.sheet import Sheet
from ownhand.cli.main import main
from ownhand.commands import reading_pool
from ownhand.commands.read import SheetFinder
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import open_hand
from ownhand.hands.same_writer import unlike
from tests.capture.simulated import picture, plain_picture, sheet, written
from tests.ownhand.test_hand import an_attempt


@pytest.fixture(scope="module")
def scan(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("scan") / "page.png"
    Image.fromarray(plain_picture().scan.pixels).save(path, dpi=(200, 200))
    return path


def test_a_bad_file_costs_itself_whatever_is_wrong_with_it(tmp_path, scan, capsys, monkeypatch):
    latin = Path(os.fsdecode(os.fsencode(tmp_path) + b"/pag\xe9.png"))
    long = tmp_path / ("n" * 240 + ".png")
    for file in (latin, long):
        file.write_bytes(scan.read_bytes())
    os.mkfifo(tmp_path / "pipe.png")
    killer = tmp_path / "killer.png"
    killer.write_bytes(scan.read_bytes())
    (tmp_path / "empty.png").touch()
    load = reading_pool.load_scans

    def deadly(path, **how):
        if path.name == "killer.png":
            os._exit(9)  # as the system does where memory is short
        return load(path, **how)

    monkeypatch.setattr(reading_pool, "load_scans", deadly)
    files = [tmp_path / "gone.png", killer, tmp_path / "pipe.png", tmp_path / "empty.png", tmp_path, latin, long]

    code = main(["read", str(tmp_path / "hand"), *map(str, files), "--jobs", "2"])

    said = capsys.readouterr()
    assert code == 5
    for name, why in (("gone.png", "cannot be opened"), ("killer.png", "was ended"), ("pipe.png", "is a pipe"),
                      ("empty.png", "is empty")):  # fmt: skip
        assert any(name in line and why in line for line in said.err.splitlines()), (name, said.err)
    assert "Traceback" not in said.err
    assert sum(a.status == "written" for c in load_captures(open_hand(tmp_path / "hand")) for a in c.attempts) > 10
    assert len(list((tmp_path / "hand" / "scans").iterdir())) == 2


def two_codes(monkeypatch, *sheets: Sheet) -> None:
    payloads = [page_payload(s, s.pages[0]) for s in sheets]
    monkeypatch.setattr(capture.page, "read_codes", lambda grey, around: iter([payloads]))


def test_two_sheets_over_each_other_are_told_by_their_codes(monkeypatch):
    two_codes(monkeypatch, sheet(), dataclasses.replace(sheet(), id="other"))

    with pytest.raises(WrongSheetError, match="its two codes contradict each other"):
        read_page(plain_picture().scan, lambda coded: sheet())


def test_a_page_with_its_code_twice_is_read(monkeypatch):
    two_codes(monkeypatch, sheet(), sheet())

    assert read_page(plain_picture().scan, lambda coded: sheet()).cells


@pytest.mark.parametrize("name", ["baseline_mm", "ascender_mm", "label"])
def test_a_sheet_file_edited_by_hand_is_told(name):
    page = sheet().pages[0]
    cell = page.cells[0]
    changed = {"baseline_mm": cell.baseline_mm + 1, "ascender_mm": cell.ascender_mm + 1, "label": "z"}[name]
    cells = (dataclasses.replace(cell, **{name: changed}), *page.cells[1:])
    edited = dataclasses.replace(sheet(), pages=(dataclasses.replace(page, cells=cells),))

    with pytest.raises(WrongSheetError, match="on paper than in its sheet"):
        read_page(plain_picture().scan, lambda coded: edited)


def attempts(pen_mm: float = 0.7, by: float = 0.0):
    return [
        an_attempt(
            id=f"s1/1/1.{n}", pen_mm=pen_mm,
            strokes=tuple(dataclasses.replace(s, points_mm=s.points_mm + by) for s in an_attempt().strokes),
        )
        for n in range(10)
    ]  # fmt: skip


def test_another_pen_or_other_writing_on_a_page_is_told():
    assert unlike(attempts(), attempts(pen_mm=0.75, by=0.05)) == ""
    assert "a pen of 0.70 mm, and this one is 1.02 mm broad" in unlike(attempts(), attempts(pen_mm=1.02))
    assert "10 of 10 cells hold other writing" in unlike(attempts(), attempts(by=1.5))
    assert unlike(attempts()[:3], attempts(pen_mm=2.0)) == ""  # too few to tell


def test_another_persons_copy_is_asked_about_and_nothing_is_mixed(tmp_path, scan, capsys):
    other = [dataclasses.replace(w, strokes=[s + np.array([2.0, 1.5]) for s in w.strokes]) for w in written()]
    copy = tmp_path / "copy.png"
    Image.fromarray(picture(cells=other).scan.pixels).save(copy, dpi=(200, 200))
    hand = tmp_path / "hand"
    assert main(["read", str(hand), str(scan)]) == 0
    before = (hand / "captures").rglob("*.json").__next__().read_bytes()

    code = main(["read", str(hand), str(copy)])

    assert code == 3
    assert "is this another person's copy of the sheet?" in capsys.readouterr().err
    assert (hand / "captures").rglob("*.json").__next__().read_bytes() == before
    assert main(["read", str(hand), str(copy), "--same-writer"]) == 0


@pytest.mark.parametrize(("jobs", "at_once"), [(1, 9), (2, 1), (2, 2), (64, 64)])
def test_processes_side_by_side_use_no_more_threads_together_than_there_are_cores(jobs, at_once):
    """Two pages read by two processes with two threads each took a tenth longer than with one thread each."""
    with reading_pool.worker_pool(jobs, at_once=at_once) as pool:
        threads = pool.submit(cv2.getNumThreads).result()
    assert threads == max(1, (os.cpu_count() or 1) // min(jobs, at_once))


def test_what_is_done_meanwhile_is_done_once_while_pages_are_read(tmp_path):
    """The tracer is loaded while other processes read: before the first page is told."""
    told = []
    pages = [tmp_path / f"{n}.png" for n in range(5)]
    for page in pages:
        Image.fromarray(np.full((60, 80), 255, np.uint8)).save(page)
    _, refused = reading_pool.read_pages(
        pages,
        SheetFinder({}, adopt=True),
        1,
        lambda *_: None,
        lambda page: told.append("page"),
        lambda: told.append("meanwhile"),
    )
    assert told == ["meanwhile", *["page"] * 5]
    assert len(refused) == 5
