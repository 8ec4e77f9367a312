"""Sheets filled in for fonts that others made: Hershey's letters (PyPI Hershey-Fonts) as an SVG font, and a UFO."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import ufoLib2

from capture.errors import InputError
from fontbuild.build import build_font
from fontbuild.extend import extend_font
from fontbuild.font import Record
from fontbuild.formats.svg_font_reader import load_svg_font
from fontbuild.formats.ufo import save_ufo
from fontbuild.geometry import glyph_bounds, sample_glyph
from fontbuild.usable_attempts import BuildingRules
from skeleton.attempt import Attempt
from tests.fontbuild.hands import X_HEIGHT_MM, attempt, hand, letterform, mark, scattered
from tests.fontbuild.test_extend import hershey_svg

ACUTE, HOOK = "\u0301", "\u0309"


def written(char: str, *marks: str, size: float = 1.0, times: int = 3, seed: int = 3) -> list[Attempt]:
    """Return attempts at an accented letter, or at what a Greek letter of the same shape stands for."""
    rng = np.random.default_rng(seed)
    base = "n" if char == "ŋ" else "Ee"[char.islower()]
    above = (1.5 + 0.55 * char.isupper()) * X_HEIGHT_MM
    lines = [*letterform(base), *(p for m in marks for p in mark(m, (1.8, above)))]
    heights = {"x_height_mm": size * X_HEIGHT_MM, "ascender_mm": size * 5.6, "descender_mm": size * -2.4}
    return [
        attempt(char, [p * size for p in scattered(lines, rng, strength=0.3)], n, **heights)
        for n in range(1, times + 1)
    ]


@pytest.fixture
def lamp(tmp_path: Path) -> Path:
    path = tmp_path / "lamp.svg"
    path.write_text(hershey_svg(), encoding="utf-8")
    return path


@pytest.mark.parametrize("size", [0.8, 1.6])
def test_written_letters_come_in_at_the_fonts_size_whatever_the_sheets(lamp: Path, tmp_path: Path, size: float) -> None:
    sheet = [*written("é", ACUTE, size=size), *written("É", ACUTE, size=size), *written("ŋ", size=size)]
    done = extend_font(lamp, ["fra"], out=tmp_path / "more.svg", attempts=sheet)
    font = load_svg_font(done.path).font

    assert {"é", "É", "ŋ"} == set(done.written)
    assert glyph_bounds(font.glyphs["ŋ"][0])[3] == pytest.approx(font.metrics.x_height, rel=0.08)
    for char, base in (("é", "e"), ("É", "E")):
        here, there = font.glyphs[char][0], font.glyphs[base][0]
        tops = sorted(float(s[:, 1].max()) for s in sample_glyph(here))
        assert tops[-2] == pytest.approx(glyph_bounds(there)[3], rel=0.1)
        assert here.advance == pytest.approx(there.advance, rel=0.15)


def test_a_written_letter_wins_and_its_mark_serves_the_others(lamp: Path, tmp_path: Path) -> None:
    composed = load_svg_font(extend_font(lamp, ["fra", "spa"], out=tmp_path / "a.svg").path).font
    done = extend_font(lamp, ["fra", "spa"], out=tmp_path / "b.svg", attempts=written("é", ACUTE))
    font = load_svg_font(done.path).font

    assert done.written == ("é",)
    assert {"é", "á", "í", "ó", "ú"} <= set(done.added)
    marks = [font.glyphs[char][0].strokes[-1] for char in "éáó"]
    for sign in marks[1:]:  # the font's own slash would be steeper
        np.testing.assert_allclose(sign - sign[0], marks[0] - marks[0][0], atol=0.05)
    slash = composed.glyphs["á"][0].strokes[-1]
    assert np.abs((marks[1] - marks[1][0]) - (slash - slash[0])).max() > 10
    assert font.glyphs["á"][0].advance == font.glyphs["a"][0].advance


def test_what_is_in_the_font_stays_though_it_was_written_too(lamp: Path, tmp_path: Path) -> None:
    before = lamp.read_text(encoding="utf-8")
    done = extend_font(lamp, [], out=tmp_path / "b.svg", attempts=[*hand("ae", times=3), *written("é", ACUTE)])
    after = done.path.read_text(encoding="utf-8")
    at = before.rindex("</font>")

    assert done.added == done.written == ("é",)
    assert done.missing == ()
    assert after.startswith(before[:at].rstrip(" "))


def test_written_letters_are_kerned_as_their_bases(lamp: Path, tmp_path: Path) -> None:
    more = load_svg_font(extend_font(lamp, [], out=tmp_path / "b.svg", attempts=written("é", ACUTE)).path)

    assert more.kerning_by_char["T", "é"] == more.kerning_by_char["T", "e"]


def test_a_ufo_gains_all_variants_and_the_marks_compose(tmp_path: Path) -> None:
    font = build_font(hand("aeoEnT", times=2), Record("S"), accents=False).font
    path = save_ufo(font, tmp_path / "s.ufo")
    sheet = [*written("é", ACUTE), *hand("", marks=HOOK, times=3)]
    done = extend_font(path, ["fra", "vie"], out=tmp_path / "more.ufo", attempts=sheet)
    after = ufoLib2.Font.open(done.path)

    assert done.written == ("é",)
    assert {"ó", "ẻ", "ỏ", "ả"} <= set(done.added)
    assert after["eacute"].unicodes == [0xE9]
    assert {"eacute", "eacute.v2", "eacute.v3"} <= set(after.keys())
    assert HOOK not in {chr(u) for g in after for u in g.unicodes}


def test_spoiled_attempts_are_not_used_and_the_persons_word_counts(lamp: Path, tmp_path: Path) -> None:
    sheet = written("é", ACUTE)
    rules = BuildingRules(set_aside={sheet[0].id})
    done = extend_font(lamp, ["fra"], out=tmp_path / "a.svg", attempts=sheet, decisions=rules)

    assert [s.id for s in done.set_aside] == [sheet[0].id]
    with pytest.raises(InputError, match="none of its attempts"):
        nothing = BuildingRules(set_aside={a.id for a in sheet})
        extend_font(lamp, ["fra"], out=tmp_path / "b.svg", attempts=sheet, decisions=nothing)
    assert not (tmp_path / "b.svg").exists()
