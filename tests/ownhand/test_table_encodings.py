"""Names as they were written, in the code pages in which spreadsheets of half of Europe save them.

The code pages are Python's own codecs, made from the tables of the Unicode Consortium (unicode.org/Public/MAPPINGS).
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from capture.errors import TableError
from capture.languages import characters_for
from ownhand.cli.main import main
from ownhand.composer.merge.table import read_table
from tests.ownhand.hershey_font import hershey_font

NAMES = {
    "pl": ["Łucja Ślusarz", "Michał Brzęczyszczykiewicz", "Żaneta Wójcik"],
    "cs": ["Řehoř Křížek", "Božena Němcová", "Šimon Žďárský"],
    "hu": ["Győző Kőszegi", "Tünde Szűcs", "Ágnes Szabó"],
    "de": ["Jürgen Weiß", "Käthe Müller", "Jörg Böhm"],
    "fr": ["Éloïse Lefèvre", "François Noël", "Benoît Çelik"],
    "ro": ["Ioan Brânză", "Mihai Bădescu", "Ana Vâlcea"],
    "hr": ["Željka Šarić", "Đuro Čačić", "Ćiro Žunić"],
}
PAGES = [
    ("pl", "cp1250"), ("cs", "cp1250"), ("hu", "cp1250"), ("hr", "cp1250"), ("ro", "cp1250"), ("de", "cp1252"),
    ("fr", "cp1252"), ("de", "mac_roman"), ("fr", "mac_roman"), ("pl", "iso8859_2"), ("pl", "mac_latin2"),
    ("cs", "mac_latin2"), ("pl", "cp852"), ("fr", "cp850"),
]  # fmt: skip


def written(path: Path, names: list[str], encoding: str) -> Path:
    path.write_bytes(("name;town\n" + "".join(f"{name};x\n" for name in names)).encode(encoding))
    return path


@pytest.mark.parametrize(("language", "encoding"), PAGES)
def test_names_come_back_as_they_were_written(tmp_path, language, encoding):
    file = written(tmp_path / "guests.csv", NAMES[language], encoding)

    read = read_table(file, letters=characters_for([language, "en"]))

    assert [row.values["name"] for row in read.rows] == NAMES[language]


def test_what_is_said_is_believed(tmp_path):
    file = written(tmp_path / "guests.csv", NAMES["pl"], "cp1250")

    assert read_table(file, encoding="cp1252").rows[0].values["name"] == "£ucja Œlusarz"
    for no_text in ("rot13", "nonsense", "idna", "utf-8"):
        with pytest.raises(TableError, match="--encoding"):
            read_table(file, encoding=no_text)


SAID = [
    (NAMES["de"], "cp1252", "read as cp1252: Jürgen Weiß, Käthe Müller, Jörg Böhm."),
    (["Orla", "Wim", "Ada", "Tove"], "utf-8", "read as utf-8: Orla, Wim, Ada."),
    (["Orla", "Orla", "Zoë"], "utf-8-sig", "read as utf-8-sig: Zoë, Orla."),
    (NAMES["pl"][:1], "utf-16", "read as utf-16: Łucja Ślusarz."),
    (NAMES["pl"][:1], "utf-32", "read as utf-32: Łucja Ślusarz."),
    ([""], "utf-8", "read as utf-8: no names in it."),
    (['"Orla\nownhand: all is well"', "W" * 90], "utf-8", f"read as utf-8: Orla ownhand: all is well, {'W' * 60}."),
]


@pytest.mark.parametrize(("names", "encoding", "line"), SAID)
def test_the_encoding_is_always_said_with_up_to_three_names(tmp_path, capsys, names, encoding, line):
    from fontbuild.formats.ufo import save_ufo

    font = save_ufo(hershey_font(), tmp_path / "font.ufo")
    file = written(tmp_path / "guests.csv", names, encoding)
    (tmp_path / "card.txt").write_text("Dear friend")

    command = ["write", str(font), "--table", str(file), "--template", str(tmp_path / "card.txt")]
    main([*command, "-o", str(tmp_path / "out")])

    assert f"{file}: {line}\n" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (",".join(f"c{n}" for n in range(200_000)) + "\n", "has 200000 columns, 1000 at most are read"),
        ("name\n" + "a\n" * 200_001, "more than 200000 rows"),
    ],
)
def test_a_table_larger_than_any_run_is_refused_at_once(tmp_path, table, said):
    (tmp_path / "guests.csv").write_text(table)
    begin = time.process_time()

    with pytest.raises(TableError, match=said):
        read_table(tmp_path / "guests.csv")

    assert time.process_time() - begin < 20


def test_a_guest_whose_name_cannot_be_written_costs_that_row_alone(tmp_path, capsys):
    from fontbuild.formats.ufo import save_ufo

    font = save_ufo(hershey_font(), tmp_path / "font.ufo")
    marks = "e" + "\u0301" * 90
    (tmp_path / "guests.csv").write_text(f"name\nOrla\nжж\nWim\n漢字 漢字\nAda\n{marks}\n", encoding="utf-8")
    (tmp_path / "card.txt").write_text("{name}")
    command = ["write", str(font), "--table", str(tmp_path / "guests.csv"), "--template", str(tmp_path / "card.txt")]

    for more in (["--check"], []):
        code = main([*command, "-o", str(tmp_path / "out"), *more])
        said = capsys.readouterr().err
        assert code == 5
        assert "line 3: text: nothing of it can be written" in said
        assert "line 5: text: nothing of it can be written" in said
        assert "line 7: text: one character of it has" in said
    assert sorted(p.stem for p in (tmp_path / "out").glob("*.svg")) == ["0001", "0003", "0005"]


def test_of_two_runs_into_one_folder_the_second_is_refused(tmp_path, capsys):
    from fontbuild.formats.ufo import save_ufo
    from ownhand.hands.locking import locked

    font = save_ufo(hershey_font(), tmp_path / "font.ufo")
    (tmp_path / "guests.csv").write_text("name\nOrla\n", encoding="utf-8")
    (tmp_path / "card.txt").write_text("{name}")
    command = ["write", str(font), "--table", str(tmp_path / "guests.csv"), "--template", str(tmp_path / "card.txt")]

    with locked(tmp_path / "out"):
        assert main([*command, "-o", str(tmp_path / "out")]) == 4

    assert "another run is writing into this folder" in capsys.readouterr().err
    assert main([*command, "-o", str(tmp_path / "out")]) == 0


def test_bytes_that_are_no_text_are_not_taken_for_a_table_of_odd_letters(tmp_path):
    noise = np.random.default_rng(4).integers(1, 256, 400).astype(np.uint8).tobytes()
    (tmp_path / "guests.ods").write_bytes(noise)
    (tmp_path / "stray.csv").write_bytes(b"name\nO\x1frla\n" + b"Wim\n" * 40)

    with pytest.raises(TableError, match="no text and no workbook"):
        read_table(tmp_path / "guests.ods")
    assert len(read_table(tmp_path / "stray.csv").rows) == 41
