"""Tables as spreadsheet programs write them.

Those in `tables/` were written by LibreOffice Calc 7.4 (Debian 12), one workbook saved as .xlsx, .ods and CSV with
semicolons: dates, numbers with formats, formulas, a line break in a cell, an empty row, a hidden one, merged cells, an
error, a hidden sheet and hundreds of rows that are formatted and empty. pandas' .xlsx (PyPI) is made here.
"""

from __future__ import annotations

from pathlib import Path

import pandas
import pytest
from PIL import Image

from capture.errors import TableError
from ownhand.composer.merge.table import Table, read_table

TABLES = Path(__file__).parent / "tables"
NAMES = ["Łucja Ślusarz", "Wim; the elder", "Ada", "Hal", "Max", "Mia", "Nil"]


def column(table: Table, name: str) -> list[str]:
    return [row.values[name] for row in table.rows]


@pytest.mark.parametrize("kind", ["xlsx", "ods"])
def test_a_workbook_of_a_spreadsheet_program_is_read_as_it_shows_it(kind: str) -> None:
    table = read_table(TABLES / f"guests.{kind}")

    assert column(table, "name") == NAMES
    assert list(table.rows[0].values.values())[1:] == [
        "01067", "01.05.2026", "09:05", "1,234.50 EUR", "12.5%", "with love,\nOrla", "ŁUCJA ŚLUSARZ", "Rixburg",
    ]  # fmt: skip
    assert dict(table.rows[1].plain) == {"postcode": "99", "day": "2026-12-24", "sum": "-5", "share": "0.5"}
    # a formula that came to an empty text
    assert table.rows[2].values["shout"] == "" and not table.rows[2].unread
    assert "holds the error #DIV/0!" in table.rows[6].unread["note"]


@pytest.mark.parametrize("kind", ["xlsx", "ods"])
def test_what_a_workbook_hides_leaves_empty_or_merges_is_said_once(kind: str) -> None:
    assert read_table(TABLES / f"guests.{kind}").read_as("name") == (
        "read sheet 'Guests': Łucja Ślusarz, Wim; the elder, Ada; other sheets are Staff, Last year; "
        "empty rows are left out: 4; hidden rows are read like others: 6; "
        "merged cells hold their text in their first row alone, they are empty in row 8"
    )


def test_csv_of_a_spreadsheet_program_is_read_and_its_empty_line_said() -> None:
    table = read_table(TABLES / "guests.csv")

    assert column(table, "name") == NAMES
    assert list(table.rows[0].values.values())[1:] == [
        "1067", "05/01/2026", "09:05:00 AM", "1234.5", "12.5%", "with love,\nOrla", "ŁUCJA ŚLUSARZ", "Rixburg",
    ]  # fmt: skip
    assert table.rows[1].values["note"] == 'says "hi", and'
    assert table.read_as("name").endswith("; empty lines are left out: 5")


@pytest.mark.parametrize("end", ["", "\n\n", "\n,\n,\n"])
def test_empty_lines_between_rows_are_said_and_those_at_the_end_are_none(tmp_path: Path, end: str) -> None:
    file = tmp_path / "guests.csv"
    file.write_text(f"\ufeff\n\nname,town\nOrla,Rixburg\n,\n\nWim,Gouwe\n , \nAda,Ebb{end}")

    assert read_table(file).remarks == ("empty lines are left out: 5-6, 8",)
    file.write_text(f"name,town\nOrla,Rixburg{end}")
    assert read_table(file).remarks == ()


def test_the_command_says_which_rows_it_left_out(tmp_path: Path, capfd) -> None:
    from fontbuild.formats.ufo import save_ufo
    from ownhand.cli.main import main
    from tests.ownhand.hershey_font import hershey_font

    save_ufo(hershey_font(variants=1), tmp_path / "h.ufo")
    (tmp_path / "card.txt").write_text("Dear {name}")
    (tmp_path / "guests.csv").write_text("name\nOrla\n\nWim\n")
    command = ["write", str(tmp_path / "h.ufo"), "--table", str(tmp_path / "guests.csv")]

    assert main([*command, "--template", str(tmp_path / "card.txt"), "-o", str(tmp_path / "out")]) == 0
    assert capfd.readouterr().err.count("empty lines are left out: 3") == 1


def test_a_workbook_of_a_data_library_is_read_by_its_first_row(tmp_path: Path) -> None:
    frame = pandas.DataFrame(
        {"Name": ["Orla", "Wim"], "Day": pandas.to_datetime(["2026-05-01", "2026-12-24"]), "Seat": [4.0, None]}
    )
    frame.to_excel(tmp_path / "guests.xlsx", sheet_name="Guests")

    table = read_table(tmp_path / "guests.xlsx")
    assert column(table, "name") == ["Orla", "Wim"]
    assert column(table, "day") == ["2026-05-01 00:00:00", "2026-12-24 00:00:00"]
    assert column(table, "seat") == ["4", ""]


@pytest.mark.parametrize(
    "text", ['<?xml version="1.0"?>\n<office:document>\n', "\ufeff<html><table><tr><td>Orla</td></tr></table></html>"]
)
def test_a_table_saved_as_xml_or_html_under_a_tables_name_is_refused(tmp_path: Path, text: str) -> None:
    file = tmp_path / "guests.csv"
    file.write_text(text)

    with pytest.raises(TableError, match=r"is XML or HTML, and no table\. Open it in the spreadsheet program"):
        read_table(file)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "GIF", "PDF"])
def test_a_picture_as_a_table_is_called_one(tmp_path: Path, kind: str) -> None:
    Image.new("L", (60, 40), 200).save(tmp_path / "guests.csv", kind)

    with pytest.raises(TableError, match=r"is a picture or a PDF, and no table\. Give a table"):
        read_table(tmp_path / "guests.csv")
