from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.errors import InputError, OutputError, TableError, UsageError
from capture.files import HELD
from fontbuild.formats.ufo import save_ufo
from ownhand.cli.main import main
from ownhand.composer import Settings
from ownhand.composer.merge.mail_merge import ROWS, run_table
from ownhand.composer.merge.run_folder import RECORD
from ownhand.composer.merge.run_plan import safe_name
from ownhand.composer.merge.table import Table, read_table
from ownhand.composer.merge.template import parse_template
from ownhand.composer.merge.workers import Run
from tests.ownhand.hershey_font import hershey_font

FONT = hershey_font()
CARD = Run(Settings(paper="postcard", margins_mm=(10, 10, 10, 10), x_height_mm=2.5))
TEMPLATE = parse_template("Dear {name},\n\n{message, else the lamp turns}\n")


def table(tmp_path: Path, text: str | bytes, **options: str) -> Table:
    path = tmp_path / "guests.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_table(path, **options)


def guests(tmp_path: Path, count: int) -> Table:
    rows = "".join(f'Guest {k},"fog, and ship {k}"\n' for k in range(1, count + 1))
    return table(tmp_path, f"name,message\n{rows}")


def contents(out: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(out.iterdir()) if p.name not in (RECORD, ROWS, HELD)}


# ------------------------------------------------------------------------------------------------ template


def test_fields_are_filled_without_regard_to_case_and_space() -> None:
    template = parse_template("{First Name} and {TOWN, else somewhere} {left brace}so{right brace}")

    assert template.fill({"first name": "Jette", "town": ""}) == "Jette and somewhere {so}"
    assert template.fields == {"first name", "town"}


def test_a_line_of_empty_fields_is_left_out_and_a_blank_line_kept() -> None:
    template = parse_template("{name}\n{street}\n\n{town} {code}")

    assert template.fill({"name": "Orla", "street": " ", "town": "Hazelby", "code": ""}) == "Orla\n\nHazelby "


def test_boxes_are_named_on_lines_of_their_own() -> None:
    template = parse_template("Dear {name},\n>> address\n{name}\n{town}\n")

    assert template.fill({"name": "Orla", "town": "Hazelby"}) == {"": "Dear Orla,", "address": "Orla\nHazelby"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a\nb {name", "template, line 2: a single '{'"),
        ("}", "line 1: a single '}'"),
        ("x {} y", "line 1: a field without a name"),
        ("{, else x}", "line 1: a field without a name"),
        ("{ }", "line 1: a field without a name"),
        (">> a\n>> a\n", "one box begins twice"),
    ],
)
def test_a_broken_template_says_where(text: str, said: str) -> None:
    with pytest.raises(InputError) as error:
        parse_template(text)

    assert said in str(error.value)


@given(st.text(), st.text())
def test_nothing_in_a_table_is_ever_taken_for_a_field(name: str, other: str) -> None:
    # no attribute access, no format codes, no second filling
    filled = parse_template("<{name}>").fill({"name": name, "other": other})

    assert filled == f"<{name.strip()}>"


# --------------------------------------------------------------------------------------------------- table


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("ending", ["\r\n", "\n", "\r"])
def test_tables_are_read_as_spreadsheets_write_them(tmp_path: Path, encoding: str, delimiter: str, ending: str) -> None:
    # quoting: RFC 4180, 2.5 to 2.7; written by Python's csv module
    rows = [["Name", "Message"], ["Maëlys", 'she said "où ?", twice; and\nwent | on'], ["Jörg", "tab\there, too"]]
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator=ending).writerows(rows)

    read = table(tmp_path, text.getvalue().encode(encoding))

    assert read.columns == ("name", "message")
    assert [list(r.values.values()) for r in read.rows] == rows[1:]
    assert [r.fault for r in read.rows] == ["", ""]
    assert read.delimiter == delimiter
    assert [r.line for r in read.rows] == [2, 4]


