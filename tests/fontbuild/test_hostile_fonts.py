"""Fonts that others made badly, or on purpose: read, or refused in one line, and soon."""

from __future__ import annotations

import json
import plistlib
import re
import time
from pathlib import Path

import numpy as np
import pytest
import ufoLib2
from ufoLib2.objects import Component, Contour, Point

from capture.errors import FontFileError
from fontbuild.extend import extend_font
from fontbuild.formats.opentype import save_opentype
from fontbuild.formats.packed import PACK, unpack
from fontbuild.formats.svg_font import svg_font
from fontbuild.formats.svg_font_reader import load_svg_font
from fontbuild.formats.ufo import load_ufo, save_ufo
from ownhand.composer import Composer
from tests.ownhand.hershey_font import hershey_font


def ufo_of(tmp_path: Path, parts: dict[str, list[str]]) -> Path:
    font = ufoLib2.Font()
    for number, (name, bases) in enumerate(parts.items()):
        glyph = font.newGlyph(name)
        glyph.unicodes = [97 + number]
        glyph.width = 500
        glyph.contours.append(Contour([Point(0, 0, "move"), Point(100, 100, "line")]))
        glyph.components = [Component(base) for base in bases]
    font.save(tmp_path / "font.ufo")
    return tmp_path / "font.ufo"


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ({"a": ["a"]}, "is a component of itself"),
        ({"a": ["b"], "b": ["c"], "c": ["a"]}, "is a component of itself"),
        ({f"g{n}": [f"g{n + 1}"] * 10 for n in range(12)} | {"g12": []}, "points"),
        ({f"g{n}": [f"g{n + 1}"] for n in range(60)} | {"g60": []}, "layers"),
    ],
)
def test_components_that_never_end_are_refused(tmp_path, parts, said):
    begin = time.process_time()
    with pytest.raises(FontFileError, match=said):
        load_ufo(ufo_of(tmp_path, parts))

    assert time.process_time() - begin < 20


SVG = svg_font(hershey_font())


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "iso-8859-1"])
def test_a_font_in_another_encoding_is_read_and_written_in_it(tmp_path, encoding):
    told = SVG.replace('encoding="UTF-8"', f'encoding="{encoding.removesuffix("-sig")}"')
    (tmp_path / "font.svg").write_bytes(told.encode(encoding, "xmlcharrefreplace"))

    extend_font(tmp_path / "font.svg", ["fr"], out=tmp_path / "out.svg")

    assert "é" in load_svg_font(tmp_path / "out.svg").font.glyphs


def test_300000_spaces_take_no_longer_than_other_text(tmp_path):
    (tmp_path / "font.svg").write_text(SVG.replace("</font>", " " * 300_000 + "</font>"), encoding="utf-8")
    begin = time.process_time()

    extend_font(tmp_path / "font.svg", ["fr"], out=tmp_path / "out.svg")

    assert time.process_time() - begin < 30


@pytest.mark.parametrize("path", ["M0 0L1e400 1", "M0 0A5 5 0 0 1 9 9L1e9 0", "M0", "L", "M0 0A1 1 9"])
def test_a_path_that_leads_nowhere_is_refused(tmp_path, path):
    glyph = f'<glyph unicode="a" horiz-adv-x="500" d="{path}"/>'
    (tmp_path / "font.svg").write_text(f'<svg><font><font-face units-per-em="1000"/>{glyph}</font></svg>')

    with pytest.raises(FontFileError, match="faulty path"):
        load_svg_font(tmp_path / "font.svg")


def test_an_arc_is_read(tmp_path):
    glyph = '<glyph unicode="a" horiz-adv-x="500" d="M0 0A50 50 0 0 1 100 100"/>'
    (tmp_path / "font.svg").write_text(f'<svg><font><font-face units-per-em="1000"/>{glyph}</font></svg>')

    (stroke,) = load_svg_font(tmp_path / "font.svg").font.glyphs["a"][0].strokes

    assert len(stroke) >= 4 and tuple(stroke[-1].round()) == (100, 100)


