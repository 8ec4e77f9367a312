"""UFO 3, read back by ourselves, by ufoLib2 and by fontTools' ufoLib (unifiedfontobject.org/versions/ufo3)."""

from __future__ import annotations

import tempfile
import zipfile
from pathlib import Path

import numpy as np
import pytest
import ufoLib2
from fontTools.ufoLib import UFOReader
from fontTools.ufoLib.glifLib import GlyphSet
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from capture.errors import FontFileError, OutputError
from fontbuild.build import build_font
from fontbuild.font import Font, Metrics, Record
from fontbuild.formats.ufo import load_ufo, save_ufo
from fontbuild.formats.ufo_reader import says_its_size
from fontbuild.glyph import Glyph
from fontbuild.naming import variant_name
from tests.fontbuild.hands import hand

RECORD = Record("Skerry Light", "Ida Holm", "written consent of 3 May", "postcards of the lighthouse museum", 2026)


@pytest.fixture(scope="module")
def font() -> Font:
    return build_font(hand("aeinoAVT.'-", times=3, seed=4), RECORD).font


def same(a: Font, b: Font) -> None:
    assert a.record == b.record
    assert a.metrics == b.metrics
    assert a.mm_per_unit == b.mm_per_unit
    assert list(a.glyphs) == list(b.glyphs)
    # editors want whole units
    assert {pair: round(k) for pair, k in a.kerning.items()} == {pair: round(k) for pair, k in b.kerning.items()}
    assert dict(a.rhythm) == dict(b.rhythm)
    for one, two in zip(sum(a.glyphs.values(), ()), sum(b.glyphs.values(), ()), strict=True):
        assert (one.name, one.char, one.ductus, one.source) == (two.name, two.char, two.ductus, two.source)
        assert one.anchors == two.anchors
        assert one.advance == pytest.approx(two.advance, abs=1e-9)
        assert one.width == pytest.approx(two.width, abs=1e-9)
        assert len(one.strokes) == len(two.strokes)
        for s, t in zip(one.strokes, two.strokes, strict=True):
            np.testing.assert_allclose(s, t, atol=1e-9)


@pytest.mark.parametrize("zipped", [False, True])
def test_a_saved_font_is_the_same_font_when_it_is_loaded(font: Font, tmp_path: Path, zipped: bool) -> None:
    path = save_ufo(font, tmp_path / ("s.ufoz" if zipped else "s.ufo"), zipped=zipped)

    same(font, load_ufo(path))
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_fonttools_validates_every_part_of_the_ufo(font: Font, tmp_path: Path) -> None:
    path = save_ufo(font, tmp_path / "s.ufo")

    with UFOReader(path, validate=True) as reader:
        assert reader.formatVersionTuple == (3, 0)
        glyphs = reader.getGlyphSet(validateRead=True)
        names = list(glyphs.keys())
        info = type("Info", (), {})()
        reader.readInfo(info)
        lib, groups, kerning = reader.readLib(), reader.readGroups(), reader.readKerning()
        assert "calt" in reader.readFeatures()
    assert set(lib["public.glyphOrder"]) == set(names)
    assert info.familyName == "Skerry Light"
    assert info.openTypeNameLicense == RECORD.use
    assert lib["org.ownhand.mmPerUnit"] == font.mm_per_unit
    assert all(first in groups and second in groups for first, second in kerning)


def test_strokes_are_open_contours_and_a_dot_is_a_very_short_one(font: Font, tmp_path: Path) -> None:
    ufo = ufoLib2.Font.open(save_ufo(font, tmp_path / "s.ufo"))

    assert all(contour.open for glyph in ufo if glyph.name != ".notdef" for contour in glyph)
    assert [len(c) for c in ufo["period"]] == [2]
    assert ufo["a"].unicodes == [ord("a")]
    assert ufo["a.v2"].unicodes == []


