"""The rhythm of a copied line: what was put into it comes out."""

from __future__ import annotations

import numpy as np
import pytest

from fontbuild.text_spacing_statistics import CopiedLine, level_scatter, measure_rhythm, pieces_of

X = 3.0
TEXT = "sea wind over warm stones"


def a_line(*, gap: float, word_gap: float, slope: float = 0.0, foot: float = 0.0, seed: int = 0) -> CopiedLine:
    """Return boxes as wide as an x for the text, with given gaps (mm), slope and scatter of the feet."""
    rng = np.random.default_rng(seed)
    x, boxes = 5.0, []
    for word in TEXT.split():
        for _ in word:
            y = slope * x + rng.normal(0, foot)
            boxes.append([x, y, x + X, y + X])
            x += X + gap
        x += word_gap - gap
    return CopiedLine(TEXT, np.array(boxes))


def test_gaps_between_letters_and_words_are_told_apart():
    rhythm = measure_rhythm([a_line(gap=0.3, word_gap=3.6, seed=k) for k in range(5)], x_height_mm=X)

    assert rhythm["letter_gap"] == pytest.approx(0.1)
    assert rhythm["word_gap"] == pytest.approx(1.2)
    assert rhythm["letter_gap_sd"] == pytest.approx(0.0, abs=1e-9)


def test_the_scatter_of_gaps_is_that_of_all_of_them_not_of_their_middle_half():
    gaps = (0.24, 0.27, 0.27, 0.3, 0.3, 0.3, 0.33, 0.33, 0.45, 0.45)

    rhythm = measure_rhythm([a_line(gap=g, word_gap=3.6) for g in gaps], x_height_mm=X)

    assert rhythm["letter_gap_sd"] == pytest.approx(np.std(gaps) / X, rel=0.01)


def test_it_is_told_which_share_of_the_gaps_could_be_measured():
    """In a word of which two letters touch no gap can be told from another letter."""
    whole = a_line(gap=0.3, word_gap=3.6)
    joined = np.delete(whole.boxes_mm, len("sea wind o"), axis=0)  # of 'over' two letters are one piece
    lines = [CopiedLine(TEXT, joined)] * 5

    gaps = len(TEXT.replace(" ", "")) - len(TEXT.split())
    assert measure_rhythm([whole] * 5, x_height_mm=X)["letter_gap_share"] == 1.0
    assert measure_rhythm(lines, x_height_mm=X)["letter_gap_share"] == pytest.approx((gaps - 3) / gaps)


def test_the_slope_of_lines_is_no_scatter_of_feet():
    lines = [a_line(gap=0.3, word_gap=3.6, slope=s) for s in (-0.02, -0.01, 0.0, 0.01, 0.02)]

    rhythm = measure_rhythm(lines, x_height_mm=X)

    assert rhythm["foot_sd"] == pytest.approx(0.0, abs=1e-6)
    assert rhythm["line_slope_sd_deg"] == pytest.approx(np.degrees(np.std([-0.02, -0.01, 0, 0.01, 0.02])), rel=0.01)


def test_lines_that_stand_over_or_under_their_place_are_told():
    levels = (-0.3, -0.1, 0.0, 0.1, 0.3)
    lines = [a_line(gap=0.3, word_gap=3.6, slope=0.01) for _ in levels]
    moved = [CopiedLine(one.text, np.add(one.boxes_mm, [0, mm, 0, mm])) for one, mm in zip(lines, levels, strict=True)]

    assert measure_rhythm(moved, x_height_mm=X)["line_level_sd"] == pytest.approx(np.std(levels) / X)


def test_which_letters_a_line_holds_says_nothing_of_its_level():
    rng = np.random.default_rng(3)
    feet = {c: rng.normal(0, 0.4) for c in "aceimnorsuvxz"}
    lines = [[(c, feet[c] + rng.normal(0, 0.2)) for c in rng.choice(list(feet), 24)] for _ in range(40)]
    levels = rng.normal(0, 0.2, 40)
    moved = [[(c, foot + up) for c, foot in line] for line, up in zip(lines, levels, strict=True)]

    assert level_scatter(lines) < 0.03
    assert level_scatter(moved) == pytest.approx(levels.std(), rel=0.15)


def test_the_scatter_of_feet_comes_out_as_it_went_in():
    lines = [a_line(gap=0.3, word_gap=3.6, foot=0.3, seed=k) for k in range(40)]

    assert measure_rhythm(lines, x_height_mm=X)["foot_sd"] == pytest.approx(0.1, rel=0.15)


def test_what_letters_hang_lower_by_nature_is_no_scatter_of_feet():
    one = a_line(gap=0.3, word_gap=3.6)
    letters = TEXT.replace(" ", "")
    boxes = one.boxes_mm - np.outer([0.4 * (c in "oe") for c in letters], [0, 1, 0, 1])

    assert measure_rhythm([CopiedLine(TEXT, boxes)] * 5, x_height_mm=X)["foot_sd"] < 0.02


def test_too_little_tells_nothing():
    assert measure_rhythm([], x_height_mm=X) == {}
    assert "line_slope_sd_deg" not in measure_rhythm([a_line(gap=0.3, word_gap=3.6)], x_height_mm=X)


def test_a_line_whose_gaps_do_not_part_its_words_is_left_out():
    assert measure_rhythm([a_line(gap=0.3, word_gap=0.3)] * 5, x_height_mm=X) == {}


def test_an_i_and_its_dot_are_one_piece():
    grey = np.full((80, 120), 255, np.uint8)
    grey[30:60, 20:24] = 0
    grey[18:22, 20:24] = 0
    grey[30:60, 50:80] = 0

    boxes = pieces_of(grey, px_per_mm=10.0, baseline_mm=6.0)

    np.testing.assert_allclose(boxes, [[2.0, 0.0, 2.4, 4.2], [5.0, 0.0, 8.0, 3.0]])
