"""Our SVG fonts in programs of others, both from Debian.

A font editor (fontforge-nox) through its Python scripting; a renderer that implements SVG fonts (libbatik-java),
beside resvg (PyPI resvg_py), which draws the same strokes as plain paths.
"""

from __future__ import annotations

import json
import plistlib
import subprocess
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import resvg_py
from numpy.typing import NDArray

from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.formats.drawing import DOT
from fontbuild.formats.svg_font import SVG, path_data, save_svg_fonts, svg_font
from fontbuild.formats.ufo import load_ufo, save_ufo
from fontbuild.formats.ufo_reader import says_its_size
from fontbuild.glyph import Glyph
from tests.fontbuild.hands import hand

DUMP = """
import fontforge, json, sys
font = fontforge.open(sys.argv[1])
glyphs = {}
for glyph in font.glyphs():
    contours = [{"closed": bool(c.closed), "points": [[p.x, p.y] for p in c]} for c in glyph.foreground]
    kerns = {row[2]: row[5] for row in glyph.getPosSub("*") if row[1] == "Pair"}
    glyphs[glyph.glyphname] = {"code": glyph.unicode, "width": glyph.width, "contours": contours, "kerns": kerns}
json.dump({"em": font.em, "family": font.familyname, "glyphs": glyphs}, open(sys.argv[2], "w"))
"""


def inked(png: bytes) -> NDArray[np.bool_]:
    """Return where a picture is dark."""
    picture = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    return np.asarray(picture) < 128


@pytest.fixture(scope="module")
def font() -> Font:
    made = build_font(hand("aeioyTVW.&", times=2, marks="\u0301\u0308", seed=2), Record("Skerry")).font
    turn = np.radians(30.0 * np.arange(13))  # a twelve-sided frame of control points, ends meeting
    ring = np.round(np.column_stack([200 + 150 * np.cos(turn), 400 + 150 * np.sin(turn)]), 2)
    loop = Glyph("degree", "\u00b0", (ring, ring[:4] + 200.0), 350.0)  # its ends meet
    return replace(made, glyphs={**made.glyphs, "\u00b0": (loop,)})


