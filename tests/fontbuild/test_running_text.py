"""What copied lines tell of a hand comes out in its font: the size of its running text, and how close it writes."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.geometry import glyph_bounds
from fontbuild.joins import APART
from fontbuild.letterwise import in_turn
from fontbuild.running_text import on_the_line
from fontbuild.text_spacing_statistics import CopiedLine, CopiedWord, copied_words
from fontbuild.variants import AttemptStrokes
from ownhand.hands.kept_letters import KeptLetters
from skeleton.geometry.stroke import Stroke
from tests.fontbuild.hands import PEN_MM, X_HEIGHT_MM, hand

WORDS = ("lamp", "stones", "tide", "harbour", "seal", "lens", "mist", "dune", "tern", "gulls", "shore", "stairs")
ATTEMPTS = hand("abdehilmnoprstugj", times=4)

LETTERWISE = KeptLetters(in_turn)
"""Of one hand many fonts are built: the work on its letters is done once, as by `ownhand build`."""


def set_words(font: Font, *, size: float = 1.0, wider_mm: float = 0.0) -> list[CopiedWord]:
    """Return the words as the font sets them, larger, and with every gap wider."""
    out = []
    for word in WORDS:
        at, low, high, left, right = 0.0, [], [], 0.0, 0.0
        for k, c in enumerate(word):
            glyphs = font.glyphs[c]
            box = np.array(glyph_bounds(glyphs[k % len(glyphs)])) * font.mm_per_unit * size
            right = at + box[2] - box[0]
            low.append(box[1])
            high.append(box[3])
            nxt = word[k + 1] if k + 1 < len(word) else ""
            gap = font.glyphs[c][0].advance + font.kerning.get((c, nxt), 0.0) if nxt else 0.0
            gap -= glyph_bounds(font.glyphs[c][0])[2] - (glyph_bounds(font.glyphs[nxt][0])[0] if nxt else 0.0)
            at = right + gap * font.mm_per_unit * size + wider_mm
        edges = (left - PEN_MM / 2, min(low) - PEN_MM / 2, right + PEN_MM / 2, max(high) + PEN_MM / 2)
        a, b, c_, d = (float(e) / X_HEIGHT_MM for e in edges)
        out.append(CopiedWord(word, (a, b, c_, d)))
    return out


def white(font: Font) -> float:
    """Return the mean gap between the letters of the words, mm."""
    gaps = []
    for a, b in (p for word in WORDS for p in pairwise(word)):
        one, two = font.glyphs[a][0], font.glyphs[b][0]
        gaps.append(one.advance + font.kerning.get((a, b), 0.0) - glyph_bounds(one)[2] + glyph_bounds(two)[0])
    return float(np.mean(gaps)) * font.mm_per_unit


@cache
def plain_font() -> Font:
    """Return the font of the cells alone."""
    return build_font(ATTEMPTS, Record("S"), letterwise=LETTERWISE).font


def test_words_come_out_as_wide_as_they_were_copied() -> None:
    plain = plain_font()

    for wider in (-0.3, 0.4):
        font = build_font(ATTEMPTS, Record("S"), letterwise=LETTERWISE, copied=set_words(plain, wider_mm=wider)).font

        assert white(font) - white(plain) == pytest.approx(wider, abs=0.08)


def test_a_hand_that_writes_smaller_on_the_line_comes_out_smaller() -> None:
    plain = plain_font()

    font = build_font(ATTEMPTS, Record("S"), letterwise=LETTERWISE, copied=set_words(plain, size=0.85) * 8).font

    assert font.metrics.x_height / plain.metrics.x_height == pytest.approx(0.85, abs=0.02)


def test_letters_of_words_that_were_read_too_low_stand_on_the_line_of_the_cells() -> None:
    # the line of a cell is printed on the sheet; that of a copied word is read off its ink
    copied, column = [], 1
    for k, word in enumerate(WORDS):
        up = np.array([0.0, (0.2, 0.35, 0.5)[k % 3] * X_HEIGHT_MM])
        for c in word:
            cell = next(a for a in ATTEMPTS if a.char == c and a.attempt == 1 + k % 4)
            strokes = tuple(Stroke(s.points_mm + up) for s in cell.strokes)
            copied.append(replace(cell, id=f"s1/9/1.{column}", allograph=APART, strokes=strokes))
            column += 1
        column += 1

    font = build_font([*ATTEMPTS, *copied], Record("S")).font

    plain = plain_font()
    assert font.metrics.x_height == pytest.approx(plain.metrics.x_height, rel=0.02)
    off = []
    for c in "abdehilmnorstu":
        cells, words = (
            [glyph_bounds(g)[1] for g in font.glyphs[c] if g.source.startswith(place)] for place in ("s1/1/", "s1/9/")
        )
        off += [(foot - np.mean(cells)) / font.metrics.x_height for foot in words]
    assert len(off) > 30, "letters of words are among them"
    assert np.mean(off) == pytest.approx(0.0, abs=0.04)
    assert np.std(off) < 0.1


def test_without_cells_the_letters_of_words_stand_on_the_line() -> None:
    letters = {}
    for column, c in enumerate("lamp", 1):
        strokes = tuple(s.points_mm + np.array([0.0, 0.9]) for s in next(a for a in ATTEMPTS if a.char == c).strokes)
        letters[c] = [AttemptStrokes(f"s1/9/1.{column}", c, strokes, allograph=APART)]

    moved = on_the_line(letters, x_height_mm=X_HEIGHT_MM)

    feet = {c: min(float(s[:, 1].min()) for s in w.strokes) for c, (w,) in moved.items()}
    assert np.median([feet[c] for c in "lam"]) == pytest.approx(0.0, abs=1e-9)
    assert feet["p"] == min(feet.values())


def test_a_few_words_tell_nothing() -> None:
    plain = plain_font()

    font = build_font(
        ATTEMPTS, Record("S"), letterwise=LETTERWISE, copied=set_words(plain, size=0.7, wider_mm=2.0)[:3]
    ).font

    assert font.metrics == plain.metrics
    assert white(font) == pytest.approx(white(plain))


def test_the_words_of_a_line_are_found_where_letters_touch() -> None:
    # three words; the second in one piece of ink
    boxes = np.array([[0, 0, 3, 3], [3.4, 0, 6, 3], [10, -1, 19, 5], [23, 0, 26, 3], [26.4, 0, 29, 3]], float)

    words = copied_words([CopiedLine("no lamp so", boxes)], x_height_mm=2.0)

    assert [w.text for w in words] == ["no", "lamp", "so"]
    assert words[1].box == (5.0, -0.5, 9.5, 2.5)


def test_a_j_stands_as_near_to_an_o_as_an_i_does() -> None:
    font = build_font(hand("oij", times=3), Record("S")).font
    x = font.metrics.x_height

    def stem_gap(char: str) -> float:
        """Return the white between an o and the stem of the letter after it, within the x-height."""
        one, two = font.glyphs["o"][0], font.glyphs[char][0]
        stem = np.vstack([s for s in two.strokes if len(s) > 1])
        inside = stem[(stem[:, 1] > 0.2 * x) & (stem[:, 1] < 0.9 * x), 0].min()
        return float(one.advance + font.kerning.get(("o", char), 0.0) + inside - glyph_bounds(one)[2]) / x

    assert stem_gap("j") == pytest.approx(stem_gap("i"), abs=0.15)
