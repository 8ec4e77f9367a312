"""Bad input ends with one clear line that says what is wrong, where, and what to do, and with its exit code."""

from __future__ import annotations

import os
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from capture.layout import lay_out
from capture.sheet_file import save_sheet
from fontbuild.formats.ufo import save_ufo
from ownhand.cli.main import main
from ownhand.hands.hand import HandRecord, create_hand
from tests.capture.simulated import plain_picture
from tests.ownhand.hershey_font import hershey_font

LANTERN = Path(__file__).parents[2] / "sample_sheets" / "lantern"
PAGE = LANTERN / "scans" / "page-1.jpg"


@pytest.fixture
def refused(capsys):
    """Run a command that must fail; give its code and what it said."""

    def run(*args: object) -> tuple[int, str]:
        code = main([str(a) for a in args])
        said = capsys.readouterr()
        lines = [line for line in said.err.splitlines() if line.strip()]
        assert said.out == ""
        assert len(lines) == 1, said.err
        assert lines[0].startswith("ownhand: ") and "Traceback" not in lines[0]
        return code, lines[0]

    return run


def save(path: Path, pixels: np.ndarray) -> Path:
    Image.fromarray(pixels).save(path)
    return path


def test_a_picture_that_is_no_sheet(refused, tmp_path):
    noise = np.random.default_rng(1).integers(0, 255, (1200, 900, 3), np.uint8)

    code, said = refused("read", tmp_path / "hand", save(tmp_path / "cat.png", noise))

    assert code == 3
    assert "cat.png: no marks of a sheet found" in said
    assert not (tmp_path / "hand").exists()


def test_a_sheet_of_another_hand(refused, tmp_path):
    hand = create_hand(tmp_path / "hand", HandRecord("Other"))
    (hand.sheets_folder / "mine").mkdir(parents=True)
    save_sheet(lay_out({"a": 2, "b": 2}, sheet_id="mine"), hand.sheets_folder / "mine" / "sheet.json")

    code, said = refused("read", hand.path, PAGE)

    assert code == 3
    assert "page-1.jpg" in said and "does not belong to this hand" in said