def test_the_same_letters_give_the_same_file(tmp_path, monkeypatch):
    font = hershey_font(variants=1)
    one = save_opentype(font, tmp_path / "one.ttf").read_bytes()
    monkeypatch.setattr("time.time", lambda: 2e9)

    assert save_opentype(font, tmp_path / "two.ttf").read_bytes() == one


WRONG = {
    "a letter of 1e300 units": ("glyphs/u0061.glif", r'width="[\d.]+"', 'width="1e300"'),
    "no size": ("lib.plist", r"<real>[\d.e-]+</real>", "<real>1e-300</real>"),
    "heights beyond all": ("lib.plist", r"<real>[\d.e-]+</real>", "<real>1e30</real>"),
    "heights that are none": ("lib.plist", r"<real>[\d.e-]+</real>", "<real>nan</real>"),
    "letters of kilometres": ("lib.plist", r"(mmPerUnit</key>\s*)<real>[\d.e-]+</real>", r"\1<real>900</real>"),
    "a family of a book": ("lib.plist", "Lamp Room", "Lamp" * 2000),
}


@pytest.mark.parametrize(("name", "old", "new"), WRONG.values(), ids=WRONG)
def test_a_font_whose_figures_no_hand_has_is_refused_when_it_is_read(tmp_path, name, old, new):
    ufo = save_ufo(hershey_font(variants=1), tmp_path / "font.ufo")
    changed = re.sub(old, new, (ufo / name).read_text(encoding="utf-8"))
    assert changed != (ufo / name).read_text(encoding="utf-8")
    (ufo / name).write_text(changed, encoding="utf-8")

    with pytest.raises(FontFileError):
        Composer(load_ufo(ufo))


@pytest.mark.parametrize(
    ("rhythm", "fault"),
    [
        ({"word_height_share": 0.2}, "word_height_share without word_height_share_error"),
        ({"step": 500.0, "step_sd": 3.0}, "step without step_share and step_sd"),
        ({"letters_seen": -20.0, "height_sd": 0.1}, "a letters_seen below 0"),
        ({"letters_seen": 90.0, "height_sd": 1000.0}, "a height_sd above 3"),
        ({"word_gap": [1.0]}, "no number"),
    ],
)
def test_a_rhythm_that_no_hand_has_is_refused_when_it_is_read(tmp_path, rhythm, fault):
    ufo = save_ufo(hershey_font(variants=1), tmp_path / "font.ufo")
    lib = plistlib.loads((ufo / "lib.plist").read_bytes())
    (ufo / "lib.plist").write_bytes(plistlib.dumps({**lib, "org.ownhand.rhythm": rhythm}))

    with pytest.raises(FontFileError, match=fault):
        load_ufo(ufo)


def test_a_licence_of_many_lines_is_no_fault(tmp_path):
    ufo = save_ufo(hershey_font(variants=1), tmp_path / "font.ufo")
    info, lib = (ufoLib2.Font.open(ufo).info, ufo / "lib.plist")
    lib.write_text(lib.read_text().replace("org.ownhand.record", "org.elsewhere.record"))
    font = ufoLib2.Font.open(ufo)
    font.info.openTypeNameLicense = "You may set cards in it.\nNothing else.\n" * 200
    font.save(ufo, overwrite=True)

    assert load_ufo(ufo).record.use.count("\n") == 400
    assert load_ufo(ufo).record.family == info.familyName


