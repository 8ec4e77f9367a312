"""Marks made of others; which letters need which marks is Unicode's (UAX #15), as Python's unicodedata gives it."""

from __future__ import annotations

import unicodedata

import numpy as np
import pytest

from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.mark_fallbacks import STAND_INS, marks_for
from tests.fontbuild.hands import hand

CIRCUMFLEX, CARON, ACUTE = "\u0302", "\u030c", "\u0301"


@pytest.fixture(scope="module")
def font() -> Font:
    """Of somebody who wrote English and French: no caron, ring, breve, macron, double acute, hook or horn."""
    marks = "\u0300\u0301\u0302\u0327"
    return build_font(hand("aceinorsuzAECSUx.,-(?", times=3, marks=marks, seed=4), Record("S")).font


def sign(glyph: Glyph, base: Glyph) -> np.ndarray:
    return np.vstack(sample_glyph(glyph)[len(base.strokes) :])


@pytest.mark.parametrize("text", ["ěščřžůáéíóúý", "őűöü", "āēīšž", "ăâșț", "ğşıİ", "ẽ", "ươảẹ", "ģķļņ", "ċėż"])
def test_letters_with_marks_that_were_never_written_are_built(font: Font, text: str) -> None:
    for char in text:
        base = unicodedata.normalize("NFD", char)[0]
        if base in font.glyphs and char not in "ẽİ":
            assert char in font.glyphs, char
    assert "ẽ" not in font.glyphs  # nothing here looks like a tilde


def test_a_caron_is_the_writers_circumflex_upside_down(font: Font) -> None:
    marks = [np.vstack(sample_glyph(g)) for g in font.glyphs[CIRCUMFLEX]]
    for glyph, base in zip(font.glyphs["č"], font.glyphs["c"], strict=True):
        drawn = sign(glyph, base) * [1.0, -1.0]
        off = [np.abs((drawn - drawn[0]) - (m - m[0])).max() for m in marks]

        assert min(off) < 0.1
        low = np.argmax(drawn[:, 1])
        assert 0.2 < low / len(drawn) < 0.8  # the foot lies in the middle, its ends stand up


def test_the_source_tells_what_was_made_of_what(font: Font) -> None:
    assert font.glyphs["ě"][0].source == "built: e + caron from circumflex"
    assert font.glyphs["ő"][0].source == "built: o + double acute from acute"
    assert font.glyphs["ů"][0].source == "built: u + ring above from o"
    assert " from " not in font.glyphs["é"][0].source


def test_a_written_mark_is_never_replaced() -> None:
    font = build_font(hand("ceo", times=3, marks=CIRCUMFLEX + CARON, seed=4), Record("S")).font

    assert all(" from " not in g.source for c in "čěê" for g in font.glyphs[c])


@pytest.mark.parametrize(
    ("char", "widest", "highest"),
    [("ů", 0.45, 0.45), ("ā", 0.65, 0.3), ("ă", 0.6, 0.35), ("ả", 0.4, 0.5), ("ě", 0.8, 0.5)],
)
def test_signs_are_brought_to_the_size_of_marks_and_stand_clear(
    font: Font, char: str, widest: float, highest: float
) -> None:
    x = font.metrics.x_height
    base = font.glyphs[unicodedata.normalize("NFD", char)[0]][0]
    mark = sign(font.glyphs[char][0], base)
    wide, high = np.ptp(mark, axis=0) / x

    assert wide <= widest
    assert high <= highest
    letter = np.vstack(sample_glyph(base))
    assert mark[:, 1].min() > letter[:, 1].max() - 0.05 * x
    assert abs(mark[:, 0].mean() - letter[:, 0].mean()) < 0.35 * x


def test_a_breve_is_a_bowl_and_a_hook_has_lost_its_point(font: Font) -> None:
    bowl = sign(font.glyphs["ă"][0], font.glyphs["a"][0])
    ends, middle = bowl[[0, -1], 1], bowl[len(bowl) // 2, 1]

    assert ends.min() > middle
    assert bowl[0, 0] < bowl[-1, 0]
    assert len(font.glyphs["ả"][0].strokes) == len(font.glyphs["a"][0].strokes) + len(font.glyphs["?"][0].strokes) - 1


def test_marks_that_stand_in_for_each_other_come_to_an_end() -> None:
    for mark in STAND_INS:
        assert marks_for(mark, {}, 400.0) == ()


def test_letters_with_stand_ins_still_correspond(font: Font) -> None:
    together = [g for g in font.glyphs["ě"] if g.ductus and g.ductus == font.glyphs["ě"][0].ductus]

    assert len(together) >= 2
    assert all(g.ductus.startswith("ě=") and CARON in g.ductus for g in together)


def test_letters_with_bars_are_made_with_the_writers_hyphen_and_slash(font: Font) -> None:
    more = build_font(hand("dDhHlLoO-/", times=3, seed=5), Record("S")).font
    x = more.metrics.x_height

    assert more.glyphs["đ"][0].source == "built: d + bar from hyphen"
    assert more.glyphs["ø"][0].source == "built: o + bar from slash"
    for char, base in zip("đĐħĦłŁøØ", "dDhHlLoO", strict=True):
        assert len(more.glyphs[char]) >= 2
        for glyph in more.glyphs[char]:
            drawn = sample_glyph(glyph)
            letter, bar = np.vstack(drawn[:-1]), drawn[-1]
            apart = np.linalg.norm(letter[:, None] - bar[None], axis=2).min()
            assert apart < more.metrics.pen_width, char
            assert np.ptp(bar[:, 0]) < 1.3 * x
        assert len(more.glyphs[char][0].strokes) == len(more.glyphs[base][0].strokes) + 1
    assert "đ" not in font.glyphs  # of that hand there is no d
