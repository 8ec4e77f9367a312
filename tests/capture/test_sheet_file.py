"""`sheet.json`, written and read."""

from __future__ import annotations

import copy
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.errors import OutputError, SheetFileError
from capture.layout import lay_out
from capture.sheet_file import load_sheet, save_sheet, sheet_from_json, sheet_to_json

SHEET = lay_out({"a": 5, "é": 2, "I": 3}, sheet_id="lantern-1", languages=("fr",), ruled_text="Une carte du phare.")
DATA = json.loads(json.dumps(sheet_to_json(SHEET)))


def test_saving_and_loading_is_identity(tmp_path):
    save_sheet(SHEET, tmp_path / "sheet.json")

    assert load_sheet(tmp_path / "sheet.json") == SHEET


def test_the_file_has_the_documented_fields():
    cell = DATA["pages"][0]["cells"][0]

    assert DATA["format"] == 1
    assert {"id", "layout", "paper", "x_height_mm", "languages", "pages"} < DATA.keys()
    assert {"page", "size_mm", "cells", "marks", "code_mm", "bar_mm", "patch_mm", "ruled"} < DATA["pages"][0].keys()
    assert {
        "char",
        "attempt",
        "row",
        "column",
        "box_mm",
        "baseline_mm",
        "x_height_mm",
        "label",
        "tick_mm",
    } < cell.keys()
    # The baseline is a place on the page, the x-height a height over it.
    assert cell["box_mm"][1] < cell["baseline_mm"] < cell["box_mm"][1] + cell["box_mm"][3]
    assert cell["x_height_mm"] == 3.5


def spoil(path, value):
    data = copy.deepcopy(DATA)
    place = data
    for step in path[:-1]:
        place = place[step]
    if value is KeyError:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return data


@pytest.mark.parametrize(
    ("path", "value", "fault"),
    [
        (("pages", 0, "cells", 3, "box_mm"), [1, 2, 3], "pages[0].cells[3].box_mm: expected a list of 4"),
        (("pages", 0, "bar_mm"), [1, 2], "pages[0].bar_mm: expected a list of 3"),
        (("pages", 0, "size_mm"), [210], "pages[0].size_mm: expected a list of 2"),
        (("pages", 0, "size_mm"), [-1, 297], "pages[0].size_mm: expected more than 0"),
        (("pages", 0, "cells", 3, "box_mm", 1), "x", "pages[0].cells[3].box_mm[1]: expected a number"),
        (("pages", 0, "cells", 3, "baseline_mm"), True, "pages[0].cells[3].baseline_mm: expected a number"),
        (("pages", 0, "cells", 3, "baseline_mm"), float("nan"), "pages[0].cells[3].baseline_mm: expected a number"),
        (("pages", 0, "cells", 3, "baseline_mm"), 3.0, "pages[0].cells[3].baseline_mm: expected a place in the box"),
        (("pages", 0, "cells", 3), "q", "pages[0].cells[3]: expected a mapping"),
        (("pages", 0, "cells"), 7, "pages[0].cells: expected a list"),
        (("pages", 0, "cells", 1, "char"), KeyError, "pages[0].cells[1].char: is not given"),
        (("pages", 0, "cells", 1, "char"), "e\u0301", "pages[0].cells[1].char: expected one character, composed"),
        (("pages", 0, "cells", 1, "attempt"), 1.5, "pages[0].cells[1].attempt: expected a whole number"),
        (("pages", 0, "cells", 1, "row"), 0, "pages[0].cells[1].row: expected 1 to 999"),
        (("pages", 0, "cells", 1, "column"), 1, "pages[0].cells: expected each row and column once"),
        (("pages", 0, "cells", 1, "tick_mm"), [500, 5, 2, 2], "pages[0].cells[1].tick_mm: expected x, y, width and"),
        (("pages", 0, "cells", 1, "colour"), "red", "pages[0].cells[1].colour: no such key"),
        (("pages", 1, "page"), 1, "pages[1].page: expected a number from 1 to 400 that no other page has"),
        (("pages", 0, "marks", 2, "id"), 0, "pages[0].marks: expected each id once"),
        (("pages", 0, "marks", 2, "x_mm"), 999, "pages[0].marks[2]: expected a place on the page"),
        (("pages",), [], "pages: expected one at least"),
        (("id",), 3, "id: expected a text"),
        (("id",), "../s1", "id: expected 1 to 24 letters"),
        (("x_height_mm",), 0.01, "x_height_mm: expected 1.5 to 12"),
        (("pages", 0, "cells", 1, "char"), "\x1b", "pages[0].cells[1].char: expected one character"),
        (("pages", 0, "cells", 1, "baseline_mm"), 10**400, "pages[0].cells[1].baseline_mm: expected a number"),
        (("pages", 0, "cells", 1, "attempt"), 10**400, "pages[0].cells[1].attempt: expected a whole number"),
        (("format",), 2, "format: expected 1, found 2"),
        (("format",), KeyError, "format: expected 1"),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_the_path_to_it(path, value, fault):
    with pytest.raises(SheetFileError) as error:
        sheet_from_json(spoil(path, value))

    assert str(error.value).startswith(f"sheet.json: {fault}")


def test_all_faults_are_told_at_once():
    data = spoil(("pages", 0, "cells", 3, "box_mm"), [1, 2, 3])
    data["pages"][1]["ruled"][0]["text"] = None
    data["x_height_mm"] = "3.5"

    with pytest.raises(SheetFileError) as error:
        sheet_from_json(data)

    assert "x_height_mm: expected a number, found '3.5'; pages[0].cells[3].box_mm" in str(error.value)
    assert "pages[1].ruled[0].text: expected a text" in str(error.value)


@pytest.mark.parametrize("raw", [b"", b"{", b"\xff\xfe", b"[1]", b"null", b"[" * 100_000, b'{"format": 1}'])
def test_a_file_that_is_no_sheet_is_refused(tmp_path, raw):
    (tmp_path / "sheet.json").write_bytes(raw)

    with pytest.raises(SheetFileError, match=r"sheet\.json: "):
        load_sheet(tmp_path / "sheet.json")


def test_a_file_that_is_not_there_is_an_error_in_one_line(tmp_path):
    with pytest.raises(SheetFileError, match="cannot be read"):
        load_sheet(tmp_path / "sheet.json")


def test_a_place_that_cannot_be_written_to_is_an_error_in_one_line(tmp_path):
    (tmp_path / "file").write_text("in the way")

    with pytest.raises(OutputError):
        save_sheet(SHEET, tmp_path / "file" / "sheet.json")


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@given(st.data(), json_values)
def test_any_value_in_any_place_is_taken_or_refused_in_one_line(data, value):
    spoiled = copy.deepcopy(DATA)
    place = spoiled
    while True:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        key = data.draw(st.sampled_from(keys))
        if not isinstance(place[key], dict | list) or not place[key] or data.draw(st.booleans()):
            break
        place = place[key]
    place[key] = value

    try:
        sheet_from_json(spoiled)
    except SheetFileError as error:
        assert "\n" not in str(error)
