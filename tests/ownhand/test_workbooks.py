"""Tables in workbooks, written by XlsxWriter (.xlsx) and odfpy (.ods), which read nothing of ours.

What a format shows is taken from ECMA-376 part 1, 18.8.31, and from memory of what spreadsheet programs show.
"""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest
import xlsxwriter
from odf.opendocument import OpenDocumentSpreadsheet
from odf.style import Style, TableProperties
from odf.table import Table as OdfTable
from odf.table import TableCell, TableRow
from odf.text import LineBreak, P, S

from capture.errors import TableError
from fontbuild.formats.ufo import save_ufo
from ownhand.cli.main import main
from ownhand.composer.merge import workbook
from ownhand.composer.merge.cell_formats import shown
from ownhand.composer.merge.table import read_table
from ownhand.composer.merge.template import parse_template
from tests.ownhand.hershey_font import hershey_font

HEAD = ["Name", "Postcode", "Day", "Sum", "Note"]


def xlsx(path: Path) -> Path:
    with xlsxwriter.Workbook(path) as book:
        old, sheet = book.add_worksheet("Last year"), book.add_worksheet("Guests")
        old.hide()
        sheet.activate()
        old.write_row(0, 0, ["name", "x"])
        old.write_row(1, 0, ["Wim", 1])
        sheet.write_row(0, 0, HEAD)
        sheet.write_string(1, 0, "Łucja Ślusarz")
        sheet.write_number(1, 1, 1067, book.add_format({"num_format": "00000"}))
        sheet.write_datetime(1, 2, datetime(2026, 5, 1), book.add_format({"num_format": "d.m.yyyy"}))
        sheet.write_formula(1, 3, "=600*2+34.5", book.add_format({"num_format": '#,##0.00 "EUR"'}), 1234.5)
        sheet.write_rich_string(1, 4, "with ", book.add_format({"bold": True}), "love,\nOrla")
        sheet.write_string(3, 0, "Wim")
        sheet.write_string(3, 1, "01067")
        sheet.write_datetime(3, 2, datetime(2026, 5, 2, 14, 30), book.add_format({"num_format": 14}))
    return path


def ods(path: Path) -> Path:
    book = OpenDocumentSpreadsheet()
    style = Style(name="unseen", family="table")
    style.addElement(TableProperties(display="false"))
    book.automaticstyles.addElement(style)
    old = OdfTable(name="Last year", stylename=style)
    old.addElement(_row(["name"]))
    old.addElement(_row(["Wim"]))
    sheet = OdfTable(name="Guests")
    sheet.addElement(_row(HEAD))
    row = _row(["Łucja Ślusarz"])
    row.addElement(_cell("01067", valuetype="float", value="1067"))
    row.addElement(_cell("1. Mai 2026", valuetype="date", datevalue="2026-05-01"))
    row.addElement(_cell("1.234,50 €", valuetype="currency", value="1234.5", currency="EUR", formula="of:=600*2+34.5"))
    note = TableCell(valuetype="string")
    first = P(text="with")
    first.addElement(S(c=2))
    first.addText("love,")
    first.addElement(LineBreak())
    first.addText("Orla")
    note.addElement(first)
    row.addElement(note)
    sheet.addElement(row)
    sheet.addElement(TableRow(numberrowsrepeated=2))
    sheet.addElement(_row(["Wim", "01067"]))
    sheet.addElement(TableRow(numberrowsrepeated=1_048_000))
    for each in (old, sheet):
        book.spreadsheet.addElement(each)
    book.save(path)
    return path


def _cell(text: str, **told: str) -> TableCell:
    cell = TableCell(**told)
    cell.addElement(P(text=text))
    return cell


def _row(texts: list[str]) -> TableRow:
    row = TableRow()
    for text in texts:
        row.addElement(_cell(text, valuetype="string"))
    return row


