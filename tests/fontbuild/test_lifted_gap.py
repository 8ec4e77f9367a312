"""Words of a hand that joins come out as wide as it wrote them: the gaps where its pen is lifted make up the rest."""

from __future__ import annotations

import numpy as np
import pytest

from fontbuild.glyph import Glyph
from fontbuild.joins import ENTRY, EXIT, LIFTED
from fontbuild.lifted_gap import lifted_gap

X_HEIGHT = 500.0
WIDE, LINE = 300.0, 60.0
"""Of a letter's box, and of the line that goes out to the next letter, font units."""


def letter(char: str, *, before: bool, after: bool) -> Glyph:
    """Return a letter of which the pen comes in at its left edge, or goes out a line's length beyond its body."""
    right = WIDE + (LINE if after else 0.0)
    stroke = np.array([[0.0, 0.0], [100.0, 400.0], [200.0, 400.0], [right, 0.0]])
    anchors = {**({ENTRY: (0.0, 0.0)} if before else {}), **({EXIT: (right, 0.0)} if after else {})}
    return Glyph(char, char, (stroke,), advance=right if after else right + 80.0, anchors=anchors)


def forms(chars: str) -> dict[str, tuple[Glyph, ...]]:
    ways = [(a, b) for a in (False, True) for b in (False, True)]
    return {c: tuple(letter(c, before=a, after=b) for a, b in ways) for c in chars}


def test_the_gap_beside_joined_letters_comes_out_as_it_went_in() -> None:
    # 'ab' is always joined and 'ba' never: in abab one gap is lifted, and all its letters were written joined
    rhythm = {"joins ": 0.5, "joins ab": 1.0, "joins ba": 0.0}
    gap = 40.0
    words = [("ab" * n, n * (2 * WIDE + LINE) + (n - 1) * gap) for n in (2, 3, 4, 5, 3, 4, 2, 5, 6, 4)]

    found = lifted_gap(forms("ab"), words, {}, rhythm, x_height=X_HEIGHT)

    assert found == pytest.approx(gap, abs=1.0)


def test_where_the_lifts_are_known_the_rest_is_that_of_lines_that_lead_on() -> None:
    # the pen stays down at 'ab' and 'ba', but no b was written joined: a line leads on; at 'aa' it is lifted
    letters = {**forms("a"), "b": (letter("b", before=False, after=False),)}
    rhythm = {"joins ": 1.0, "joins ab": 1.0, "joins ba": 1.0, "joins aa": 0.0, "pen_up_gap": 150.0}
    lead = 20.0
    aba = 3 * WIDE + LINE + 2 * lead
    words = [("aba" * n, n * aba + (n - 1) * 150.0) for n in (1, 2, 3, 4) * 5]

    found = lifted_gap(letters, words, {}, rhythm, x_height=X_HEIGHT)

    assert found == pytest.approx(lead, abs=1.0)


def test_where_no_gap_is_lifted_the_usual_one_stands() -> None:
    rhythm = {"joins ": 1.0}
    words = [("abab", 4 * WIDE + 3 * LINE + 25.0), ("ab", 2 * WIDE + LINE)]

    assert lifted_gap(forms("ab"), words, {}, rhythm, x_height=X_HEIGHT) == pytest.approx(LIFTED * X_HEIGHT)
    assert lifted_gap(forms("ab"), [("xy", 900.0)], {}, rhythm, x_height=X_HEIGHT) == LIFTED * X_HEIGHT


def test_few_words_that_disagree_tell_little() -> None:
    rhythm = {"joins ": 0.5, "joins ab": 1.0, "joins ba": 0.0}
    own = np.random.default_rng(1).normal(0, 300.0, 4)
    words = [("abab", 2 * (2 * WIDE + LINE) - 100.0 + w) for w in own]

    found = lifted_gap(forms("ab"), words, {}, rhythm, x_height=X_HEIGHT)

    assert -100.0 + own.mean() < found < LIFTED * X_HEIGHT
