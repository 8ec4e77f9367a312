"""Letters that were written joined: their anchors, how they stand beside each other, and what files say of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from capture.report import Finding
from fontbuild.build import build_font
from fontbuild.doubtful import CUT_BARE, CUT_NARROW
from fontbuild.font import Record
from fontbuild.formats.opentype import compile_font
from fontbuild.formats.packed import PACK
from fontbuild.formats.ufo import load_ufo, save_ufo
from fontbuild.joins import ENTRY, EXIT, way_of
from fontbuild.outliers import NO_INK
from fontbuild.usable_attempts import ENOUGH
from ownhand.composer import Composer, Settings
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke


def wave(char: str, width: float, height: float, number: int) -> Attempt:
    """Return a letter that comes in on the baseline, rises to a top and goes out on the baseline, joined on both sides.

    Cell frame: mm, y up.
    """
    t = np.linspace(0, 1, 40)
    y = height * np.sin(np.pi * t) ** 2
    line = np.stack([1.0 + width * t + 0.01 * number * y, y], axis=1)
    return Attempt(
        f"letter-1/1/{ord(char)}.{number}", char, number, "written", (Stroke(line, 0.4),), 3.0, 6.0, -3.0, 6.0, 0.4,
        allograph=way_of(True, True),
    )  # fmt: skip


def upright(char: str, number: int) -> Attempt:
    line = np.stack([np.full(30, 2.0), np.linspace(6.0, 0.0, 30)], axis=1)
    return Attempt(
        f"s1/1/{ord(char)}.{number}", char, number, "written", (Stroke(line, 0.4),), 3.0, 6.0, -3.0, 6.0, 0.4
    )


@pytest.fixture(scope="module")
def font():
    joined = [
        wave(c, w, h, n)
        for c, w, h in (("a", 3.0, 3.0), ("n", 3.5, 3.0), ("e", 2.5, 3.0), ("l", 2.0, 6.0))
        for n in (1, 2)
    ]
    return build_font([*joined, upright("I", 1), upright("I", 2)], Record("joined"), accents=False).font


def test_a_joined_letters_advance_is_where_it_goes_out(font):
    for char in "anel":
        for glyph in font.glyphs[char]:
            assert glyph.anchors[ENTRY][0] == pytest.approx(0.0, abs=0.01)
            assert glyph.advance == pytest.approx(glyph.anchors[EXIT][0])
            assert np.allclose(glyph.strokes[0][0], glyph.anchors[ENTRY], atol=0.02)
            assert np.allclose(glyph.strokes[0][-1], glyph.anchors[EXIT], atol=0.02)


def test_a_letter_goes_out_where_the_next_one_begins_not_where_its_bar_ends():
    def stem(number: int) -> Attempt:
        """Return a letter that goes out at 0.8 mm, after which a bar was drawn farther to the right."""
        t = np.linspace(0, 1, 40)
        line = np.stack([1.0 + 1.5 * t, 6.0 - 5.2 * np.sin(0.5 * np.pi * t)], axis=1)
        bar = np.stack([0.5 + 3.5 * t, np.full(40, 3.5)], axis=1)
        strokes = (Stroke(line, 0.4), Stroke(bar, 0.4))
        return replace(wave("t", 1.5, 6.0, number), strokes=strokes, id=f"letter-1/1/{number}.1")

    def after(number: int) -> Attempt:
        a = wave("a", 3.0, 3.0, number)
        line = a.strokes[0].points_mm + np.array([[0.0, 0.8]])
        return replace(a, strokes=(Stroke(line, 0.4),), id=f"letter-1/1/{number}.2")

    read = [a for n in (1, 2, 3) for a in (stem(n), after(n))]
    made = build_font(read, Record("joined"), accents=False).font

    for glyph in made.glyphs["t"]:
        assert np.allclose(glyph.strokes[0][-1], glyph.anchors[EXIT], atol=0.02)
        assert glyph.advance == pytest.approx(glyph.anchors[EXIT][0])


def test_a_letter_comes_in_with_a_short_piece_where_the_one_before_went_out_there():
    def after(number: int) -> Attempt:
        """Return a letter read in two pieces, the first of them shorter than what is taken for a dot."""
        a = wave("a", 3.0, 3.0, number)
        line = a.strokes[0].points_mm + np.array([[0.6, 1.5]])
        short = np.stack([np.linspace(1.0, 1.5, 20), np.linspace(0.0, 0.3, 20)], axis=1)
        return replace(a, strokes=(Stroke(short, 0.4), Stroke(line, 0.4)), id=f"letter-1/1/{number}.2")

    before = [replace(wave("n", 3.5, 3.0, n), id=f"letter-1/1/{n}.1") for n in (1, 2, 3)]
    made = build_font([*before, *map(after, (1, 2, 3))], Record("joined"), accents=False).font

    for glyph in made.glyphs["a"]:
        assert np.allclose(glyph.strokes[0][0], glyph.anchors[ENTRY], atol=0.02)


def test_a_letter_whose_leg_went_to_its_neighbour_or_that_was_likely_cut_wrongly_is_not_kept_for_words_either():
    # a hand whose letters are of many sizes: none of these is too small
    sizes = (0.7, 0.8, 1.0, 1.2, 1.4)
    words = [wave(c, w * k, 3.0 * k, n) for c, w in (("u", 9.0), ("m", 5.0)) for n, k in enumerate(sizes, 1)]
    narrow, less_sure = wave("m", 2.6, 3.0, 6), replace(wave("m", 5.0, 3.0, 7), confidence=0.3)

    made = build_font([*words, narrow, less_sure], Record("joined"), accents=False)
    aside = {s.id: s.reason for s in made.set_aside}

    assert aside[narrow.id] == CUT_NARROW and less_sure.id in aside
    assert not {g.source for g in made.font.in_words.get("m", ())} & {narrow.id, less_sure.id}


def test_a_letter_that_lost_its_dot_to_its_neighbour_is_not_kept_for_words_either():
    dot = Stroke(np.array([[2.0, 4.5]]), 0.4)
    dotted = [wave("i", 2.0, 3.0, n) for n in range(1, 8)]
    bare = replace(dotted[-1], id="letter-1/1/105.9")
    dotted = [replace(a, strokes=(*a.strokes, dot)) for a in dotted]
    others = [wave(c, w, 3.0, n) for c, w in (("n", 3.5), ("e", 2.5)) for n in (1, 2)]

    made = build_font([*dotted, bare, *others], Record("joined"), accents=False)

    assert {s.id: s.reason for s in made.set_aside} == {bare.id: CUT_BARE}
    assert "i" not in made.font.in_words


def test_a_letter_that_nobody_needs_is_kept_for_words_only_if_it_is_whole():
    """An o of a doubtful word whose ring went to the letter before it left home without its o."""
    sure = [wave(c, w, 3.0, n) for c, w in (("o", 3.0), ("n", 3.5)) for n in range(1, 7)]
    doubt = (Finding("doubtful word"),)
    whole = replace(wave("o", 3.0, 3.0, 8), findings=doubt)
    join = Stroke(np.array([[0.0, 2.6], [0.7, 2.5]]), 0.4)
    rest = replace(wave("o", 3.0, 3.0, 9), strokes=(join,), findings=doubt)

    made = build_font([*sure, whole, rest], Record("joined"), accents=False)

    assert {s.id: s.reason for s in made.set_aside} == {whole.id: ENOUGH, rest.id: NO_INK}
    assert [g.source for g in made.font.in_words["o"]] == [whole.id]


def test_letters_that_stood_alone_have_no_joins(font):
    assert not {ENTRY, EXIT} & font.glyphs["I"][0].anchors.keys()


def test_joined_pairs_are_not_kerned(font):
    assert not [pair for pair in font.kerning if set(pair) <= set("anel")]


def test_the_composer_writes_a_joined_word_in_one_go(font):
    settings = Settings(paper="100x60", margins_mm=(8, 8, 8, 8), x_height_mm=3.0)
    (page,) = Composer(font).compose("lane", settings, seed=3).pages
    # four letters, each a stroke: what parts them is how much the hand varies
    assert len(page) <= 2


def test_a_ufo_keeps_the_joins(font, tmp_path):
    again = load_ufo(save_ufo(font, tmp_path / "joined.ufo"))
    kept, was = again.glyphs["a"][0].anchors, font.glyphs["a"][0].anchors
    assert all(kept[name] == pytest.approx(was[name], abs=0.01) for name in (ENTRY, EXIT))


@pytest.mark.parametrize("packed", [True, False])
def test_a_ufo_keeps_the_letters_of_words(font, tmp_path, packed):
    loose = replace(font.glyphs["a"][0], name="a.w1", source="letter-1/1/9.4", ductus="")
    path = save_ufo(replace(font, in_words={"a": (loose,)}), tmp_path / "joined.ufo")
    if not packed:
        (path / PACK).unlink()
    again = load_ufo(path)
    (kept,) = again.in_words["a"]

    assert (kept.name, kept.source, kept.advance) == ("a.w1", loose.source, pytest.approx(loose.advance, abs=0.01))
    assert np.allclose(kept.strokes[0], loose.strokes[0], atol=0.01)
    assert kept.anchors.keys() == loose.anchors.keys()
    assert [g.name for g in again.glyphs["a"]] == [g.name for g in font.glyphs["a"]]


def test_the_opentype_font_attaches_letters_cursively(font):
    """OpenType 1.9, GPOS: lookup type 3 is cursive attachment, under the feature 'curs'."""
    gpos = compile_font(font)["GPOS"].table
    assert "curs" in {record.FeatureTag for record in gpos.FeatureList.FeatureRecord}
    types = {lookup.SubTable[0].ExtSubTable.LookupType if lookup.LookupType == 9 else lookup.LookupType
             for lookup in gpos.LookupList.Lookup}  # fmt: skip
    assert 3 in types
