"""OpenType, used by programs that others wrote: OpenType Sanitizer, HarfBuzz and FreeType (all from PyPI)."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import freetype
import numpy as np
import ots
import pytest
import uharfbuzz as hb
from fontTools.pens.perimeterPen import PerimeterPen
from fontTools.ttLib import TTFont

from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.formats.opentype import outline, save_opentype
from fontbuild.geometry import sample_glyph
from skeleton.geometry.arc_length import line_length
from tests.fontbuild.hands import hand

POLISH, VIETNAMESE = "Zażółć gęślą jaźń", "Việt"
MARKS = "\u0301\u0307\u0302\u0323\u0328"


@pytest.fixture(scope="module")
def font() -> Font:
    letters = sorted(set("Zaolcgesljznieutmq.V"))
    attempts = hand("".join(letters), times=3, marks=MARKS, seed=3)
    from tests.fontbuild.hands import attempt, letterform, scattered

    rng = np.random.default_rng(8)
    stroke = np.linspace((1.0, 2.2), (3.2, 3.4), 20)
    attempts += [attempt("ł", scattered([*letterform("l"), stroke], rng), n) for n in (1, 2)]
    return build_font(attempts, Record("Skerry Light", "Ida Holm", "consent", "postcards only", 2026)).font


@pytest.fixture(scope="module", params=["ttf", "otf"])
def file(font: Font, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return save_opentype(font, tmp_path_factory.mktemp("font") / f"s.{request.param}")


def shape(file: Path, text: str, **features: bool) -> tuple[list[str], list[tuple[int, int, int]]]:
    font = hb.Font(hb.Face(hb.Blob.from_file_path(str(file))))
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    hb.shape(font, buffer, features)
    names = [font.glyph_to_string(i.codepoint) for i in buffer.glyph_infos]
    return names, [(p.x_offset, p.y_offset, p.x_advance) for p in buffer.glyph_positions]


def test_the_sanitizer_accepts_the_font(file: Path) -> None:
    done = ots.sanitize(str(file), capture_output=True)

    assert done.returncode == 0, done.stderr


def test_the_same_letter_typed_again_and_again_turns_over(file: Path) -> None:
    for features in ({}, {"rand": False}):
        names, _ = shape(file, "eeeeee", **features)

        assert len(names) == 6
        assert ".notdef" not in names
        assert all(a != b for a, b in pairwise(names))
        assert len(set(names)) == 3


def test_without_alternates_every_letter_is_its_first_variant(file: Path) -> None:
    names, _ = shape(file, "eeee", calt=False, rand=False)

    assert set(names) == {"e"}


@pytest.mark.parametrize("text", [POLISH, VIETNAMESE, "éjeẹ́"])
def test_text_in_several_languages_has_no_missing_letter(file: Path, text: str) -> None:
    names, positions = shape(file, text)

    assert ".notdef" not in names
    assert all(advance > 0 for (_, _, advance), n in zip(positions, names, strict=True) if "comb" not in n)


def test_a_combining_mark_sits_on_its_letter(file: Path, font: Font) -> None:
    """q with acute has no code point of its own: the mark is positioned by GPOS."""
    names, positions = shape(file, "q\u0301", rand=False)
    q = font.glyphs["q"][0]
    acute = font.glyphs["\u0301"][0]
    dx, dy, advance = positions[1]

    assert names == ["q", "acutecomb"]
    assert advance == 0
    want = np.array(q.anchors["top"]) - np.array(acute.anchors["_top"])
    np.testing.assert_allclose([dx + positions[0][2], dy], want, atol=2)


def test_kerning_reaches_the_shaper(file: Path, font: Font) -> None:
    pair, k = min(((p, k) for p, k in font.kerning.items() if "".join(p).isascii()), key=lambda item: item[1])
    off = {"calt": False, "rand": False}
    kerned, plain = (shape(file, "".join(pair), **off, kern=on)[1][0][2] for on in (True, False))

    assert kerned - plain == pytest.approx(k, abs=1)


def test_freetype_renders_strokes_of_the_pens_width(file: Path, font: Font) -> None:
    face = freetype.Face(str(file))
    face.set_pixel_sizes(0, 500)
    face.load_char("l", freetype.FT_LOAD_RENDER)
    bitmap = face.glyph.bitmap
    ink = np.array(bitmap.buffer).reshape(bitmap.rows, bitmap.pitch)[:, : bitmap.width] > 127
    runs = ink[bitmap.rows // 4 : bitmap.rows * 3 // 4].sum(axis=1)

    assert np.median(runs) == pytest.approx(font.metrics.pen_width / 2, rel=0.15)


def test_drawing_the_centre_line_takes_half_the_way_of_the_outline(file: Path, font: Font) -> None:
    """Common practice, no source: an outline font makes the plotter draw every stroke twice."""
    compiled = TTFont(file)
    drawn = compiled.getGlyphSet()
    inner = outer = 0.0
    for char in "acelnosuz":
        pen = PerimeterPen(drawn, 0.5)
        drawn[char].draw(pen)
        outer += pen.value
        inner += sum(map(line_length, sample_glyph(font.glyphs[char][0])))

    assert 0.42 < inner / outer < 0.53


def test_names_and_licence_come_from_the_record(file: Path) -> None:
    names = TTFont(file)["name"]

    assert names.getDebugName(1) == "Skerry Light"
    assert names.getDebugName(9) == "Ida Holm"
    assert "postcards only" in names.getDebugName(13)
    assert "Not for signatures" in names.getDebugName(13)


def test_crossing_strokes_become_one_outline() -> None:
    up = np.array([[0.0, -100], [0, -50], [0, 50], [0, 100]])
    across = up[:, ::-1]

    assert len(list(outline((up, across), pen_width=20).contours)) == 1
    assert outline((np.array([[5.0, 5.0]]),), pen_width=20).area == pytest.approx(np.pi * 100, rel=0.01)


def test_the_sanitizer_does_find_faults(file: Path, tmp_path: Path) -> None:
    data = bytearray(file.read_bytes())
    data[len(data) // 2 :] = b""
    broken = tmp_path / "broken.ttf"
    broken.write_bytes(bytes(data))

    assert ots.sanitize(str(broken), capture_output=True).returncode != 0
