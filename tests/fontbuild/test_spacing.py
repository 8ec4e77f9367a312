"""Spacing beside that of a text font drawn by others, the one that ReportLab (PyPI) carries."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
import reportlab

from fontbuild import spacing
from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.geometry import glyph_bounds, sample_glyph
from fontbuild.glyph import Glyph
from tests.fontbuild.hands import hand
from tests.fontbuild.text_fonts import TextFont, load_text_font

SMALL = "abcdefghijklmnopqrstuvwxyz"
VERA = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"


@pytest.fixture(scope="module")
def vera() -> TextFont:
    return load_text_font(VERA)


@pytest.fixture(scope="module")
def font() -> Font:
    return build_font(hand("AVTRHOminulotfy0123456789.:'", times=3, seed=2), Record("S")).font


def test_distances_follow_those_that_a_type_designer_chose(vera: TextFont) -> None:
    pairs = list(product(SMALL, SMALL))
    own = np.array([vera.distance(a, b) for a, b in pairs]) / vera.metrics.x_height
    by = spacing.rule(vera.metrics)
    by = replace(by, white=0.4 * vera.metrics.x_height)
    sides = {c: spacing.sides(vera.glyphs[c], vera.metrics) for c in SMALL}
    ours = spacing.distances(
        np.array([sides[a].right for a, _ in pairs]), np.array([sides[b].left for _, b in pairs]), by
    )
    left = ours / vera.metrics.x_height - own

    assert left.std() < 0.4 * own.std()
    assert np.corrcoef(ours, own)[0, 1] > 0.9


def _pair_gap(font: Font, a: str, b: str) -> float:
    """Return the ink-to-ink distance of the nearest points, first variants."""
    one, two = font.glyphs[a][0], font.glyphs[b][0]
    shift = one.advance + font.kerning.get((a, b), 0.0)
    p = np.vstack(sample_glyph(one))
    q = np.vstack(sample_glyph(two)) + np.array([shift, 0])
    return float(np.hypot(*(p[:, None] - q[None]).transpose(2, 0, 1)).min()) - font.metrics.pen_width


def test_a_slanting_pair_moves_together_and_never_touches(font: Font) -> None:
    overlap = {p: font.glyphs[p[0]][0].advance + font.kerning.get((p[0], p[1]), 0.0) for p in ("AV", "HH")}
    reach = {p: glyph_bounds(font.glyphs[p[0]][0])[2] - glyph_bounds(font.glyphs[p[1]][0])[0] for p in overlap}

    assert overlap["AV"] - reach["AV"] < overlap["HH"] - reach["HH"]
    for a, b in product("AVTRHOminuloty", repeat=2):
        assert _pair_gap(font, a, b) > 0, a + b


def test_stems_keep_an_even_white(font: Font) -> None:
    """In 'minimum' the white between letters differs less than the letters' own widths do."""
    x = font.metrics.x_height
    gaps = [_pair_gap(font, a, b) for a, b in zip("minimu", "inimum", strict=True)]

    assert np.std(gaps) < 0.1 * x
    assert 0.15 * x < np.mean(gaps) < 0.6 * x


def test_tabular_figures_share_one_advance(font: Font) -> None:
    figures = [g for c in "0123456789" for g in font.glyphs[c]]
    table = spacing.tabular(figures)

    assert len({g.advance for g in table}) == 1
    assert [g.name for g in table] == [g.name for g in figures]
    for before, after in zip(figures, table, strict=True):
        assert after.strokes[0][0] - before.strokes[0][0] == pytest.approx([(after.advance - before.advance) / 2, 0])


def test_a_measured_letter_gap_overrides_the_general_one() -> None:
    attempts = hand("nuhl", times=3)
    tight = build_font(attempts, Record("S"), rhythm={"letter_gap": 60.0}).font
    wide = build_font(attempts, Record("S"), rhythm={"letter_gap": 260.0}).font

    difference = wide.glyphs["l"][0].advance - tight.glyphs["l"][0].advance
    assert difference == pytest.approx(200, abs=0.1)


def test_a_mark_has_no_advance() -> None:
    font = build_font(hand("e", times=2, marks="\u0301"), Record("S")).font

    assert {g.advance for g in font.glyphs["\u0301"]} == {0.0}


def test_a_built_letter_is_kerned_as_its_base_is() -> None:
    font = build_font(hand("ToeVirs", times=2, marks="\u0301"), Record("S")).font
    checked = 0
    for (a, b), k in font.kerning.items():
        for built, base in (("ó", "o"), ("é", "e"), ("í", "i"), ("ı", "i")):
            if b == base:
                assert font.kerning[a, built] == k
                checked += 1

    assert checked


def test_letters_that_were_written_joined_do_not_tell_how_close_the_others_stand(font: Font) -> None:
    """The line that joins two letters belongs to both boxes: counted, it would draw all letters together."""
    alone = {c: font.glyphs[c] for c in "minulot"}
    tail = np.array([[500.0, 0.0], [600.0, 50.0], [700.0, 100.0], [800.0, 150.0]])
    joined = {c: (*v, *(replace(g, strokes=(*g.strokes, tail)) for g in v)) for c, v in alone.items()}
    wide = {c: np.mean([b[2] - b[0] for b in map(glyph_bounds, v)]) for c, v in alone.items()}
    words = [(w, sum(wide[c] for c in w) + 90.0 * (len(w) - 1)) for w in ("minimum", "ultimo", "tumult", "lot")]

    def white(glyphs: dict[str, tuple[Glyph, ...]], apart: dict[str, tuple[Glyph, ...]] | None) -> float:
        return spacing.space_glyphs(glyphs, font.metrics, words=words, apart=apart)[1].white

    assert white(joined, alone) == white(alone, None)
    assert white(joined, None) < white(alone, None) - 0.1 * font.metrics.x_height
