"""Extending fonts that others made: a single-line SVG font of Hershey's letters (PyPI Hershey-Fonts), and UFO files."""

from __future__ import annotations

import unicodedata
import xml.etree.ElementTree as ET
from pathlib import Path
from xml.sax.saxutils import quoteattr

import numpy as np
import pytest
import ufoLib2
from svgpathtools import parse_path

from capture.errors import FontFileError, UsageError
from fontbuild.build import build_font
from fontbuild.extend import extend_font
from fontbuild.font import Record
from fontbuild.formats.svg_font_reader import load_svg_font
from fontbuild.formats.ufo import load_ufo, save_ufo
from tests.fontbuild.hands import hand

HEAD = """<?xml version="1.0" encoding="{encoding}" standalone="no"?>
<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">
<!-- kept as it is: </font> in a comment, and é -->
<svg xmlns="http://www.w3.org/2000/svg" version="1.1"><defs>
<font id="lamp" horiz-adv-x="500" >
<font-face font-family="Lamp" units-per-em="1000" ascent="800" descent="-200" x-height="420"/>
<missing-glyph horiz-adv-x="500" />
"""


def hershey_svg(*, encoding: str = "UTF-8") -> str:
    from HersheyFonts import HersheyFonts

    hershey = HersheyFonts()
    hershey.load_default_font("rowmans")
    lines = []
    for char, glyph in hershey.all_glyphs.items():
        if not " " <= char <= "~":
            continue
        d = " ".join(
            "M " + " L ".join(f"{(x - glyph.left_offset) * 30} {(glyph.base_line - y) * 30}" for x, y in line)
            for line in glyph.strokes
        )
        lines.append(f'<glyph unicode={quoteattr(char)} horiz-adv-x="{glyph.char_width * 30}" d="{d}" />')
    kerning = '<hkern u1="T" u2="o,e" k="60"/>'
    return HEAD.format(encoding=encoding) + "\n".join(lines) + f"\n{kerning}\n</font></defs>\n</svg>\n"


@pytest.fixture
def lamp(tmp_path: Path) -> Path:
    path = tmp_path / "lamp.svg"
    path.write_text(hershey_svg(), encoding="utf-8")
    return path


def test_a_font_that_only_knows_ascii_learns_czech_and_french(lamp: Path, tmp_path: Path) -> None:
    done = extend_font(lamp, ["ces", "fra"], out=tmp_path / "more.svg")
    glyphs = {g.get("unicode"): g for g in ET.parse(done.path).getroot().iter("{http://www.w3.org/2000/svg}glyph")}

    assert {"ě", "š", "č", "ř", "ž", "ů", "é", "è", "ç", "ï"} - set(done.missing) <= set(done.added)
    assert {"ě", "š", "é", "è", "ê", "ç", "ï"} <= set(glyphs)
    for char in done.added:
        d = glyphs[char].get("d", "")
        assert "z" not in d.lower()
        assert parse_path(d).length() > 0


def test_turkish_gets_its_dotless_i_and_french_does_not(lamp: Path, tmp_path: Path) -> None:
    turkish = extend_font(lamp, ["tur"], out=tmp_path / "t.svg")

    assert {"ı", "İ", "ğ", "ş"} <= set(turkish.added)
    assert "ı" not in extend_font(lamp, ["fra"], out=tmp_path / "f.svg").added


def test_every_byte_that_was_there_stays(lamp: Path, tmp_path: Path) -> None:
    before = lamp.read_text(encoding="utf-8")
    after = extend_font(lamp, ["fra"], out=tmp_path / "more.svg").path.read_text(encoding="utf-8")
    at = before.rindex("</font>")

    assert after.startswith(before[:at].rstrip(" "))
    assert after.endswith(before[at:])
    assert lamp.read_text(encoding="utf-8") == before


def test_an_accented_letter_is_as_wide_and_kerned_as_its_base(lamp: Path, tmp_path: Path) -> None:
    more = load_svg_font(extend_font(lamp, ["fra"], out=tmp_path / "more.svg").path)

    assert more.font.glyphs["é"][0].advance == more.font.glyphs["e"][0].advance
    assert more.kerning_by_char["T", "é"] == more.kerning_by_char["T", "e"] == -60


def test_extending_twice_adds_nothing_more(lamp: Path, tmp_path: Path) -> None:
    once = extend_font(lamp, ["pol"], out=tmp_path / "once.svg")
    twice = extend_font(once.path, ["pol"], out=tmp_path / "twice.svg")

    assert once.added
    assert twice.added == ()
    assert twice.path.read_bytes() == once.path.read_bytes()