def test_cells_of_an_xlsx_workbook_are_read_as_they_are_shown(tmp_path: Path) -> None:
    read = read_table(xlsx(tmp_path / "guests.xlsx"))

    assert read.columns == ("name", "postcode", "day", "sum", "note")
    assert list(read.rows[0].values.values()) == [
        "Łucja Ślusarz", "01067", "1.5.2026", "1,234.50 EUR", "with love,\nOrla",
    ]  # fmt: skip
    # a date in the reader's own form: which that is, no file tells
    assert list(read.rows[1].values.values()) == ["Wim", "01067", "2026-05-02 14:30", "", ""]
    assert [row.line for row in read.rows] == [2, 4]
    assert read.read_as("name") == (
        "read sheet 'Guests': Łucja Ślusarz, Wim; other sheets are Last year; empty rows are left out: 3"
    )


def test_cells_of_an_ods_workbook_are_read_as_they_are_shown(tmp_path: Path) -> None:
    read = read_table(ods(tmp_path / "guests.ods"))

    assert list(read.rows[0].values.values()) == [
        "Łucja Ślusarz", "01067", "1. Mai 2026", "1.234,50 €", "with  love,\nOrla",
    ]  # fmt: skip
    assert [row.line for row in read.rows] == [2, 5]
    assert (read.sheet, read.other_sheets) == ("Guests", ("Last year",))


@pytest.mark.parametrize("write", [xlsx, ods])
def test_a_field_is_set_as_a_language_does_from_the_value_under_the_format(tmp_path: Path, write) -> None:
    row = read_table(write(tmp_path / f"guests.{write.__name__}")).rows[0]
    template = parse_template("{day, as long date fr}: {sum, as money de EUR}, {postcode}")

    assert template.fill(row.values, row.plain) == "1 mai 2026: 1.234,50\xa0€, 01067"


@pytest.mark.parametrize("write", [xlsx, ods])
def test_a_sheet_is_read_by_its_name(tmp_path: Path, write) -> None:
    file = write(tmp_path / f"guests.{write.__name__}")

    assert [row.values["name"] for row in read_table(file, sheet="last year").rows] == ["Wim"]
    with pytest.raises(TableError, match=r"has no sheet 'Staff'\. Its sheets are: Last year, Guests"):
        read_table(file, sheet="Staff")
    with pytest.raises(TableError, match="nothing to decode"):
        read_table(file, encoding="cp1250")
    (tmp_path / "guests.csv").write_text("name\nWim\n")
    with pytest.raises(TableError, match="no workbook"):
        read_table(tmp_path / "guests.csv", sheet="Guests")


