from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skeleton.ductus import Allograph
from skeleton.ductus.curve import STEP_X_HEIGHTS, evenly, pen_line, spline
from skeleton.ductus.notation import NotationError, Other, draw, read_table


def form(text: str, which: int = 0):
    [entry] = read_table("[x]\n" + text, name="t")
    return [draw(p) for p in entry.forms[which].pieces]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("s: 0,0 1,1", r"t, line 1: expected \[characters\] first"),
        ("[x]\ns: 0,0 1", "line 2: expected x,y or .*found '1'"),
        ("[x]\ns: 0,0 0,0", "line 2: the same knot twice in a row"),
        ("[x]\ns: 0,0 1,1\ns: 0,0 1,0", "line 3: part 's' is drawn twice"),
        ("[x]\ns: 0,0 1,1\n= form 1: z", "line 3: 'z' is none of the parts s"),
        ("[x]\n= form 1: z", "line 2: 'z' is none of the parts .none drawn."),
        ("[x]\ns: 0,0 1,1\n= form 0: s", "line 3: expected shares between 0 and 1, found 0"),
        ("[x]\ns: 0,0 1,1\n= form 1: s | ", "line 3: a stroke is empty"),
        ("[x]\ns: 0,0 1,1\n= form 1: s ~", "line 3: a stroke is empty or ends in '~'"),
        ("[x]\ns: 0,0 1,1\n= form 1: s@3", "line 3: 's@3' turns a part that is not closed"),
        ("[x]\ns: 0,0 1,1\n= form: s", "line 3: expected a part, a form or"),
        ("[x]\ns: 0,0 1,1", "line 1: x has no form"),
        ("[x]\ns: 0,0 1,1\n= form .5: s\n= form .5: -s", "two forms of x are named 'form'"),
        ("[x]\ns: 0,0 1,1\nb: 0,0 1,0\n= form .5: s", "line 1: no form of x uses part 'b'"),
        ("[xy]\ns: 0,0 1,1\n= form .5: s", "line 1: expected one character or U. and its code, found 'xy'"),
    ],
)
def test_a_fault_in_a_table_is_named_with_its_line(text: str, message: str) -> None:
    with pytest.raises(NotationError, match=message):
        read_table(text, name="t")


def test_a_part_can_be_run_backwards() -> None:
    [line] = form("s: 0,2 0,0\n= up 1: -s")

    np.testing.assert_allclose(line[[0, -1]], [[0, 0], [0, 2]])


def test_a_bar_lifts_the_pen_and_its_absence_does_not() -> None:
    text = "s: 0,2 0,0\nb: 0,0 1,0\n= two .5: s | b\n= one .5: s b"

    assert len(form(text)) == 2
    assert len(form(text, 1)) == 1


def test_parts_that_do_not_meet_are_joined_by_a_straight_line() -> None:
    [line] = form("s: 0,2 0,0\nb: 1,2 1,0\n= one 1: s b")
    between = line[(line[:, 0] > 0.01) & (line[:, 0] < 0.99)]

    assert len(between) > 20
    np.testing.assert_allclose(between[:, 1], 2 * between[:, 0], atol=1e-9)


def test_a_closed_part_begins_where_the_clock_says() -> None:
    text = "o: @0,0,1,1,90,450\n= three 1: o@3"
    [line] = form(text)

    np.testing.assert_allclose(line[0], [1, 0], atol=1e-6)
    np.testing.assert_allclose(line[-1], [1, 0], atol=1e-6)
    assert line[5, 1] > 0


def test_an_arc_of_knots_makes_a_round_line() -> None:
    [line] = form("o: @0,0,1,1,90,450\n= o 1: o")

    np.testing.assert_allclose(np.hypot(*line.T), 1, atol=0.005)


def test_a_corner_is_sharp_and_a_knot_without_a_mark_is_not() -> None:
    def sharpest(text: str) -> float:
        d = np.diff(form(text)[0], axis=0)
        d /= np.hypot(*d.T)[:, None]
        return float(np.degrees(np.arccos(np.clip((d[1:] * d[:-1]).sum(1), -1, 1))).max())

    assert sharpest("v: 0,1 ^.5,0 1,1\n= v 1: v") > 100
    assert sharpest("v: 0,1 .2,.3 .5,0 .8,.3 1,1\n= v 1: v") < 30


def test_forms_of_other_characters_can_be_scaled_and_moved() -> None:
    [entry] = read_table("[x]\n+ half .5/.25: 'a*.5@1,2 'b*2,3", name="t")
    [half] = entry.forms

    assert (half.right, half.left) == (0.5, 0.25)
    assert half.pieces == (Other("a", (0.5, 0.5), (1.0, 2.0)), Other("b", (2.0, 3.0), (0.0, 0.0)))


def test_a_code_point_stands_for_a_character_that_cannot_be_seen() -> None:
    [entry] = read_table("[U+0301 a]\ns: 0,0 1,1\n= s 1: s", name="t")

    assert entry.chars == ("\u0301", "a")


points = st.lists(st.tuples(st.floats(-2, 2), st.floats(-2, 2)), min_size=2, max_size=8, unique=True).map(np.array)


@given(points)
def test_a_spline_passes_through_its_knots(knots: np.ndarray) -> None:
    if np.hypot(*np.diff(knots, axis=0).T).min() < 1e-3:
        return
    line = spline(knots)
    nearest = np.hypot(*(knots[:, None] - line[None]).reshape(-1, 2).T).reshape(len(knots), -1).min(1)

    assert nearest.max() < 1e-6


@given(points)
def test_samples_are_even_and_keep_both_ends(knots: np.ndarray) -> None:
    line = evenly(knots)

    np.testing.assert_allclose(line[[0, -1]], knots[[0, -1]], atol=1e-9)
    assert np.hypot(*np.diff(line, axis=0).T).max() <= STEP_X_HEIGHTS * 1.001


def test_a_single_knot_is_a_dot() -> None:
    assert pen_line([[1.0, 2.0]], [False]).shape == (1, 2)


@pytest.mark.parametrize(
    ("strokes", "prior", "message"),
    [
        ((), 1.0, "at least one stroke"),
        ((np.zeros(3),), 1.0, "expected shape"),
        ((np.array([[0, np.nan]]),), 1.0, "not finite"),
        ((np.zeros((4, 2)),), 1.0, "4 points without length"),
        ((np.zeros((1, 2)),), 0.0, "0 < prior <= 1, got 0.0"),
    ],
)
def test_an_impossible_allograph_is_refused(strokes: tuple[np.ndarray, ...], prior: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Allograph("x", "x", strokes, prior)
