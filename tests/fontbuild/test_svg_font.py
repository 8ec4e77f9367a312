"""SVG 1.1 fonts: w3.org/TR/SVG11/fonts.html; path data read by svgpathtools (PyPI), geometry compared with the font."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from svgpathtools import parse_path

from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.formats import svg_font as writer
from fontbuild.formats.hkern import grouped as group
from fontbuild.formats.svg_font import SVG, path_data, save_svg_fonts, sets, svg_font
from fontbuild.formats.svg_font_reader import load_svg_font
from fontbuild.geometry import sample_stroke
from fontbuild.naming import base_name
from tests.fontbuild.hands import hand

NS = f"{{{SVG}}}"


@pytest.fixture(scope="module")
def font() -> Font:
    return build_font(
        hand("aeiTo.&<", times=3, seed=2), Record('Skerry "Light"', "Ida Holm", use="cards & <notes>")
    ).font


@pytest.fixture(scope="module")
def tree(font: Font) -> ET.Element:
    return ET.fromstring(svg_font(font))


def test_the_font_has_the_elements_and_attributes_the_standard_asks_for(font: Font, tree: ET.Element) -> None:
    """SVG 1.1, 20.3: horiz-adv-x is required on font; 20.8.2: one font-face; 20.5: at most one missing-glyph."""
    (element,) = tree.iter(f"{NS}font")
    children = [child.tag.removeprefix(NS) for child in element]

    assert children[:2] == ["font-face", "missing-glyph"]
    assert set(children[2:]) <= {"glyph", "hkern"}
    assert float(element.attrib["horiz-adv-x"]) > 0
    face = element[0].attrib
    assert face["units-per-em"] == "1000"
    assert float(face["descent"]) < 0 < float(face["x-height"]) < float(face["cap-height"])
    assert {g.attrib["unicode"] for g in element.iter(f"{NS}glyph")} == set(font.glyphs)


def test_paths_are_the_strokes_open_and_y_up(font: Font, tree: ET.Element) -> None:
    for element in tree.iter(f"{NS}glyph"):
        glyph = font.glyphs[element.attrib["unicode"]][0]
        if not glyph.strokes:
            assert "d" not in element.attrib
            continue
        d = element.attrib["d"]
        subpaths = parse_path(d).continuous_subpaths()

        assert "z" not in d.lower()
        assert len(subpaths) == len(glyph.strokes)
        for path, stroke in zip(subpaths, glyph.strokes, strict=True):
            if len(stroke) == 1:
                assert path.length() == pytest.approx(1.0)
                continue
            there = np.array([path[0].point(0), *[piece.point(t) for piece in path for t in (0.25, 0.5, 0.75, 1.0)]])
            mine = sample_stroke(stroke, per_piece=4)
            np.testing.assert_allclose(np.column_stack([there.real, there.imag]), mine, atol=0.02)


def test_kerning_has_the_standards_sign_and_lists(font: Font, tree: ET.Element) -> None:
    """SVG 1.1, 20.7: k is 'the amount to decrease the spacing between the two glyphs'; g1 and g2 are lists."""
    elements = list(tree.iter(f"{NS}hkern"))
    found = {
        pair: float(e.attrib["k"])
        for e in elements
        for pair in product(e.attrib["g1"].split(","), e.attrib["g2"].split(","))
    }

    assert any(k < 0 for k in font.kerning.values())
    assert len(elements) < len(font.kerning)
    assert len(found) == len(font.kerning)
    for (a, b), k in font.kerning.items():
        assert found[base_name(a), base_name(b)] == pytest.approx(-k, abs=0.5)


def test_kerning_comes_back_from_the_file(font: Font, tmp_path: Path) -> None:
    (file, *_) = save_svg_fonts(font, tmp_path / "s.svg")
    there = load_svg_font(file).kerning_by_char

    assert there.keys() == font.kerning.keys()
    assert all(there[pair] == pytest.approx(k, abs=0.5) for pair, k in font.kerning.items())


def test_sets_of_an_earlier_build_go_and_other_files_stay(font: Font, tmp_path: Path) -> None:
    save_svg_fonts(font, tmp_path / "s.svg")
    (tmp_path / "s-4.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>", encoding="utf-8")
    (tmp_path / "s-card.svg").write_text("mine", encoding="utf-8")
    fewer = replace(font, glyphs={c: v[:2] for c, v in font.glyphs.items()})
    files = save_svg_fonts(fewer, tmp_path / "s.svg")

    assert [f.name for f in files] == ["s.svg", "s-2.svg"]
    assert {f.name for f in tmp_path.iterdir()} == {"s.svg", "s-2.svg", "s-4.svg", "s-card.svg"}


def test_every_set_of_variants_is_a_file(font: Font, tmp_path: Path) -> None:
    files = save_svg_fonts(font, tmp_path / "s.svg")
    drawn = [
        {g.attrib["unicode"]: g.attrib.get("d") for g in ET.parse(file).getroot().iter(f"{NS}glyph")} for file in files
    ]

    assert [f.name for f in files] == ["s.svg", "s-2.svg", "s-3.svg"]
    assert sets(font) == 3
    assert len({d["a"] for d in drawn}) == 3
    assert len({d[" "] for d in drawn}) == 1


def test_a_set_that_is_not_there_is_refused(font: Font) -> None:
    with pytest.raises(ValueError, match="1 to 3"):
        svg_font(font, variants=4)


def test_a_sequence_comes_before_its_first_letter() -> None:
    """SVG 1.1, 20.4: the first glyph in the file that matches the text is taken."""
    result = build_font(hand("ij", times=2), Record("S"))
    glyph = result.font.glyphs["i"][0]
    font = replace(result.font, glyphs={**result.font.glyphs, "ij": (replace(glyph, name="i_j", char="ij"),)})
    order = [g.attrib["unicode"] for g in ET.fromstring(svg_font(font)).iter(f"{NS}glyph")]

    assert order.index("ij") < order.index("i")


def test_no_number_is_minus_nothing() -> None:
    assert path_data((np.array([[-0.001, 0.001]]),)) == "M0 0h1"


def test_kerning_is_grouped_once_for_all_sets(font: Font, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    alone = [svg_font(font, variants=n) for n in range(1, sets(font) + 1)]
    grouped = []
    monkeypatch.setattr(writer, "grouped", lambda pairs: grouped.append(len(pairs)) or group(pairs))

    files = save_svg_fonts(font, tmp_path / "s.svg")

    assert len(files) == len(alone) > 1 and "<hkern" in alone[0]
    assert [f.read_text(encoding="utf-8") for f in files] == alone
    assert len(grouped) == 1