def test_latin_1_files_stay_latin_1(tmp_path: Path) -> None:
    path = tmp_path / "l1.svg"
    path.write_bytes(hershey_svg(encoding="ISO-8859-1").encode("latin-1"))
    done = extend_font(path, ["ces"], out=tmp_path / "more.svg")
    glyphs = [g.get("unicode") for g in ET.parse(done.path).getroot().iter("{http://www.w3.org/2000/svg}glyph")]

    assert "č" in glyphs


def test_a_prefix_of_the_svg_namespace_is_kept(tmp_path: Path) -> None:
    text = hershey_svg()
    for name in ("svg", "defs", "font", "font-face", "missing-glyph", "glyph", "hkern"):
        text = text.replace(f"<{name} ", f"<s:{name} ").replace(f"<{name}>", f"<s:{name}>")
        text = text.replace(f"</{name}>", f"</s:{name}>")
    path = tmp_path / "p.svg"
    path.write_text(text.replace("xmlns=", "xmlns:s="), encoding="utf-8")
    done = extend_font(path, ["fra"], out=tmp_path / "more.svg")
    glyphs = [g.get("unicode") for g in ET.parse(done.path).getroot().iter("{http://www.w3.org/2000/svg}glyph")]

    assert "é" in glyphs


def test_a_name_that_stands_for_something_else_is_left_to_it_and_said(tmp_path: Path) -> None:
    font = build_font(hand("aeinouxhyEO", times=2, marks="\u0301\u0300"), Record("S"), accents=False).font
    path = save_ufo(font, tmp_path / "s.ufo")
    ufo = ufoLib2.Font.open(path)
    ufo.renameGlyph("x", "eacute")
    ufo.save(path, overwrite=True)

    done = extend_font(path, ["fra"], out=tmp_path / "more.ufo")

    after = ufoLib2.Font.open(done.path)
    assert done.renamed == (("é", "eacute.v2"),)
    assert after["eacute"].unicodes == [ord("x")]
    assert after["eacute.v2"].unicodes == [ord("é")]
    assert load_ufo(done.path).glyphs["é"][0].name == "eacute.v2"


def test_a_ufo_keeps_what_it_has_and_gains_accents(tmp_path: Path) -> None:
    font = build_font(hand("aeoc", times=2, marks="\u0301\u0327"), Record("S"), accents=False).font
    path = save_ufo(font, tmp_path / "s.ufo")
    ufo = ufoLib2.Font.open(path)
    ufo.lib["com.example.note"] = "from elsewhere"
    ufo["a"].note = "drawn in May"
    ufo.save(path, overwrite=True)
    done = extend_font(path, ["fra"], out=tmp_path / "more.ufo")
    after = ufoLib2.Font.open(done.path)

    assert {"é", "ç"} <= set(done.added)
    assert "ù" in done.missing
    assert after["eacute"].unicodes == [0xE9]
    assert len(after["eacute"]) == len(ufo["e"]) + 1
    assert after.lib["com.example.note"] == "from elsewhere"
    assert after["a"].note == "drawn in May"
    for name in ("a", "e", "a.v2"):
        assert after[name].contours == ufo[name].contours


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "not an SVG font"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><path d='M0 0'/></svg>", "without a <font>"),
        (b"<!DOCTYPE x [<!ENTITY a 'aaaa'><!ENTITY b '&a;&a;'>]><svg><font>&b;</font></svg>", "entities of its own"),
        (b"<svg><font><glyph unicode='a' d='M 0 0 L nonsense'/></font></svg>", "glyph 'a' has a faulty path"),
        (b"<svg><font></font></svg>", "font without glyphs"),
    ],
)
def test_faulty_svg_fonts_are_named_in_one_line(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "bad.svg"
    path.write_bytes(content)

    with pytest.raises(FontFileError, match=said) as caught:
        load_svg_font(path)
    assert "bad.svg" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_extended_font_stays_of_its_kind(lamp: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="stays of its kind"):
        extend_font(lamp, ["fra"], out=tmp_path / "lamp.ufo")
    with pytest.raises(FontFileError, match="neither"):
        extend_font(tmp_path / "x.ttf", ["fra"], out=tmp_path / "y.ttf")


def test_marks_stand_over_their_letters_in_a_foreign_font(lamp: Path, tmp_path: Path) -> None:
    font = load_svg_font(extend_font(lamp, ["ces"], out=tmp_path / "more.svg").path).font
    for char in "šěčÁ":
        glyph = font.glyphs[char][0]
        plain = len(font.glyphs[unicodedata.normalize("NFD", char)[0]][0].strokes)
        base, sign = np.vstack(glyph.strokes[:plain]), np.vstack(glyph.strokes[plain:])

        assert sign[:, 1].min() > base[:, 1].max() - 0.2 * font.metrics.x_height
        assert abs(sign[:, 0].mean() - base[:, 0].mean()) < 0.35 * font.metrics.x_height
