"""A page that somebody else printed: whatever its code says, nothing outside the hand is touched."""

from __future__ import annotations

import dataclasses
import json
import zlib

import numpy as np
import pytest
from PIL import Image

from capture import code
from capture.code import MAGIC, page_from_payload, page_payload
from capture.errors import InputError, OwnhandError, WrongSheetError
from capture.files import HELD
from capture.layout import LAYOUT, lay_out
from capture.sheet import Sheet
from capture.sheet_file import save_sheet, sheet_to_json
from ownhand import console
from ownhand.cli.main import main
from ownhand.hands.hand import HandRecord, create_hand, load_sheets
from ownhand.hands.storage import keep_sheets
from tests.bench.capture_pages import print_page, take
from tests.capture import simulated

SHEET = lay_out({"a": 2, "b": 2}, sheet_id="s1-abcdef")


def forged(**changes: object) -> bytes:
    return page_payload(dataclasses.replace(SHEET, **changes), SHEET.pages[0])


IDS = ["", ".", "..", "../../../x", "/tmp/x", "a/b", "a\\b", "\x1b[2J", "x" * 25, "é", "a\nb", "a b", "a\0"]


@pytest.mark.parametrize("sheet_id", IDS)
def test_a_code_whose_id_is_no_id_is_refused(sheet_id):
    with pytest.raises(WrongSheetError):
        page_from_payload(forged(id=sheet_id))


@pytest.mark.parametrize(
    "changes",
    [
        {"x_height_mm": 0.01},
        {"x_height_mm": 300.0},
        {"paper": "A4 "},
        {"paper": "899.9x899.9\n"},
        {"languages": ("\x1b]0;x\x07",)},
        {"languages": ("x" * 101,)},
        {"pages": SHEET.pages * 500},
    ],
)
def test_a_code_that_asks_for_more_than_a_sheet_has_is_refused(changes):
    with pytest.raises(WrongSheetError):
        page_from_payload(forged(**changes))


@pytest.mark.parametrize("runs", [[("\x1b", 1)], [("\ud800", 1)], [("a", 5000)], [("a" * 60, 1)], [("a", 0)]])
def test_a_code_with_impossible_cells_is_refused(runs, monkeypatch):
    body = bytearray()
    code._put_text(body, "s1")
    for number in (1, 1):
        code._put(body, number)
    code._put_text(body, "A4")
    code._put(body, 350)
    code._put_text(body, "en")
    code._put_runs(body, runs)
    packer = zlib.compressobj(level=9, wbits=-15)
    packed = packer.compress(bytes(body)) + packer.flush()

    with pytest.raises(WrongSheetError):
        page_from_payload(MAGIC + bytes([LAYOUT]) + zlib.crc32(body).to_bytes(4, "big") + packed)


@pytest.mark.parametrize("sheet_id", IDS)
def test_a_sheet_with_another_id_is_not_kept(tmp_path, sheet_id):
    hand = create_hand(tmp_path / "deep" / "hand", HandRecord("Keeper"))
    before = sorted(tmp_path.rglob("*"))
    sheet: Sheet = dataclasses.replace(SHEET, id=sheet_id)

    with pytest.raises(InputError):
        keep_sheets(hand, {sheet_id: sheet})

    assert sorted(tmp_path.rglob("*")) == before


def test_a_sheet_in_a_folder_of_another_name_is_refused(tmp_path):
    hand = create_hand(tmp_path / "hand", HandRecord("Keeper"))
    save_sheet(SHEET, hand.sheets_folder / "other" / "sheet.json")

    with pytest.raises(OwnhandError, match="expected 'other', the folder's name"):
        load_sheets(hand)


def test_a_sheet_file_with_a_forged_id_is_refused(tmp_path):
    hand = create_hand(tmp_path / "hand", HandRecord("Keeper"))
    (hand.sheets_folder / "s1").mkdir(parents=True)
    data = {**sheet_to_json(SHEET), "id": "../../x"}
    (hand.sheets_folder / "s1" / "sheet.json").write_text(json.dumps(data))

    with pytest.raises(OwnhandError, match="id: expected 1 to 24 letters"):
        load_sheets(hand)


def test_what_was_read_never_steers_the_terminal(capsys):
    console.put_table("Pages", ("page",), [["\x1b[31m[bold]x"]])
    console.put("\x1b[2J\x9b1m")
    console.say("\udce9 \x1b]0;title\x07")

    said = capsys.readouterr()
    assert not set(said.out + said.err) & set("\x1b\x07\x9b")
    assert "[bold]x" in said.out
    assert np.all([ord(c) < 0xD800 for c in said.err])


def page_that_says(payload: bytes, monkeypatch: pytest.MonkeyPatch) -> np.ndarray:
    """Return the picture of a page of ours, written in, whose two codes hold `payload`."""
    with monkeypatch.context() as patched:
        patched.setattr("capture.drawing.page_payload", lambda *_: payload)
        printed = print_page(simulated.sheet(), simulated.sheet().pages[0])
    return take(simulated.sheet().pages[0], printed, simulated.written(), simulated.PLAIN).scan.pixels


FORGED: dict[str, dict[str, object]] = {
    "an absolute path": {"id": "/tmp/victim"},
    "a path upwards": {"id": "../../victim"},
    "the folder above": {"id": ".."},
    "thousands of pages": {"pages": simulated.sheet().pages * 5000},
}


@pytest.mark.parametrize("changes", FORGED.values(), ids=FORGED)
def test_reading_a_page_with_a_forged_code_ends_in_one_line_and_touches_nothing(tmp_path, changes, monkeypatch, capsys):
    sheet = simulated.sheet()
    payload = page_payload(dataclasses.replace(sheet, **changes), sheet.pages[0])
    pixels = page_that_says(payload, monkeypatch)
    for folder in (tmp_path / "victim", tmp_path / "hands" / "victim"):
        (folder / "ink").mkdir(parents=True)
        (folder / "sheet.json").write_text("{}")
        (folder / "ink" / "01-01.01-x.png").write_bytes(b"x")
    scan = tmp_path / "page.png"
    Image.fromarray(pixels).save(scan, dpi=(200, 200))
    old, new = create_hand(tmp_path / "hands" / "old", HandRecord("Keeper")), tmp_path / "hands" / "new"
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}

    for command in (["read", str(new), str(scan)], ["read", str(old.path), str(scan), "--adopt"]):
        code = main(command)

        said = capsys.readouterr()
        assert code == 3
        assert said.err.startswith("ownhand: page.png: page code: ") and said.err.count("\n") == 1
        assert said.out == "" and "\x1b" not in said.err
        after = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file() and p.name != HELD}
        assert after == before
    assert not new.exists()


def test_a_page_of_which_one_code_is_pasted_over_is_read_by_the_other_or_refused(tmp_path, monkeypatch, capsys):
    sheet = simulated.sheet()
    good = page_that_says(page_payload(sheet, sheet.pages[0]), monkeypatch)
    forged_id = dataclasses.replace(sheet, id="s9-pasted")
    other = page_that_says(page_payload(forged_id, sheet.pages[0]), monkeypatch)
    half = len(good) // 2
    Image.fromarray(np.concatenate([good[:half], other[half:]])).save(tmp_path / "page.png", dpi=(200, 200))

    code = main(["read", str(tmp_path / "hand"), str(tmp_path / "page.png")])

    assert code == 3
    assert "its two codes contradict each other" in capsys.readouterr().err
    assert not (tmp_path / "hand").exists()