def test_a_formula_without_a_result_costs_the_rows_that_ask_for_it(tmp_path: Path) -> None:
    file = tmp_path / "guests.xlsx"
    with xlsxwriter.Workbook(file) as book:
        sheet = book.add_worksheet()
        sheet.write_row(0, 0, ["name", "town", "seat"])
        for row, (name, town) in enumerate([("Orla", "=X1"), ("Wim", "=NA()"), ("Ada", '=""')], 1):
            sheet.write_string(row, 0, name)
            sheet.write_formula(row, 1, town, None, {"=X1": "", "=NA()": "#N/A"}.get(town, ""))
    rewritten = tmp_path / "bare.xlsx"
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(rewritten, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            # as a library leaves it that cannot reckon
            data = data.replace(b"<f>X1</f><v></v>", b"<f>X1</f>")
            new.writestr(name, data.replace(b'<c r="B4"><f>', b'<c r="B4" t="str"><f>'))
    save_ufo(hershey_font(variants=1), tmp_path / "h.ufo")
    (tmp_path / "card.txt").write_text("{name} {town}")
    (tmp_path / "seat.txt").write_text("{name} {seat}")

    read = read_table(rewritten)
    assert "B2 holds a formula that was not worked out" in read.rows[0].unread["town"]
    assert read.rows[1].unread["town"] == "B3 holds the error #N/A"
    assert not read.rows[2].unread
    assert _cards(tmp_path, rewritten, "card.txt") == (5, ["Ada.svg"])
    assert _cards(tmp_path, rewritten, "seat.txt") == (0, ["Ada.svg", "Orla.svg", "Wim.svg"])


def _cards(folder: Path, table: Path, template: str) -> tuple[int, list[str]]:
    out = folder / f"out-{template}"
    command = ["write", str(folder / "h.ufo"), "--table", str(table), "--template", str(folder / template)]
    code = main([*command, "--name", "name", "-o", str(out)])
    return code, sorted(p.name for p in out.glob("*.svg"))


def test_the_command_writes_cards_from_a_named_sheet(tmp_path: Path, capfd) -> None:
    save_ufo(hershey_font(variants=1), tmp_path / "h.ufo")
    (tmp_path / "card.txt").write_text("Dear {name}")
    file = xlsx(tmp_path / "guests.xlsx")
    command = ["write", str(tmp_path / "h.ufo"), "--table", str(file), "--template", str(tmp_path / "card.txt")]

    assert main([*command, "--sheet", "Last year", "--name", "name", "-o", str(tmp_path / "out")]) == 0
    assert [p.name for p in (tmp_path / "out").glob("*.svg")] == ["Wim.svg"]
    assert "read sheet 'Last year': Wim; other sheets are Guests." in capfd.readouterr().err


@pytest.mark.parametrize(
    ("value", "code", "text"),
    [
        (1067, "General", "1067"),
        (0.1 + 0.2, "General", "0.3"),
        (4917012345678, "General", "4917012345678"),
        (1234567, "000-0000", "123-4567"),
        (12, "#,##0", "12"),
        (1234567.891, "#,##0.00", "1,234,567.89"),
        (1.005, "0.00", "1.01"),
        (3.1, "0.0#", "3.1"),
        (0.125, "0.0%", "12.5%"),
        (-5, "0;(0)", "(5)"),
        (-12.5, '"$"#,##0.00_);[Red]\\("$"#,##0.00\\)', "($12.50)"),
        (12.5, "#,##0.00 [$€-407]", "12.50 €"),
        (0, '0;-0;"none"', "none"),
        (5, '0" guests"', "5 guests"),
        (2_500_000, '0.0,,"M"', "2.5M"),
        (0.5, "# ?/?", "0.5"),
        (1234.5, "0.00E+00", "1234.5"),
        (1e300, "0" * 200, f"1{'0' * 300}"),
        (True, "General", "TRUE"),
        (date(2026, 5, 1), "dd/mm/yyyy", "01/05/2026"),
        (date(2026, 5, 1), "[$-407]d. mmmm yyyy", "1. Mai 2026"),
        (date(2026, 5, 1), "[$-en-GB]dddd, d mmmm", "Friday, 1 May"),
        # the names of months in a language that nothing tells
        (date(2026, 5, 1), "d. mmmm yyyy", "2026-05-01"),
        (date(2026, 5, 1), "[$-F800]dddd, mmmm dd, yyyy", "2026-05-01"),
        (datetime(2026, 5, 1, 14, 5, 9), "yyyy-mm-dd hh:mm:ss", "2026-05-01 14:05:09"),
        (time(14, 5), "h:mm AM/PM", "2:05 PM"),
        (timedelta(hours=30), "[h]:mm", "30:00"),
    ],
)
def test_a_number_or_date_is_shown_as_its_format_says(value, code: str, text: str) -> None:
    assert shown(value, code) == text


def _packed(**files: bytes) -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name.replace("__", "/").replace("_xml", ".xml"), content)
    return data.getvalue()