def test_the_separator_hint_of_spreadsheets_is_heeded(tmp_path: Path) -> None:
    read = table(tmp_path, "sep=;\r\nname;town\r\nOrla, of the hill;Hazelby\r\n")

    assert read.columns == ("name", "town")
    assert read.rows[0].values == {"name": "Orla, of the hill", "town": "Hazelby"}


def test_a_row_with_too_many_fields_is_a_fault_of_its_own(tmp_path: Path) -> None:
    read = table(tmp_path, "name,town\nOrla,Hazelby\nFennimore, Jasper,Hazelby\nIñigo\n")

    assert [bool(r.fault) for r in read.rows] == [False, True, False]
    assert read.rows[1].line == 3
    assert "3 fields, the head has 2" in read.rows[1].fault
    assert read.rows[2].values == {"name": "Iñigo", "town": ""}


def test_a_quote_that_never_closes_costs_only_the_rest(tmp_path: Path) -> None:
    read = table(tmp_path, 'name,town\nOrla,Hazelby\nJasper,"Upper\nWexcombe,x\n')

    assert [bool(r.fault) for r in read.rows] == [False, True]
    assert read.rows[1].line == 3


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"", "holds no row"),
        (b"\n\n", "holds no row"),
        (b"a,a\n1,2\n", "two columns 'a'"),
        (b",\n1,2\n", "no column names"),
        (b"name,town\n\n", "no row but that of the column names"),
        (b"name\n\x89PNG\0\1", "is no text"),
        (b"PK\x03\x04zip", "is a damaged workbook"),
        (b"\xff\xfea", "does not hold together"),
    ],
)
def test_a_file_that_is_no_table_is_refused(tmp_path: Path, raw: bytes, said: str) -> None:
    with pytest.raises(TableError, match=said):
        table(tmp_path, raw)


# ---------------------------------------------------------------------------------------------------- runs


def test_each_row_becomes_a_file_named_by_its_field(tmp_path: Path) -> None:
    read = table(tmp_path, "name,message\nÍñigo / Zubialde,one\nÍñigo / Zubialde,two\nÍÑIGO Zubialde,\n")

    report = run_table(FONT, read, TEMPLATE, tmp_path / "out", CARD, name_field="Name", workers=1)

    assert report.written == 3
    assert list(contents(tmp_path / "out")) == ["ÍÑIGO-Zubialde-3.svg", "Íñigo-Zubialde-2.svg", "Íñigo-Zubialde.svg"]
    assert len(set(contents(tmp_path / "out").values())) == 3


def test_what_the_hand_lacks_is_told_once_for_all_rows(tmp_path: Path) -> None:
    read = table(tmp_path, "name,message\nOrla,ж\nJasper,fog\nIñigo,жß\n")

    first = run_table(FONT, read, TEMPLATE, tmp_path / "out", CARD, workers=1)
    again = run_table(FONT, read, TEMPLATE, tmp_path / "out", CARD, workers=1)

    assert [(k.char, k.count, k.lines) for k in first.missing] == [("ж", 2, (2, 4)), ("ß", 1, (4,))]
    assert again.skipped == 3 and again.missing == first.missing
    assert not any("ж" in said for said in first.notices)


def test_a_strict_run_writes_nothing_where_anything_lacks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ufo = save_ufo(FONT, tmp_path / "lamp.ufo")
    (tmp_path / "guests.csv").write_text("name,message\nOrla,ж\nJasper,fog\n", "utf-8")
    (tmp_path / "card.txt").write_text("Dear {name}, {message}", "utf-8")
    command = ["write", str(ufo), "--table", str(tmp_path / "guests.csv"), "--template", str(tmp_path / "card.txt")]

    strict = main([*command, "-o", str(tmp_path / "none"), "--strict"])
    said = capsys.readouterr().err
    plain = main([*command, "-o", str(tmp_path / "all")])

    assert (strict, plain) == (5, 5)
    assert not (tmp_path / "none").exists()
    assert len(contents(tmp_path / "all")) == 2
    assert "all: 2 file(s) written, 2 page(s)." in capsys.readouterr().err
    assert "'ж' (U+0436, cyrillic small letter zhe): once, in the rows at line 2 of the table" in said
    assert "ownhand sheet HAND --characters 'ж'" in said and f"ownhand extend {ufo} --hand HAND" in said