@pytest.mark.parametrize("field", ["points", "kerning", "advance", "kerned", "family"])
def test_a_forged_pack_counts_for_nothing(tmp_path, field):
    font = hershey_font(variants=1)
    ufo = save_ufo(font, tmp_path / "font.ufo")
    with np.load(ufo / PACK) as found:
        data = dict(found)
    head = json.loads(data["head"].tobytes())
    if field in ("points", "kerning"):
        data[field] = np.full((max(1, len(data[field])), 2)[: data[field].ndim], np.nan)
        data["pairs"] = np.zeros((len(data["kerning"]), 2), np.int64)
    elif field == "advance":
        head["glyphs"][3][2] = 1e300
    elif field == "kerned":
        head["kerned"] = [chr(0x4E00 + n) for n in range(20_000)]
    else:
        head["record"]["family"] = "\x1b[2J"
    data["head"] = np.frombuffer(json.dumps(head).encode(), np.uint8)
    np.savez_compressed(ufo / PACK, **data)

    assert unpack(ufo) is None
    assert set(load_ufo(ufo).glyphs) == set(font.glyphs)


def test_a_font_whose_letters_have_no_height_is_refused_by_what_is_wrong_with_it(tmp_path):
    face = '<font-face units-per-em="0"/><glyph unicode="t" d="M0 0"/>'
    (tmp_path / "flat.svg").write_text(f'<svg xmlns="http://www.w3.org/2000/svg"><font>{face}</font></svg>')

    with pytest.raises(FontFileError, match="0 high: see units-per-em"):
        load_svg_font(tmp_path / "flat.svg")


def letters(count: int) -> list[str]:
    return [chr(0x4E00 + n) for n in range(count)]


def test_a_line_that_kerns_thousands_of_letters_with_each_other_is_refused(tmp_path, monkeypatch):
    """Lists and ranges of letters (SVG 1.1, 20.7) and groups (UFO 3, kerning) name the square of what they list."""
    glyphs = "".join(f'<glyph unicode="{c}" d="M0 0L9 9" horiz-adv-x="50"/>' for c in letters(100))
    kerns = '<hkern u1="U+0-10FFFF" u2="U+0-10FFFF" k="5"/>'
    file = tmp_path / "font.svg"
    file.write_text(f'<svg><font><font-face units-per-em="1000" x-height="500"/>{glyphs}{kerns * 300}</font></svg>')
    monkeypatch.setattr("fontbuild.formats.svg_font_reader.MOST_PAIRS", 2_000_000)
    with pytest.raises(FontFileError, match="kerns more than"):
        load_svg_font(file)

    font = ufoLib2.Font()
    for n, c in enumerate(letters(100)):
        font.newGlyph(f"g{n}").unicodes = [ord(c)]
    for n in range(20):
        font.groups[f"public.kern1.{n}"] = [f"g{k}" for k in range(5 * n, 5 * n + 5)]
        font.groups[f"public.kern2.{n}"] = font.groups[f"public.kern1.{n}"]
        font.kerning[f"public.kern1.{n}", f"public.kern2.{n}"] = -9
    font.save(tmp_path / "font.ufo")
    monkeypatch.setattr("fontbuild.formats.ufo_reader.MOST_PAIRS", 400)
    with pytest.raises(FontFileError, match="kerns more than"):
        load_ufo(tmp_path / "font.ufo")


def test_a_note_of_brackets_alone_is_somebody_elses(tmp_path):
    font = ufoLib2.Font.open(ufo_of(tmp_path, {"a": []}))
    font.info.note = "ownhand " + "[" * 200_000
    font.save(tmp_path / "noted.ufo")

    assert set(load_ufo(tmp_path / "noted.ufo").glyphs) == {"a"}


def test_letters_that_say_they_are_nil_high_are_refused_and_not_divided_by(tmp_path):
    font = ufoLib2.Font.open(ufo_of(tmp_path, {"a": []}))
    names = ("x_height", "cap_height", "ascender", "descender", "slant_deg", "pen_width")
    font.lib["org.ownhand.metrics"] = dict.fromkeys(names, 0.0)
    font.save(tmp_path / "flat.ufo")

    for read in (load_ufo, lambda path: extend_font(path, ["fr"], out=tmp_path / "out.ufo")):
        with pytest.raises(FontFileError, match="does not hold together"):
            read(tmp_path / "flat.ufo")
