"""`ownhand extend` with a hand that holds a filled-in sheet; the font to extend is a UFO as ufoLib2 (PyPI) reads it."""

from __future__ import annotations

from pathlib import Path

import pytest
import ufoLib2

from fontbuild.build import build_font
from fontbuild.font import Record
from fontbuild.formats.ufo import save_ufo
from ownhand.cli.main import main
from ownhand.hands.captures import PageCapture, save_capture
from ownhand.hands.hand import HandRecord, create_hand
from tests.fontbuild.hands import hand
from tests.fontbuild.test_import_letters import ACUTE, written


@pytest.fixture(scope="module")
def font(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A font that is only read."""
    made = build_font(hand("aeoEn", times=2), Record("S"), accents=False).font
    return save_ufo(made, tmp_path_factory.mktemp("font") / "s.ufo")


def filled_in(path: Path, *, consent: str) -> Path:
    opened = create_hand(path, HandRecord(family="Skerry", writer="Ida Holm", consent=consent))
    save_capture(opened, PageCapture("s1", 1, "page.png", {"dpi": 300.0}, tuple(written("é", ACUTE)), {}))
    return path


def test_what_was_written_on_the_sheet_is_added(font: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    room = filled_in(tmp_path / "skerry", consent="her own words")
    code = main(["extend", str(font), "-l", "es", "-o", str(tmp_path / "more.ufo"), "--hand", str(room)])
    said = capsys.readouterr()

    assert code == 0
    assert "as they were written: é" in said.out + said.err
    assert "consent" not in said.out + said.err
    assert ufoLib2.Font.open(tmp_path / "more.ufo")["eacute"].lib["org.ownhand.source"].startswith("s1/1/")


def test_a_sheet_without_consent_is_pointed_out(font: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    room = filled_in(tmp_path / "skerry", consent="")
    main(["extend", str(font), "-o", str(tmp_path / "more.ufo"), "--hand", str(room)])
    said = capsys.readouterr()

    assert "No consent is recorded" in said.out + said.err


def test_a_hand_in_which_nothing_was_read_is_said_in_one_line(
    font: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    create_hand(tmp_path / "bare", HandRecord(family="Bare"))
    code = main(["extend", str(font), "-o", str(tmp_path / "more.ufo"), "--hand", str(tmp_path / "bare")])
    said = capsys.readouterr()

    assert code != 0
    assert "holds no captures yet" in said.out + said.err
    assert not (tmp_path / "more.ufo").exists()
