"""A variant that fell apart is kept out of the choice while others exist."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fontbuild.font import Font
from fontbuild.glyph import Glyph
from ownhand.composer.glyphs.variant_bank import VariantBank
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