def test_the_old_card_of_a_guest_who_was_renamed_is_told(tmp_path: Path) -> None:
    before = table(tmp_path, "name,message\nOrla,one\nJasper,two\n")
    run_table(FONT, before, TEMPLATE, tmp_path / "out", CARD, name_field="name", workers=1)
    after = table(tmp_path, "name,message\nOrla,one\nCaspar,two\n")

    report = run_table(FONT, after, TEMPLATE, tmp_path / "out", CARD, name_field="name", workers=1)

    assert report.left_over == ("Jasper.svg",)
    assert sorted(contents(tmp_path / "out")) == ["Caspar.svg", "Jasper.svg", "Orla.svg"]


def test_a_gap_that_an_empty_column_leaves_in_a_text_is_told(tmp_path: Path) -> None:
    rows = "name,town,street,title\nOrla,,,\nJette,,Quay,Captain\nInigo,Zubia,,\n"
    template = parse_template("Dear {title, else} {name}, from {town}\n{street}\n")

    report = run_table(FONT, table(tmp_path, rows), template, tmp_path / "out", CARD, workers=1)

    told = "the column 'town': empty, a gap is left; {town, else …} would fill it (in 2 rows)"
    assert [line for line in report.told() if "column" in line] == [told]


def test_every_copy_differs_but_each_comes_again_from_its_seed(tmp_path: Path) -> None:
    read = table(tmp_path, "name,message\n" + "same,same\n" * 4)

    for name, seed in (("a", 1), ("b", 1), ("c", 2)):
        run_table(FONT, read, TEMPLATE, tmp_path / name, CARD, seed=seed, workers=1)

    a, b, c = (contents(tmp_path / name) for name in "abc")
    assert list(a) == ["0001.svg", "0002.svg", "0003.svg", "0004.svg"]
    assert a == b
    assert len({*a.values(), *c.values()}) == 8


def test_two_processes_write_the_same_files_as_one(tmp_path: Path) -> None:
    read = guests(tmp_path, 13)

    seen: list[tuple[int, int]] = []
    run_table(FONT, read, TEMPLATE, tmp_path / "one", CARD, workers=1)
    run_table(
        FONT,
        read,
        TEMPLATE,
        tmp_path / "two",
        CARD,
        workers=2,
        progress=lambda _, done, total: seen.append((done, total)),
    )

    assert contents(tmp_path / "one") == contents(tmp_path / "two")
    assert seen[0] == (0, 13)
    assert seen[-1] == (13, 13)


def test_a_bad_row_is_reported_with_its_line_and_the_rest_go_on(tmp_path: Path) -> None:
    read = table(tmp_path, f"name,message\nOrla,x\nJasper,y,z\n!!,x\nJette,{'long ' * 4000}\nIñigo,w\n")
    boxed = Run(Settings(paper="postcard", margins_mm=(10, 10, 10, 10), fit=True))

    report = run_table(FONT, read, TEMPLATE, tmp_path / "out", boxed, name_field="name", workers=1)

    assert list(contents(tmp_path / "out")) == ["Iñigo.svg", "Orla.svg"]
    assert [f.line for f in report.faults] == [3, 4, 5]
    assert "3 fields" in str(report.faults[0])
    assert "gives no file name" in str(report.faults[1])
    assert "the text needs" in str(report.faults[2])


def test_checking_reads_all_and_writes_nothing(tmp_path: Path) -> None:
    read = table(tmp_path, "name,message\nOrla,ж\nJasper,ж ж\n")

    report = run_table(FONT, read, TEMPLATE, tmp_path / "out", CARD, check=True, workers=1)

    assert not (tmp_path / "out").exists()
    assert (report.written, report.pages) == (0, 2)
    assert [(k.char, k.count, k.lines) for k in report.missing] == [("ж", 3, (2, 3))]


