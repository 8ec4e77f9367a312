"""Letters whose marks stand apart: what belongs to which, and how both are read."""

from __future__ import annotations

import unicodedata

import numpy as np
import pytest

from capture.units import Points
from skeleton.geometry.stroke import Stroke
from skeleton.hypotheses.forms_sought import models_of
from skeleton.ink.ink_map import InkMap, find_ink
from skeleton.matching.detached_marks import ABOVE, BELOW
from skeleton.matching.marked_letters import MarkedLetter, parted, taken_apart, without_marks
from skeleton.matching.sketches import knows
from skeleton.options import Options
from skeleton.pipeline import read
from tests.bench.accented import LINES, accented
from tests.bench.trace_data import Case, kanjivg, sample_hand
from tests.bench.trace_ink import ink
from tests.bench.trace_score import score

LETTERS = "aeoucnszAEOU"


def mark_of(case: Case) -> str:
    return unicodedata.normalize("NFD", case.char)[1]


def side_of(case: Case) -> int:
    return BELOW if unicodedata.combining(mark_of(case)) == 220 else ABOVE


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    """Return letters of KanjiVG (Apel, CC BY-SA 3.0; PyPI `kanjivg`) and of the simulated hand with accents on them."""
    return accented([*kanjivg(LETTERS, known=True), *sample_hand(LETTERS, 1)])


def ink_map(strokes: list[Points], dpi: float = 300.0) -> InkMap:
    found = find_ink(ink(strokes, dpi=dpi, seed=1)[0], dpi)
    assert found is not None
    return found


def apart(char: str, found: InkMap) -> MarkedLetter | None:
    return taken_apart(char, found, models_of(char, "right"), knows)


def test_a_letter_is_left_when_its_marks_are_taken_off() -> None:
    """Decompositions are the Unicode Character Database's (UAX #44); an i loses its dot (Soft_Dotted) to a mark."""
    assert [without_marks(c, ABOVE) for c in "\u00e9\u01d8\u00ed\u0117e?"] == ["e", "u", "\u0131", "e", None, None]
    assert [without_marks(c, BELOW) for c in "\u1eb9\u015f\u00e9"] == ["e", "s", None]
    # a letter with marks on both sides loses those on one
    assert without_marks("\u1ed9", ABOVE) == "\u1ecd" and without_marks("\u1ed9", BELOW) == "\u00f4"


def test_ink_of_letter_and_marks_is_all_the_ink_and_shares_none(cases: list[Case]) -> None:
    for case in cases:
        found = ink_map(case.strokes)
        both = apart(case.char, found)
        assert both is not None, case.name
        assert both.letter == unicodedata.normalize("NFD", case.char)[0]
        assert both.side == (BELOW if unicodedata.combining(mark_of(case)) == 220 else ABOVE)
        assert not (both.ink.mask & both.marks_ink.mask).any()
        assert np.array_equal(both.ink.mask | both.marks_ink.mask, found.mask)
        assert np.allclose(both.ink.darkness + both.marks_ink.darkness, found.darkness)
        marks = len(LINES[mark_of(case)])
        assert any(len(m.strokes) == marks for m in both.marks)
        assert sum(m.prior for m in both.marks) == pytest.approx(1)


def test_a_mark_that_touches_its_letter_stays_with_it(cases: list[Case]) -> None:
    case = next(c for c in cases if mark_of(c) == "\u0301")
    *letter, mark = case.strokes
    top = np.concatenate(letter).min(axis=0)[1]
    touching = [*letter, mark + np.array([0.0, top - mark[:, 1].max() + 0.1])]
    assert apart(case.char, ink_map(touching)) is None


def test_a_speck_over_a_letter_is_no_mark(cases: list[Case]) -> None:
    case = next(c for c in cases if mark_of(c) == "\u0301")
    found = ink_map(case.strokes[:-1])
    x = int(found.mask.any(axis=0).argmax())
    found.mask[0:2, x : x + 2] = 1
    assert apart(case.char, found) is None


def test_a_letter_of_which_no_more_is_known_than_its_forms_is_left_whole() -> None:
    stem, bar = np.array([[0.0, 0.0], [0.0, 5.0]]), np.array([[-1.0, -1.2], [1.0, -1.2]])
    assert apart("\u0457", ink_map([stem, bar])) is None and apart("l", ink_map([stem, bar])) is None


def test_strokes_are_parted_as_the_ink_is(cases: list[Case]) -> None:
    for case in cases:
        side = side_of(case)
        both = parted(case.strokes, side)
        assert both is not None
        assert len(both[1]) == len(LINES[mark_of(case)])
        assert [*map(len, both[0]), *map(len, both[1])] == [*map(len, case.strokes)]
        assert parted(both[0], side) is None


def rightly_read(cases: list[Case], options: Options) -> int:
    found = 0
    for i, case in enumerate(cases):
        grey, off = ink(case.strokes, seed=i)
        strokes = [
            s.points_mm for s in read(grey, 300, case.char, handedness="right", known=(), options=options).strokes
        ]
        found += score(strokes, [s + off for s in case.strokes], 0.5).paths
    return found


def test_letters_under_their_accents_are_read_as_they_are_without(cases: list[Case]) -> None:
    """Of the same ink more are right than where the letter and its marks are laid over the ink as one."""
    whole, each = (rightly_read(cases, Options(marks_apart=on)) for on in (False, True))
    assert each >= 0.85 * len(cases) and each > whole


def test_a_known_attempt_tells_the_letter_and_its_mark(cases: list[Case]) -> None:
    case = next(c for c in cases if mark_of(c) == "\u030c")
    # this writer draws the mark from right to left
    turned = [*case.strokes[:-1], case.strokes[-1][::-1]]
    for strokes, seed in ((case.strokes, 3), (turned, 4)):
        grey, off = ink(strokes, seed=seed)
        found = read(grey, 300, case.char, handedness="right", known=[[Stroke(s) for s in strokes]])
        assert score([s.points_mm for s in found.strokes], [s + off for s in strokes], 0.5).full


def test_a_reading_of_both_has_a_confidence_and_other_readings(cases: list[Case]) -> None:
    found = read(ink(cases[0].strokes, seed=1)[0], 300, cases[0].char, handedness="right", known=(), alternatives=3)
    assert 0 < found.confidence <= 1 and found.candidates and " + " in found.allograph