@pytest.fixture
def opened(font: Font, tool: Callable[[str], str], tmp_path: Path) -> dict[str, Any]:
    program = tool("fontforge")
    file = save_svg_fonts(font, tmp_path / "s.svg")[0]
    script, out = tmp_path / "dump.py", tmp_path / "dump.json"
    script.write_text(DUMP, encoding="utf-8")
    command = [program, "-lang=py", "-script", str(script), str(file), str(out)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    return dict(json.loads(out.read_text(encoding="utf-8")))


def test_a_font_editor_imports_the_same_open_strokes(font: Font, opened: dict[str, Any]) -> None:
    by_code = {g["code"]: g for g in opened["glyphs"].values() if g["code"] > 0}

    assert opened["em"] == 1000
    assert opened["family"] == "Skerry"
    assert set(by_code) == {ord(char) for char in font.glyphs if len(char) == 1}
    for char, (glyph, *_) in font.glyphs.items():
        there = by_code[ord(char)]
        assert there["width"] == pytest.approx(max(glyph.advance, 0.0), abs=1.0)
        assert len(there["contours"]) == len(glyph.strokes), char
        for contour, stroke in zip(there["contours"], glyph.strokes, strict=True):
            points = np.array(contour["points"])
            mine = stroke if len(stroke) > 1 else np.array([stroke[0], stroke[0] + [DOT, 0.0]])
            assert not contour["closed"], char
            np.testing.assert_allclose(points, mine, atol=0.02, err_msg=char)


def test_a_font_editor_reads_the_kerning_out_of_our_lists(font: Font, opened: dict[str, Any]) -> None:
    names = {g["code"]: name for name, g in opened["glyphs"].items()}
    for (a, b), k in font.kerning.items():
        kerns = opened["glyphs"][names[ord(a)]]["kerns"]
        assert kerns[names[ord(b)]] == pytest.approx(k, abs=1.0), (a, b)


def test_a_ufo_that_comes_back_from_a_font_editor_keeps_its_size_ductus_and_kerning(
    font: Font, tool: Callable[[str], str], tmp_path: Path
) -> None:
    """The editor drops our `lib` altogether, and kerning that is not in whole units."""
    ours = save_ufo(font, tmp_path / "s.ufo")
    script = tmp_path / "through.py"
    script.write_text("import fontforge, sys\nfontforge.open(sys.argv[1]).generate(sys.argv[2])\n", "utf-8")
    command = [tool("fontforge"), "-lang=py", "-script", str(script), str(ours), str(tmp_path / "back.ufo")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    lib = plistlib.loads((tmp_path / "back.ufo" / "lib.plist").read_bytes())
    assert not any(key.startswith("org.ownhand.") for key in lib)

    back, before = load_ufo(tmp_path / "back.ufo"), load_ufo(ours)

    assert says_its_size(tmp_path / "back.ufo")
    assert back.mm_per_unit == before.mm_per_unit
    assert back.metrics == before.metrics
    assert {c: [g.ductus for g in v] for c, v in back.glyphs.items()} == {
        c: [g.ductus for g in v] for c, v in before.glyphs.items()
    }
    kept = {pair: k for pair, k in back.kerning.items() if k}
    assert len(kept) > 0.95 * len({pair for pair, k in before.kerning.items() if k})
    assert all(k == before.kerning[pair] for pair, k in kept.items())


def test_kerning_of_a_ufo_is_in_whole_units(font: Font, tmp_path: Path) -> None:
    kerning = plistlib.loads((save_ufo(font, tmp_path / "s.ufo") / "kerning.plist").read_bytes())

    assert all(isinstance(k, int) for row in kerning.values() for k in row.values())


@pytest.mark.parametrize("text", ["To Véi", "aÿ&W."])
def test_a_renderer_of_svg_fonts_draws_the_strokes_where_they_belong(
    font: Font, tool: Callable[[str], str], tmp_path: Path, text: str
) -> None:
    """The pictures may differ by a pixel: two renderers, and kerning in whole units."""
    program = tool("rasterizer")
    size = {"viewBox": "0 0 4000 1600", "width": "1000", "height": "400"}
    root = ET.fromstring(svg_font(font))
    root.attrib.update(size)
    pen = {"fill": "none", "stroke": "black", "stroke-width": "30", "stroke-linecap": "round"}
    place = {"x": "200", "y": "1100", "font-family": "Skerry", "font-size": "1000"}
    ET.SubElement(root, f"{{{SVG}}}text", {**pen, **place}).text = text
    theirs, file = tmp_path / "theirs.png", tmp_path / "text.svg"
    ET.ElementTree(root).write(file, encoding="utf-8")
    command = [program, "-bg", "255.255.255.255", "-d", str(theirs), str(file)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert theirs.exists(), done.stdout + done.stderr

    plain = ET.Element("svg", {"xmlns": SVG, **size})
    x = 200.0
    for k, char in enumerate(text):
        glyph = font.glyphs[char][0]
        where = f"translate({x} 1100) scale(1 -1)"
        ET.SubElement(plain, "path", {**pen, "d": path_data(glyph.strokes), "transform": where})
        x += glyph.advance + font.kerning.get((char, text[k + 1 : k + 2]), 0.0)
    ours = resvg_py.svg_to_bytes(svg_string=ET.tostring(plain, encoding="unicode"), background="white")

    a, b = inked(theirs.read_bytes()), inked(bytes(ours))
    assert a.shape == b.shape
    assert b.sum() > 3000
    for one, other in ((a, b), (b, a)):
        away = cv2.distanceTransform((~other).astype(np.uint8), cv2.DIST_L2, 5)
        assert away[one].max() <= 1.5
