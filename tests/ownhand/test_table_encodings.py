"""Names as they were written, in the code pages in which spreadsheets of half of Europe save them.

The code pages are Python's own codecs, made from the tables of the Unicode Consortium (unicode.org/Public/MAPPINGS).
"""

from __future__ import annotations

from pathlib import Path

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


def test_the_encoding_and_names_are_said(tmp_path, capsys):
    from fontbuild.formats.ufo import save_ufo

    font = save_ufo(hershey_font(), tmp_path / "font.ufo")
    file = written(tmp_path / "guests.csv", NAMES["de"], "cp1252")
    (tmp_path / "card.txt").write_text("Dear friend")

    command = ["write", str(font), "--table", str(file), "--template", str(tmp_path / "card.txt")]
    main([*command, "-o", str(tmp_path / "out")])

    said = " ".join(capsys.readouterr().err.split())
    assert "read as cp1252: Jürgen Weiß, Käthe Müller, Jörg Böhm" in said


def test_a_guest_in_a_script_that_the_hand_lacks_costs_that_row_alone(tmp_path, capsys):
    from fontbuild.formats.ufo import save_ufo

    font = save_ufo(hershey_font(), tmp_path / "font.ufo")
    (tmp_path / "guests.csv").write_text("name\nOrla\nжж\nWim\n漢字 漢字\nAda\n", encoding="utf-8")
    (tmp_path / "card.txt").write_text("{name}")
    command = ["write", str(font), "--table", str(tmp_path / "guests.csv"), "--template", str(tmp_path / "card.txt")]

    for more in (["--check"], []):
        code = main([*command, "-o", str(tmp_path / "out"), *more])
        said = capsys.readouterr().err
        assert code == 5
        assert "line 3: text: nothing of it can be written" in said
        assert "line 5: text: nothing of it can be written" in said
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
