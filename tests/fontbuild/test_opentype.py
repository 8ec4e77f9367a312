"""OpenType, used by programs that others wrote: OpenType Sanitizer, HarfBuzz and FreeType (all from PyPI)."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import freetype
import numpy as np
import ots
import pytest
import uharfbuzz as hb
from fontTools.pens.perimeterPen import PerimeterPen
from fontTools.ttLib import TTFont

from fontbuild.accents import build_sequence
from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.formats.code_pages import code_pages
from fontbuild.formats.opentype import outline, save_opentype
from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.habits import habits_of
from fontbuild.naming import base_name
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
    names, _ = shape(file, "eeeeee")

    assert len(names) == 6
    assert ".notdef" not in names
    assert all(a != b for a, b in pairwise(names))
    assert len(set(names)) == 3


def test_no_feature_brings_chance_in(file: Path) -> None:
    """HarfBuzz applies `rand` unasked, after `calt`, and equal neighbours come back."""
    tags = {record.FeatureTag for record in TTFont(file)["GSUB"].table.FeatureList.FeatureRecord}

    assert tags >= {"calt", "salt"}
    assert "rand" not in tags


@pytest.mark.parametrize("letter", ["e", "\u00e9"])
def test_a_letter_takes_all_its_shapes_before_one_comes_back(file: Path, font: Font, letter: str) -> None:
    """Over other letters between, accented ones as well as the others."""
    count = len(font.glyphs[letter])
    names, _ = shape(file, f"{letter}n{letter}t{letter}l{letter}")
    base = font.glyphs[letter][0].name
    own = [n for n in names if n.partition(".")[0] == base]

    assert count == 3 and len(own) == 4
    assert len(set(own[:3])) == len(set(own[1:])) == 3


def test_what_is_spelt_with_other_letters_on_pages_is_so_here(file: Path) -> None:
    assert [n.partition(".")[0] for n in shape(file, "\u0133")[0]] == ["i", "j"]
    assert ".notdef" in shape(file, "\ufb02")[0], "f was never written"


def test_spaces_that_do_not_break_are_as_wide_as_on_pages(file: Path, font: Font) -> None:
    gap = font.glyphs[" "][0].advance

    for char, share in (("\u00a0", 1.0), ("\u202f", 0.6)):
        names, positions = shape(file, char)
        assert ".notdef" not in names
        assert positions[0][2] == pytest.approx(share * gap, abs=1)


def test_a_second_mark_stands_on_the_first_and_free_of_it(file: Path, font: Font) -> None:
    """q with dot above and acute: GPOS mkmk."""
    names, positions = shape(file, "q\u0307\u0301")
    assert names == ["q", "dotaccentcomb", "acutecomb"] or len(names) == 3
    dot, acute = (next(g for v in font.glyphs.values() for g in v if g.name == n) for n in names[1:])
    low, high = (
        p[1] + edge(np.vstack(sample_glyph(g))[:, 1])
        for p, g, edge in ((positions[1], dot, np.max), (positions[2], acute, np.min))
    )

    assert high - low > font.metrics.pen_width


def test_the_code_pages_are_those_of_languages_that_are_complete(font: Font) -> None:
    letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
    stroke = np.array([[0.0, 0.0], [10.0, 100.0], [20.0, 200.0], [30.0, 300.0]])

    def with_letters(chars: str) -> Font:
        glyphs = {c: (Glyph(base_name(c), c, (stroke,), 100.0),) for c in chars}
        return replace(font, glyphs=glyphs)

    basic = letters + "0123456789.,:;!?…'’\"()-–—/&@%+=*#°‘“”"
    assert code_pages(font) == []
    assert code_pages(with_letters(basic)) == [0]
    assert code_pages(with_letters(basic + "çğıöşüÇĞİÖŞÜâîûÂÎÛ")) == [0, 4]


def test_without_alternates_every_letter_is_its_first_variant(file: Path) -> None:
    names, _ = shape(file, "eeee", calt=False)

    assert set(names) == {"e"}


@pytest.mark.parametrize("text", [POLISH, VIETNAMESE, "éjeẹ́"])
def test_text_in_several_languages_has_no_missing_letter(file: Path, text: str) -> None:
    names, positions = shape(file, text)

    assert ".notdef" not in names
    assert all(advance > 0 for (_, _, advance), n in zip(positions, names, strict=True) if "comb" not in n)


def test_a_combining_mark_stands_where_the_hand_puts_it(file: Path, font: Font) -> None:
    """q with acute has no code point of its own: GPOS positions the mark as our own page does, gap and all."""
    names, positions = shape(file, "q\u0301")
    q, acute = font.glyphs["q"][0], font.glyphs["\u0301"][0]
    (ours, *_) = build_sequence("q\u0301", font.glyphs, font.metrics, habits=habits_of(font.glyphs, font.metrics))
    dx, dy, advance = positions[1]

    assert names == ["q", "acutecomb"]
    assert advance == 0
    there = acute.strokes[0][0] + [dx + positions[0][2], dy]
    here = ours.strokes[len(q.strokes)][0]
    np.testing.assert_allclose(there, here, atol=0.06 * font.metrics.x_height)


def test_kerning_reaches_the_shaper(file: Path, font: Font) -> None:
    pair, k = min(((p, k) for p, k in font.kerning.items() if "".join(p).isascii()), key=lambda item: item[1])
    off = {"calt": False}
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


def test_a_letter_in_whose_overlaps_skia_loses_its_way_is_outlined_all_the_same() -> None:
    # of the sample's hand: at this very width the path operations of skia-pathops 0.9.2 give up
    stroke = np.fromstring(
        """258.65 294.74 226.33 305.81 191.98 311.66 163.1 291.26 134.21 270.87 110.86 248.22 97.15 217.05 83.44 185.88
        72.54 154.63 71.07 120.64 69.61 86.65 67.03 55.14 74.02 20.32 81.01 -14.51 129.87 -26.17 152.82 -0.41 175.77
        25.35 190.03 55.96 200.59 87.4 221.71 150.27 259.64 210.85 248.66 279.14 258.01 251.0 244.61 220.98 242.54
        191.88 240.47 162.78 235.0 134.83 233.06 104.26 231.12 73.69 228.36 50.21 230.45 15.2 232.55 -19.81 275.51
        -19.32 294.26 7.93""",
        sep=" ",
    ).reshape(-1, 2)
    found, beside = (outline([stroke], pen_width=w) for w in (43.06666666666666, 43.0))

    assert found.area == pytest.approx(beside.area, rel=0.01)
    assert found.bounds == pytest.approx(beside.bounds, abs=0.1)