def test_files_from_another_text_are_never_replaced_unasked(tmp_path: Path) -> None:
    out = tmp_path / "out"
    run_table(
        FONT, table(tmp_path, "name,message\nOrla,one\nJasper,two\n"), TEMPLATE, out, CARD, name_field="name", workers=1
    )
    before = contents(out)
    changed = table(tmp_path, "name,message\nOrla,other\nJasper,two\n")

    refused = run_table(FONT, changed, TEMPLATE, out, CARD, name_field="name", workers=1)

    assert contents(out) == before
    assert (refused.written, refused.skipped, [f.line for f in refused.faults]) == (0, 1, [2])
    assert "--force" in refused.faults[0].message

    forced = run_table(FONT, changed, TEMPLATE, out, CARD, name_field="name", force=True, workers=1)

    assert (forced.written, forced.skipped, forced.faults) == (1, 1, ())
    assert contents(out)["Orla.svg"] != before["Orla.svg"]


def test_a_file_of_somebody_elses_is_left_alone(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "0001.svg").write_text("mine", "utf-8")

    report = run_table(FONT, guests(tmp_path, 2), TEMPLATE, out, CARD, workers=1)

    assert (out / "0001.svg").read_text("utf-8") == "mine"
    assert (report.written, len(report.faults)) == (1, 1)


def test_further_pages_and_formats_stand_beside_the_first(tmp_path: Path) -> None:
    read = table(tmp_path, f"name,message\nOrla,{'long ' * 300}\n")
    run = Run(CARD.settings, ("svg", "hpgl"))

    report = run_table(FONT, read, TEMPLATE, tmp_path / "out", run, name_field="name", workers=1)

    names = list(contents(tmp_path / "out"))
    assert report.pages == len(names) // 2 > 1
    assert {"Orla.hpgl", "Orla.p2.hpgl", "Orla.p2.svg", "Orla.svg"} <= set(names)


def test_a_run_that_was_killed_goes_on_where_it_was(tmp_path: Path) -> None:
    guests(tmp_path, 40)
    program = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from pathlib import Path\n"
        "from tests.ownhand.test_mail_merge import CARD, FONT, TEMPLATE, read_table, run_table\n"
        "if __name__ == '__main__':\n"
        "    here = Path(sys.argv[2])\n"
        "    print('ready', flush=True)\n"
        "    run_table(FONT, read_table(here / 'guests.csv'), TEMPLATE, here / 'out', CARD, workers=2)\n"
        "    print('done', flush=True)\n"
    )
    (tmp_path / "go.py").write_text(program, "utf-8")
    root = str(Path(__file__).resolve().parents[2])
    out = tmp_path / "out"
    kills = 0
    for wait in (0.05, 0.3, 0.2):
        with subprocess.Popen(
            [sys.executable, str(tmp_path / "go.py"), root, str(tmp_path)],
            stdout=subprocess.PIPE,
            start_new_session=True,
            env={**os.environ, "OMP_NUM_THREADS": "1"},
        ) as process:
            assert process.stdout is not None
            process.stdout.readline()
            time.sleep(wait)
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            kills += 1
        for path in out.glob("*.svg") if out.exists() else ():
            ElementTree.parse(path)

    report = run_table(FONT, read_table(tmp_path / "guests.csv"), TEMPLATE, out, CARD, workers=1)
    run_table(FONT, read_table(tmp_path / "guests.csv"), TEMPLATE, tmp_path / "whole", CARD, workers=1)

    assert kills == 3
    assert report.written + report.skipped == 40
    assert contents(tmp_path / "whole") == contents(out)


def test_the_record_says_from_what_each_file_was_made(tmp_path: Path) -> None:
    run_table(FONT, guests(tmp_path, 2), TEMPLATE, tmp_path / "out", CARD, workers=1)

    data = json.loads((tmp_path / "out" / RECORD).read_text("utf-8"))
    assert data["format"] == 1
    assert list(data["files"]) == ["0001", "0002"]


