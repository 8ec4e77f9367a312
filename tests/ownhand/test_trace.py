"""A drawing straight to strokes, by the command."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET

import cv2
import numpy as np
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


def test_a_blank_picture_has_no_strokes(tmp_path, capsys):
    Image.fromarray(np.full((200, 200), 250, np.uint8)).save(tmp_path / "blank.png")

    assert main(["trace", str(tmp_path / "blank.png"), "--dpi", "300", "--format", "json"]) == 0

    assert json.loads(capsys.readouterr().out)["strokes"] == []


def test_an_existing_svg_is_kept_unless_forced(drawing, tmp_path):
    out = tmp_path / "mine.svg"
    out.write_text("mine")

    assert main(["trace", str(drawing), "--dpi", "300", "-o", str(out)]) == 4
    assert out.read_text() == "mine"
    assert main(["trace", str(drawing), "--dpi", "300", "-o", str(out), "--force"]) == 0
