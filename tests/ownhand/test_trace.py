"""A drawing straight to strokes, by the command."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET

import cv2
import numpy as np
import pygcode
import pytest
from PIL import Image
from svgpathtools import parse_path

from ownhand.cli.main import main


@pytest.fixture
def drawing(tmp_path):
    """Give a horizontal line of 10 mm at y = 5 mm, drawn at 300 dpi with a 0.5 mm pen."""
    k = 300 / 25.4
    big = np.full((round(10 * k) * 8, round(20 * k) * 8), 255, np.uint8)
    ends = [tuple(round((v * k - 0.5) * 8 + 3.5) for v in p) for p in ((5.0, 5.0), (15.0, 5.0))]
    cv2.line(big, *ends, 40, round(0.5 * k * 8))
    small = cv2.resize(big, None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA)
    Image.fromarray(small).save(tmp_path / "line.png")
    return tmp_path / "line.png"


@pytest.mark.parametrize("useless", [["-o", "line.svg"], ["--machine", "desk.toml"]])
def test_what_json_would_leave_undone_is_refused(drawing, capsys, useless):
    assert main(["trace", str(drawing), "--dpi", "300", "--format", "json", *useless]) == 2
    assert "JSON goes to standard output" in capsys.readouterr().err


def test_json_gives_one_object_a_line_in_millimetres_from_the_top_left(drawing, capsys):
    assert main(["trace", str(drawing), str(drawing), "--dpi", "300", "--format", "json"]) == 0

    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    points = np.array(lines[0]["strokes"][0])
    assert len(lines) == 2 and lines[0]["image"] == str(drawing)
    np.testing.assert_allclose(points[:, 1], 5.0, atol=0.02)
    np.testing.assert_allclose(points[[0, -1], 0], [5.0, 15.0], atol=0.06)


def test_svg_is_in_millimetres_with_open_strokes(drawing, tmp_path):
    out = tmp_path / "line.svg"

    assert main(["trace", str(drawing), "--dpi", "300", "-o", str(out)]) == 0

    root = ET.parse(out).getroot()
    (path,) = root.iter("{http://www.w3.org/2000/svg}path")
    with Image.open(drawing) as picture:
        assert float(root.get("width").removesuffix("mm")) == pytest.approx(picture.width * 25.4 / 300, abs=1e-3)
    assert parse_path(path.get("d")).length() == pytest.approx(10.0, abs=0.1)


@pytest.mark.parametrize(
    ("suffix", "begins"),
    [("svg", b"<"), ("hpgl", b"IN;"), ("plt", b"IN;"), ("gcode", b"("), ("nc", b"("), ("png", b"\x89PNG")],
)
def test_the_suffix_says_what_is_written(drawing, tmp_path, suffix, begins):
    out = tmp_path / f"traced.{suffix}"

    assert main(["trace", str(drawing), "--dpi", "300", "-o", str(out)]) == 0

    assert out.read_bytes().startswith(begins)


def test_another_suffix_is_refused(drawing, tmp_path):
    assert main(["trace", str(drawing), "--dpi", "300", "-o", str(tmp_path / "line.dwg")]) == 2
    assert not (tmp_path / "line.dwg").exists()


def test_gcode_goes_through_the_drawing_on_the_machines_bed(drawing, tmp_path):
    (tmp_path / "m.toml").write_text('bed_mm = [300, 200]\norigin = "top left"\npaper_mm = [30, 40]\n')
    out = tmp_path / "line.gcode"

    command = ["trace", str(drawing), "--dpi", "300", "-o", str(out), "--machine", str(tmp_path / "m.toml")]
    assert main(command) == 0

    machine, down = pygcode.Machine(), []
    for raw in out.read_text().splitlines():
        machine.process_block(pygcode.Line(raw).block)
        if machine.pos.Z <= 0 and not raw.startswith(("(", "G2", "G9")):
            down.append((machine.pos.X, machine.pos.Y))
    np.testing.assert_allclose(np.array(down)[:, 1], 45.0, atol=0.02)
    np.testing.assert_allclose(np.sort(np.array(down)[:, 0])[[0, -1]], [35.0, 45.0], atol=0.06)


def hatching(file, *, dpi: int, gap_mm: float = 0.15, pen_mm: float = 0.35) -> None:
    """Draw ten slanting lines of 12 mm."""
    k, fine = dpi / 25.4, 4
    side = round(20 * k)
    big = np.full((side * fine, side * fine), 255, np.uint8)
    along = np.array([np.cos(0.4), np.sin(0.4)])
    for i in range(10):
        middle = 10 + (i - 4.5) * (pen_mm + gap_mm) * np.array([-along[1], along[0]])
        ends = [(middle + s * 6 * along) * k * fine for s in (-1, 1)]
        cv2.line(big, *[tuple(int(v * 16) for v in e) for e in ends], 25, round(pen_mm * k * fine), cv2.LINE_AA, 4)
    small = cv2.GaussianBlur(cv2.resize(big, (side, side), interpolation=cv2.INTER_AREA), (0, 0), 0.6)
    noisy = small + np.random.default_rng(1).normal(0, 5, small.shape)
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(file)


def test_hatching_too_fine_for_the_picture_is_refused_with_the_resolution_it_needs(tmp_path, capsys):
    hatching(tmp_path / "coarse.png", dpi=300)

    assert main(["trace", str(tmp_path / "coarse.png"), "--dpi", "300", "-o", str(tmp_path / "a.svg")]) == 3

    needed = int(re.search(r"Scan it at (\d+) dpi", capsys.readouterr().err)[1])
    assert 400 <= needed <= 600
    hatching(tmp_path / "fine.png", dpi=needed)
    assert main(["trace", str(tmp_path / "fine.png"), "--dpi", str(needed), "-o", str(tmp_path / "a.svg")]) == 0
    paths = list(ET.parse(tmp_path / "a.svg").getroot().iter("{http://www.w3.org/2000/svg}path"))
    assert len(paths) == 10
    assert sum(parse_path(p.get("d")).length() for p in paths) == pytest.approx(120, abs=3)


def test_solid_areas_are_told_of(tmp_path, capsys):
    picture = np.full((240, 240), 250, np.uint8)
    picture[80:140, 60:180] = 20
    Image.fromarray(picture).save(tmp_path / "blot.png")

    assert main(["trace", str(tmp_path / "blot.png"), "--dpi", "300", "-o", str(tmp_path / "a.svg")]) == 0

    assert "of solid areas only the middle line is drawn" in capsys.readouterr().err


def test_a_blank_picture_has_no_strokes(tmp_path, capsys):
    Image.fromarray(np.full((200, 200), 250, np.uint8)).save(tmp_path / "blank.png")

    assert main(["trace", str(tmp_path / "blank.png"), "--dpi", "300", "--format", "json"]) == 0

    assert json.loads(capsys.readouterr().out)["strokes"] == []


def test_a_file_without_a_stroke_is_told_of(tmp_path, capsys):
    Image.fromarray(np.full((90, 90), 255, np.uint8)).save(tmp_path / "blank.png")

    assert main(["trace", str(tmp_path / "blank.png"), "--dpi", "300", "-o", str(tmp_path / "blank.svg")]) == 0
    assert "blank.png holds no ink" in capsys.readouterr().err


@pytest.mark.parametrize("char", ["ab", ""])
def test_what_is_not_one_character_is_refused(drawing, capsys, char):
    assert main(["trace", str(drawing), "--dpi", "300", "--format", "json", "--char", char]) == 2
    assert "is not one character" in capsys.readouterr().err


def test_a_negative_is_told_as_such_and_black_areas_on_white_are_none(drawing, tmp_path, capsys):
    with Image.open(drawing) as picture:
        Image.fromarray(255 - np.asarray(picture)).save(tmp_path / "negative.png")
    half = np.full((200, 200), 250, np.uint8)
    half[20:180, 20:180] = 20  # most of it is ink
    Image.fromarray(half).save(tmp_path / "half.png")

    assert main(["trace", str(tmp_path / "negative.png"), "--dpi", "300", "-o", str(tmp_path / "a.svg")]) == 3
    said = capsys.readouterr().err
    assert "negative.png: the picture is inverted, white on black" in said and said.count("\n") == 1
    assert not (tmp_path / "a.svg").exists()
    assert main(["trace", str(tmp_path / "half.png"), "--dpi", "300", "-o", str(tmp_path / "b.svg")]) in (0, 3)
    assert "inverted" not in capsys.readouterr().err


def test_a_missing_picture_is_named_with_its_folder(tmp_path, capsys):
    missing = tmp_path / "drawings" / "gone.png"

    assert main(["trace", str(missing), "--dpi", "300", "-o", str(tmp_path / "a.svg")]) == 3

    said = capsys.readouterr().err
    assert said.startswith(f"ownhand: {missing}: cannot be opened")
    assert said.count("\n") == 1 and not (tmp_path / "a.svg").exists()


def test_an_existing_svg_is_kept_unless_forced(drawing, tmp_path):
    out = tmp_path / "mine.svg"
    out.write_text("mine")

    assert main(["trace", str(drawing), "--dpi", "300", "-o", str(out)]) == 4
    assert out.read_text() == "mine"
    assert main(["trace", str(drawing), "--dpi", "300", "-o", str(out), "--force"]) == 0


def test_of_a_file_of_many_pictures_none_is_decoded(tmp_path, monkeypatch, capsys):
    page = Image.new("1", (200, 200), 1)
    page.save(tmp_path / "many.tif", save_all=True, append_images=[page] * 40, compression="group4")
    monkeypatch.setattr("capture.scan_image._pixels", lambda frame: pytest.fail("decoded"))

    for command in (["trace", str(tmp_path / "many.tif"), "--dpi", "300", "--format", "json"],):
        assert main(command) == 3
        assert "holds 41 pictures, one was expected" in capsys.readouterr().err


@pytest.mark.parametrize("dpi", ["nan", "inf", "-inf", "1e400", "9" * 400, "0", "x"])
def test_a_resolution_that_is_none_is_refused_in_one_line(tmp_path, capsys, dpi):
    Image.new("L", (90, 60), 255).save(tmp_path / "x.png")

    for command in (["trace", str(tmp_path / "x.png")], ["letter", str(tmp_path / "h"), str(tmp_path / "x.png"), "-"]):
        assert main([*command, f"--dpi={dpi}"]) == 2
        said = capsys.readouterr().err
        assert said.startswith("ownhand: Invalid value for '--dpi'") and said.count("\n") == 1


def test_a_photograph_without_a_line_is_told_of_once(tmp_path, capsys):
    shade = np.add.outer(np.linspace(0, 120, 600), np.linspace(0, 120, 800))
    Image.fromarray(shade.astype(np.uint8)).save(tmp_path / "photo.jpg")

    assert main(["trace", str(tmp_path / "photo.jpg"), "--dpi", "300", "-o", str(tmp_path / "photo.svg")]) == 0
    said = capsys.readouterr().err
    assert "wide and no line: nothing is drawn" in said and "holds no ink" not in said and "middle line" not in said