def test_a_folder_with_another_run_json_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / RECORD).write_text("[]", "utf-8")

    with pytest.raises(OutputError, match="is not the record of a run"):
        run_table(FONT, guests(tmp_path, 2), TEMPLATE, tmp_path / "out", CARD, workers=1)


def test_a_row_of_too_many_fields_is_told_with_what_parts_them(tmp_path: Path) -> None:
    for mark, name in (";", "semicolon"), (",", "comma"):
        (row,) = table(tmp_path, f"guest{mark}town\nOrla{mark}Hazelby{mark}North\n").rows

        assert f"is a field with a {name} in it" in row.fault


def test_a_column_of_file_names_that_is_not_there_is_named_with_its_option(tmp_path: Path) -> None:
    read = table(tmp_path, "name,message\nOrla,x\n")

    with pytest.raises(InputError, match=r"--name: the table has no column 'guest'. Its columns are: name, message"):
        run_table(FONT, read, TEMPLATE, tmp_path / "out", CARD, name_field="guest", workers=1)


def test_a_field_that_no_column_fills_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    read = table(tmp_path, "guest,town\nOrla,Hazelby\n")

    with pytest.raises(InputError, match=r"the table has no column 'message'. Its columns are: guest, town"):
        run_table(FONT, read, TEMPLATE, tmp_path / "out", CARD, workers=1)

    assert not (tmp_path / "out").exists()


def test_an_unknown_format_is_refused() -> None:
    with pytest.raises(UsageError, match="no format 'dxf'"):
        Run(CARD.settings, ("dxf",))


@given(st.text(max_size=200))
def test_every_name_is_safe_on_every_system(text: str) -> None:
    name = safe_name(text)

    # Microsoft, Naming Files, Paths, and Namespaces: reserved characters and names, no dot or space at the end
    assert not set(name) & set('<>:"/\\|?*. \0')
    assert len(name.encode()) <= 81
    assert name.upper() not in {
        "CON",
        "PRN",
        "AUX",
        "NUL",
        *(f"COM{k}" for k in range(10)),
        *(f"LPT{k}" for k in range(10)),
    }


def test_a_long_row_of_spaces_in_a_field_takes_no_longer_than_other_text():
    begin = time.process_time()
    for text in (
        "{a, as" + " " * 20_000,
        "{a, else" + " " * 20_000 + "b}",
        "{a" + ", as " * 9000 + "}",
        "{" + "," * 90_000,
    ):
        with suppress(InputError):
            parse_template(text)
    parse_template(">> a" + " " * 90_000 + "b\n" + "{a}\n" * 50_000)

    assert time.process_time() - begin < 20


@pytest.mark.parametrize(
    ("text", "value", "filled"),
    [
        ("{Name, else a, b as c}", "", "a, b as c"),
        ("{Sum, as number de, else nothing}", "", "nothing"),
        ("{sum,as number de}", "1234.5", "1.234,5"),
        ("{sum , else}x", "", "x"),
        ("{as, else else}", "", "else"),
    ],
)
def test_a_field_says_how_it_is_set_and_what_stands_for_it(text, value, filled):
    template = parse_template(text)

    assert template.fill(dict.fromkeys(template.fields, value)) == filled


def test_a_table_of_the_persons_own_that_is_called_as_the_report_is_stays(tmp_path: Path) -> None:
    own = tmp_path / ROWS
    own.write_text("name,message\nOrla,fog\n")
    with pytest.raises(OutputError, match=r"rows\.csv: is there already, and no report"):
        run_table(FONT, read_table(own), TEMPLATE, tmp_path, CARD)

    assert [p.name for p in tmp_path.iterdir()] == [ROWS]
    assert own.read_text() == "name,message\nOrla,fog\n"

    done = run_table(FONT, read_table(own), TEMPLATE, tmp_path, CARD, force=True)
    again = run_table(FONT, guests(tmp_path, 1), TEMPLATE, tmp_path, CARD)

    assert done.written == 1 and again.faults