@pytest.mark.parametrize("zipped", [False, True])
def test_whether_a_font_says_its_size_is_known_without_reading_its_glyphs(
    font: Font, tmp_path: Path, zipped: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = save_ufo(font, tmp_path / ("s.ufoz" if zipped else "s.ufo"), zipped=zipped)
    read: list[str] = []
    monkeypatch.setattr(GlyphSet, "readGlyph", lambda glyphs, name, *a, **k: read.append(name))

    assert says_its_size(path)
    assert read == []


def test_saving_again_replaces_the_whole_font(font: Font, tmp_path: Path) -> None:
    path = save_ufo(font, tmp_path / "s.ufo")
    small = build_font(hand("a", times=2), RECORD).font
    save_ufo(small, path)

    same(small, load_ufo(path))
    assert [p.name for p in tmp_path.iterdir()] == ["s.ufo"]


def test_a_folder_that_is_not_a_font_is_never_replaced(font: Font, tmp_path: Path) -> None:
    photos = tmp_path / "photos"
    photos.mkdir()
    (photos / "light.jpg").write_bytes(b"x")

    with pytest.raises(OutputError, match=r"photos: is there already and is not a UFO"):
        save_ufo(font, photos)
    assert (photos / "light.jpg").read_bytes() == b"x"


def test_what_is_not_a_ufo_is_named(tmp_path: Path, font: Font) -> None:
    empty = tmp_path / "e.ufo"
    empty.mkdir()
    torn = save_ufo(font, tmp_path / "t.ufo")
    (torn / "glyphs" / "a.glif").write_text("<glyph name='a' format='2'><outline><contour>")
    text = tmp_path / "x.ufoz"
    text.write_text("not a zip")

    for path in (empty, torn, text, tmp_path / "absent.ufo"):
        with pytest.raises(FontFileError, match=path.name):
            load_ufo(path)


def test_a_zipped_font_that_unpacked_would_fill_the_memory_is_not_unpacked(tmp_path: Path, font: Font) -> None:
    path = save_ufo(font, tmp_path / "s.ufoz", zipped=True)
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive, archive.open("s.ufo/data/dark", "w") as file:
        for _ in range(51):
            file.write(bytes(2**20))

    assert path.stat().st_size < 2**20
    with pytest.raises(FontFileError, match=r"s\.ufoz: unpacked .* its largest file 51; at most"):
        load_ufo(path)


@st.composite
def fonts(draw: st.DrawFn) -> Font:
    """Fonts of a few odd glyphs: dots, long strokes, sequences, characters of every plane, anchors, kerning."""
    number = st.integers(-90000, 90000).map(lambda n: n / 100)
    chars = draw(
        st.lists(
            st.sampled_from(["a", "A", "é", "ij", "q\u0301", "\u0301", " ", "–", "Ω", "😀", "€", "aa"]),
            min_size=1,
            max_size=5,
            unique=True,
        )
    )
    glyphs = {}
    for char in chars:
        variants = []
        for n in range(1, draw(st.integers(1, 3)) + 1):
            sizes = draw(st.lists(st.integers(0, 3), max_size=3))
            strokes = []
            for pieces in sizes:
                flat = draw(st.lists(number, min_size=6 * pieces + 2, max_size=6 * pieces + 2))
                stroke = np.array(flat).reshape(-1, 2)
                if pieces == 1 and np.ptp(stroke, axis=0).max() <= 1.0:
                    stroke = stroke + np.array([[0, 0], [0, 0], [0, 0], [0, 50.0]])  # too short: it would be a dot
                strokes.append(stroke)
            variants.append(
                Glyph(
                    variant_name(char, n),
                    char,
                    tuple(strokes),
                    advance=abs(draw(number)),
                    ductus=draw(st.sampled_from(["", "x/1"])),
                    anchors={"top": (draw(number), draw(number))} if draw(st.booleans()) else {},
                    source=draw(st.sampled_from(["", "s1/1/2.3", "built: e + acutecomb"])),
                )
            )
        glyphs[char] = tuple(variants)
    pairs = draw(st.dictionaries(st.tuples(st.sampled_from(chars), st.sampled_from(chars)), number, max_size=6))
    metrics = Metrics(400.5, 600.25, 650, -200.125, draw(st.floats(-20, 20)), 45.0)
    return Font(RECORD, metrics, draw(st.floats(0.001, 0.1)), glyphs, pairs, {"letter_gap": draw(number)})


@given(fonts())
@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
def test_any_font_survives_saving_and_loading(font: Font) -> None:
    with tempfile.TemporaryDirectory() as room:
        same(font, load_ufo(save_ufo(font, Path(room) / "f.ufo")))