CONTENT = """<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>
<table:table table:name="T"><table:table-row><table:table-cell><text:p>name</text:p></table:table-cell>
</table:table-row>{}</table:table></office:spreadsheet></office:body></office:document-content>"""
ROW = '<table:table-row table:number-rows-repeated="{}"><table:table-cell/>{}</table:table-row>'
WIDE = '<table:table-cell table:number-columns-repeated="{}"/><table:table-cell><text:p>x</text:p></table:table-cell>'
BOMB = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>' + CONTENT.format("").encode()


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "of an old kind"),
        (b"PK\x03\x04 cut off", "damaged workbook"),
        (_packed(letter_xml=b"<a/>"), "is an archive, but no"),
        (_packed(content_xml=b"<a/>"), "no sheet of cells"),
        (_packed(content_xml=b"<a"), "damaged workbook"),
        (_packed(content_xml=BOMB), "damaged workbook"),
        (_packed(content_xml=CONTENT.format(ROW.format(10**9, WIDE.format(1))).encode()), "more than 200000 rows"),
        (
            _packed(content_xml=CONTENT.format(ROW.format(10**5, WIDE.format(9999))).encode()),
            "more than 10000000 cells",
        ),
        (_packed(content_xml=CONTENT.format(ROW.format(1, WIDE.format(10**9))).encode()), "more than 16384 cells"),
        (_packed(xl__workbook_xml=b"<workbook/>"), "damaged workbook"),
        (_packed(content_xml=b"0" * (workbook.LARGEST_UNPACKED + 1)), "unpacks to 1 files of 200 MB"),
    ],
)
def test_what_is_no_workbook_or_unpacks_to_too_much_is_refused_in_a_line(tmp_path: Path, raw: bytes, said: str) -> None:
    file = tmp_path / "guests.xlsx"
    file.write_bytes(raw)

    with pytest.raises(TableError, match=said) as told:
        read_table(file)
    assert "\n" not in str(told.value)


def test_an_archive_that_says_less_than_it_unpacks_to_is_refused(tmp_path: Path) -> None:
    raw = bytearray(_packed(content_xml=CONTENT.format("").encode() + b" " * 10_000_000))
    real = (len(CONTENT.format("")) + 10_000_000).to_bytes(4, "little")
    assert raw.count(real) == 2
    (tmp_path / "guests.ods").write_bytes(bytes(raw).replace(real, (900).to_bytes(4, "little")))

    with pytest.raises(TableError, match="damaged workbook"):
        read_table(tmp_path / "guests.ods")


def test_a_sheet_that_spans_too_many_empty_cells_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "guests.xlsx"
    with xlsxwriter.Workbook(file, {"constant_memory": True}) as book:
        sheet = book.add_worksheet()
        sheet.write_string(0, 0, "name")
        for row in range(1, 1000):
            sheet.write_string(row, 16_383, "x")

    with pytest.raises(TableError, match="more than 10000000 cells"):
        read_table(file)


OPEN_DOCUMENT = (
    '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"'
    ' xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"'
    ' xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>'
    '<table:table table:name="Guests"><table:table-row><table:table-cell><text:p>name</text:p></table:table-cell>'
    "</table:table-row><table:table-row><table:table-cell><text:p>Orla{more}</text:p></table:table-cell>"
    "</table:table-row></table:table></office:spreadsheet></office:body></office:document-content>"
)


@pytest.mark.parametrize(
    ("more", "said"),
    [("<a/>" * 3000, "million elements"), ('<text:s text:c="1000"/>' * 200, "a field of more than 100000 characters")],
)
def test_a_small_workbook_that_would_fill_the_memory_is_refused(tmp_path: Path, monkeypatch, more, said) -> None:
    # 30 kB of the second kind held a field of 500 million characters
    monkeypatch.setattr(workbook, "MOST_ELEMENTS", 2000)
    with zipfile.ZipFile(tmp_path / "guests.ods", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("content.xml", OPEN_DOCUMENT.format(more=more))
    with pytest.raises(TableError, match=said):
        read_table(tmp_path / "guests.ods")