def test_half_a_page(refused, tmp_path):
    with Image.open(PAGE) as whole:
        whole.crop((0, 0, whole.width, whole.height // 2)).save(tmp_path / "half.png")

    code, said = refused("read", tmp_path / "hand", tmp_path / "half.png")

    assert code == 3
    assert "half.png" in said and "corner marks not found" in said


def test_a_scan_at_72_dpi(refused, tmp_path):
    with Image.open(PAGE) as whole:
        whole.resize((round(whole.width * 0.24), round(whole.height * 0.24)), Image.Resampling.BOX).save(
            tmp_path / "coarse.png"
        )

    code, said = refused("read", tmp_path / "hand", tmp_path / "coarse.png")

    assert code == 3
    assert "coarse.png" in said and "300 dpi" in said


def test_an_empty_file(refused, tmp_path):
    (tmp_path / "empty.png").touch()

    code, said = refused("read", tmp_path / "hand", tmp_path / "empty.png")

    assert code == 3
    assert "empty.png" in said and "empty" in said


def test_a_file_that_is_not_there(refused, tmp_path):
    code, said = refused("read", tmp_path / "hand", tmp_path / "nowhere.png")

    assert code == 3
    assert "nowhere.png" in said
    assert not (tmp_path / "hand").exists()


def test_a_truncated_pdf(refused, tmp_path):
    data = (LANTERN / "sheet" / "sheet.pdf").read_bytes()
    (tmp_path / "cut.pdf").write_bytes(data[: len(data) // 2])

    code, said = refused("read", tmp_path / "hand", tmp_path / "cut.pdf")

    assert code == 3
    assert "cut.pdf" in said and "damaged" in said


def test_a_picture_of_30000_by_30000_pixels(refused, tmp_path):
    # Portable Network Graphics (ISO/IEC 15948:2004), written row by row: the file is small, the picture is not.
    side, packer = 30_000, zlib.compressobj(9)
    rows = b"".join(packer.compress(b"\0" + b"\xff" * (side // 8)) for _ in range(side)) + packer.flush()

    def chunk(kind: bytes, data: bytes) -> bytes:
        return len(data).to_bytes(4, "big") + kind + data + zlib.crc32(kind + data).to_bytes(4, "big")

    head = side.to_bytes(4, "big") * 2 + bytes([1, 0, 0, 0, 0])
    signature = b"\x89PNG\r\n\x1a\n"
    (tmp_path / "wall.png").write_bytes(signature + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b""))

    code, said = refused("read", tmp_path / "hand", tmp_path / "wall.png")

    assert code == 3
    assert "wall.png: has 900 million pixels" in said


def test_a_place_where_nothing_can_be_written(refused, tmp_path):
    (tmp_path / "file").touch()

    code, said = refused("sheet", tmp_path / "file" / "hand", "--languages", "en")

    assert code == 4
    assert "cannot be written" in said


def test_a_folder_without_permission_to_write(refused, tmp_path, monkeypatch):
    hand = create_hand(tmp_path / "hand", HandRecord("Keeper"))
    # root may write anywhere, so the system's answer is given in its stead
    monkeypatch.setattr("os.access", lambda path, mode: not mode & os.W_OK)

    code, said = refused("read", hand.path, PAGE)

    assert code == 4
    assert "no permission" in said


@pytest.mark.parametrize(("place", "code", "what"), [("file/hand", 4, "file is a file"), ("shed", 3, "not a hand")])
def test_a_letter_for_a_place_that_takes_none_is_refused_before_it_is_read(refused, tmp_path, place, code, what):
    (tmp_path / "file").touch()
    (tmp_path / "shed").mkdir()
    (tmp_path / "shed" / "oil.txt").write_text("lamp oil")
    (tmp_path / "letter.txt").write_text("Dear Wim,\n")

    got, said = refused("letter", tmp_path / place, tmp_path / "never-opened.jpg", tmp_path / "letter.txt")

    assert got == code
    assert what in said


def test_a_proof_that_cannot_be_kept_is_refused_before_it_is_drawn(refused, tmp_path, monkeypatch):
    monkeypatch.setattr("ownhand.commands.proof.draw_proof", lambda *_: pytest.fail("drawn"))
    save_ufo(hershey_font(), tmp_path / "f.ufo")
    (tmp_path / "f.proof.png").mkdir()

    code, said = refused("proof", tmp_path / "f.ufo")

    assert code == 4
    assert "f.proof.png: is a folder" in said


def test_an_unknown_language(refused, tmp_path):
    code, said = refused("sheet", tmp_path / "hand", "--languages", "Polsh")

    assert code == 2
    assert "Polsh" in said and "Polish" in said
    assert not (tmp_path / "hand").exists()


def test_a_character_that_nobody_can_write(refused, tmp_path):
    code, said = refused("sheet", tmp_path / "hand", "--characters", "a\u0007")

    assert code == 2
    assert "U+0007" in said


def test_nothing_asked_for(refused, tmp_path):
    code, said = refused("sheet", tmp_path / "hand")

    assert code == 2
    assert "--languages" in said


@pytest.mark.parametrize("alone", ["--missing", "--joined"])
def test_an_option_that_asks_for_nothing_by_itself_is_named(refused, tmp_path, alone):
    code, said = refused("sheet", tmp_path / "hand", alone)

    assert code == 2
    assert f"--text as well: {alone} alone asks for nothing" in said


@pytest.mark.parametrize("paper", ["A9x", "10x10", "0x100", "letterhead"])
def test_an_impossible_paper(refused, tmp_path, paper):
    code, said = refused("sheet", tmp_path / "hand", "--languages", "en", "--paper", paper)

    assert code == 2
    assert paper in said


@pytest.mark.parametrize("life", ["9", "-1"])
def test_more_life_than_there_is(refused, tmp_path, life):
    save_ufo(hershey_font(), tmp_path / "f.ufo")

    code, said = refused("write", tmp_path / "f.ufo", "tea", "-o", tmp_path / "x.svg", "--life", life)

    assert code == 2
    assert said == f"ownhand: --life: {life} is not between 0 and 2. 0 is nil, 1 is natural."


def test_too_few_pages_says_how_many_it_takes(refused, tmp_path):
    code, said = refused("sheet", tmp_path / "hand", "--languages", "pl", "--pages", "1")

    assert code == 2
    assert "pages of A4" in said


@pytest.mark.parametrize("verb", ["build", "proof", "coverage"])
def test_a_folder_that_is_no_hand(refused, tmp_path, verb):
    code, said = refused(verb, tmp_path)

    assert code == 3
    assert "not a hand" in said


def test_a_hand_without_a_font_says_how_to_build_it(refused, tmp_path):
    hand = create_hand(tmp_path / "hand", HandRecord("Keeper"))

    code, said = refused("write", hand.path, "tea", "-o", tmp_path / "x.svg")

    assert code == 3
    assert "ownhand build" in said


@pytest.mark.parametrize(
    "option", ["--check", "--one-file", "--sheet=Guests", "--encoding=cp1250", "--name=name", "--overview=all.png"]
)
def test_options_of_a_table_do_not_go_unheard_with_one_text(refused, tmp_path, option):
    """`--check` wrote the page that it was to write nothing of."""
    code, said = refused("write", tmp_path, "tea", option, "-o", tmp_path / "x.svg")

    assert code == 2
    assert f"{option.partition('=')[0]}: goes with a table. Add --table FILE, or leave it out." in said
    assert not (tmp_path / "x.svg").exists()


def test_a_replay_of_a_table_is_asked_for_as_a_kind_of_file(refused, tmp_path):
    code, said = refused("write", tmp_path, "--table", "t.csv", "--replay", "-o", tmp_path / "out")

    assert code == 2
    assert "--format svg,html" in said


@pytest.mark.parametrize("option", ["--text", "--copy"])
def test_a_text_without_a_word_is_named(refused, tmp_path, option):
    (tmp_path / "empty.txt").write_text(" \n")

    code, said = refused("sheet", tmp_path / "hand", option, tmp_path / "empty.txt")

    assert code == 2
    assert "empty.txt: there is no word in it" in said


def test_a_letter_s_text_without_a_word_is_named(refused, tmp_path):
    (tmp_path / "empty.txt").write_text(" \n")

    code, said = refused("letter", tmp_path / "hand", tmp_path / "scan.png", tmp_path / "empty.txt")

    assert code == 2
    assert "empty.txt: there is no word in it. Write the text of the page into it" in said


def test_a_proof_replaces_no_file_and_is_a_picture(refused, tmp_path):
    font = save_ufo(hershey_font(variants=5), tmp_path / "font.ufo")
    (tmp_path / "mine-2.png").write_text("mine")

    code, said = refused("proof", font, "-o", tmp_path / "proof.txt")
    assert (code, "a proof is a PNG picture. Call it proof.png." in said) == (2, True)
    code, said = refused("proof", font, "-o", tmp_path / "mine.png")
    assert (code, "mine-2.png: exists already" in said) == (4, True)
    assert (tmp_path / "mine-2.png").read_text() == "mine"
    assert not (tmp_path / "mine.png").exists()


def test_a_hand_without_captures_says_how_to_read_them(refused, tmp_path):
    hand = create_hand(tmp_path / "hand", HandRecord("Keeper"))

    code, said = refused("build", hand.path)

    assert code == 3
    assert "ownhand read" in said


def test_a_font_folder_that_is_none(refused, tmp_path):
    (tmp_path / "my.ufo").mkdir()

    code, said = refused("write", tmp_path / "my.ufo", "tea", "-o", tmp_path / "x.svg")

    assert code == 3
    assert "my.ufo" in said


def test_an_unknown_kind_of_output(refused, tmp_path):
    code, said = refused("write", tmp_path / "my.ufo", "tea", "-o", tmp_path / "x.docx")

    assert code == 2
    assert ".svg" in said


def test_an_image_to_trace_that_is_none(refused, tmp_path):
    (tmp_path / "x.png").write_bytes(b"\x89PNG\r\n\x1a\nnothing")

    code, said = refused("trace", tmp_path / "x.png", "--dpi", "300", "--format", "json")

    assert code == 3
    assert "x.png" in said


def test_an_unknown_option_or_command(refused):
    assert refused("sheet", "hand", "--colour", "red")[0] == 2
    assert refused("paint")[0] == 2


@pytest.mark.parametrize(
    "typed", [["write"], ["read", "hand"], ["trace", "a.png"], ["write", "hand", "lamp", "--life", "x"]]
)
def test_what_was_typed_wrongly_says_where_to_look(refused, typed):
    code, said = refused(*typed)

    assert code == 2
    assert said.endswith(f" See: ownhand {typed[0]} --help")


def test_no_command_at_all_shows_what_there_is(capsys):
    assert main([]) == 2
    assert capsys.readouterr().err.startswith("Usage: ownhand")


def run_in_shell(words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run `ownhand` with these words of a shell, in a process of its own."""
    path = os.pathsep.join(p for p in sys.path if p)
    return subprocess.run(
        f"{sys.executable} -m ownhand {words}", shell=True, env={**os.environ, "PYTHONPATH": path, **environment},
        capture_output=True, encoding="cp1252", timeout=300, check=False,
    )  # fmt: skip


def test_what_an_old_code_page_cannot_name_is_named_by_number(tmp_path):
    create_hand(tmp_path / "hand", HandRecord("Łódź"))
    done = run_in_shell(f"record {tmp_path / 'hand'}", PYTHONIOENCODING="cp1252")

    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("family: \\u0141ód\\u017a\n")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux: full(4)")
def test_a_full_disk_under_the_output_is_told(tmp_path):
    create_hand(tmp_path / "hand", HandRecord("Keeper"))
    done = run_in_shell(f"record {tmp_path / 'hand'} > /dev/full")

    assert done.returncode == 1
    assert done.stderr == "ownhand: the output: No space left on device. Make room on the disk.\n"


def test_one_bad_page_does_not_cost_the_others(tmp_path, capsys):
    (tmp_path / "empty.png").touch()
    Image.fromarray(plain_picture().scan.pixels).save(tmp_path / "whole.png", dpi=(200, 200))

    code = main(["read", str(tmp_path / "hand"), str(tmp_path / "empty.png"), str(tmp_path / "whole.png")])

    said = capsys.readouterr()
    assert code == 5
    assert "empty.png" in said.err
    assert "whole-" in said.out, "by the name of its copy"


def test_a_machine_without_the_system_library_of_opencv_is_told_what_to_install(tmp_path):
    # What the loader says where libGL is not installed (Debian 12, libgl1 removed).
    (tmp_path / "cv2.py").write_text("raise ImportError('libGL.so.1: cannot open shared object file')\n")
    root = Path(__file__).parents[2]
    code = (
        f"import sys; sys.path[:0] = [{str(tmp_path)!r}, {str(root)!r}]; "
        "sys.argv = ['ownhand', 'trace', 'a.png', '--dpi', '300']; from ownhand.__main__ import run; run()"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)

    assert done.returncode == 6
    assert done.stderr.count("\n") == 1 and "apt-get install libgl1" in done.stderr
