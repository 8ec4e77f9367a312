"""A variant that is deformed is kept out of the choice while others exist."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from fontbuild.font import Font
from fontbuild.glyph import Glyph
from ownhand.composer import Composer
from ownhand.composer.glyphs.variant_bank import POOL, VariantBank
from tests.ownhand.hershey_font import hershey_font


def o_with_a_gap(font: Font) -> Glyph:
    """Return an o whose bowl is open on two sides, further than the pen is wide."""
    ring = font.glyphs["o"][0].strokes[0]
    third = (len(ring) - 1) // 9 * 3
    return replace(
        font.glyphs["o"][0], name="o.v9", strokes=(ring[6 : third + 1], ring[-third - 1 : -6]), ductus="o/gap"
    )


def with_o(font: Font, *variants: Glyph) -> Font:
    return replace(font, glyphs={**font.glyphs, "o": variants})


def written(font: Font) -> int:
    return VariantBank(font).pool("o").written


def test_the_only_one_of_its_form_that_lies_in_pieces_is_left_out() -> None:
    font = hershey_font()
    whole = font.glyphs["o"]

    assert written(with_o(font, *whole, o_with_a_gap(font))) == len(whole)


def test_it_is_written_where_there_is_no_other() -> None:
    font = hershey_font()

    assert written(with_o(font, o_with_a_gap(font))) == 1


def test_another_form_that_is_whole_stays() -> None:
    font = hershey_font()
    bar = np.array([[100.0, 200.0], [200.0, 200.0], [300.0, 200.0], [400.0, 200.0]])
    barred = replace(font.glyphs["o"][0], name="o.v9", strokes=(*font.glyphs["o"][0].strokes, bar), ductus="o/bar")

    assert written(with_o(font, *font.glyphs["o"], barred)) == len(font.glyphs["o"]) + 1


def with_line(font: Font, name: str, line: np.ndarray) -> Glyph:
    """Return an o, alone of its form, whose stroke goes on along a line, given as points from where it ends."""
    ring = font.glyphs["o"][0].strokes[0]
    points = ring[-1] + line
    steps = [a + (b - a) * t for a, b in pairwise(np.vstack([ring[-1], points])) for t in (1 / 3, 2 / 3, 1.0)]
    return replace(font.glyphs["o"][0], name="o.v9", strokes=(np.vstack([ring, steps]),), ductus=f"o/{name}")


def spiked(font: Font) -> Glyph:
    out = 2.0 * font.metrics.pen_width * np.linspace(0, 1, 8)[1:, None] * [0.6, 0.8]
    return with_line(font, "spike", np.vstack([out, out[-2::-1], [[0.0, 0.0]]]))


def blotted(font: Font) -> Glyph:
    round_ = np.linspace(0, 5 * np.pi, 40)[1:]
    return with_line(
        font, "blot", 0.45 * font.metrics.pen_width * np.column_stack([np.cos(round_) - 1, np.sin(round_)])
    )


@pytest.mark.parametrize("deformed", [spiked, blotted])
def test_the_only_one_of_its_form_with_a_spike_or_a_blot_is_left_out(deformed: Callable[[Font], Glyph]) -> None:
    font = hershey_font()
    whole = font.glyphs["o"]

    assert written(with_o(font, *whole, deformed(font))) == len(whole)
    assert written(with_o(font, deformed(font))) == 1


def test_a_small_loop_is_a_form_and_no_blot() -> None:
    font = hershey_font()
    round_ = np.linspace(0, 2 * np.pi, 24)[1:]
    loop = 1.5 * font.metrics.pen_width * np.column_stack([np.cos(round_) - 1, np.sin(round_)])

    assert written(with_o(font, *font.glyphs["o"], with_line(font, "loop", loop))) == len(font.glyphs["o"]) + 1


def test_a_form_that_was_written_once_comes_as_often_as_that() -> None:
    font = hershey_font()
    bar = np.array([[100.0, 200.0], [200.0, 200.0], [300.0, 200.0], [400.0, 200.0]])
    barred = replace(font.glyphs["o"][0], name="o.v9", strokes=(*font.glyphs["o"][0].strokes, bar), ductus="o/bar")
    pool = VariantBank(with_o(font, *font.glyphs["o"], barred)).pool("o")

    share = 1 / (len(font.glyphs["o"]) + 1)
    assert sum(not partners for partners in pool.partners) / pool.size == pytest.approx(share, abs=0.03)
    assert abs(pool.size - POOL) <= 1


def test_a_stem_written_twice_is_a_form_and_no_spike() -> None:
    font = hershey_font()
    stem = 8.0 * font.metrics.pen_width * np.linspace(0, 1, 24)[1:, None] * [0.1, 1.0]
    twice = with_line(font, "stem", np.vstack([stem, stem[-2::-1], [[0.0, 0.0]]]))

    assert written(with_o(font, *font.glyphs["o"], twice)) == len(font.glyphs["o"]) + 1


def test_a_letter_does_not_vanish_where_the_font_holds_an_empty_glyph_beside_its_inked_ones() -> None:
    font = hershey_font()
    whole = font.glyphs["o"]
    empty = replace(whole[0], name="o.empty", strokes=(), ductus="")

    assert written(with_o(font, *whole, empty)) == len(whole)
    page = Composer(with_o(font, *whole, empty)).compose("o " * 60, seed=3).pages[0]
    assert len(page) == len(Composer(with_o(font, *whole)).compose("o " * 60, seed=3).pages[0])


def test_a_character_whose_glyph_is_empty_is_set_as_nothing() -> None:
    font = hershey_font()
    empty = replace(font.glyphs["o"][0], strokes=())

    (page,) = Composer(with_o(font, empty)).compose("ono oo no", seed=1).pages
    (plain,) = Composer(font).compose("n n", seed=1).pages
    assert len(page) == len(plain)
