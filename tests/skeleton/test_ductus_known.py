from __future__ import annotations

import numpy as np
import pytest

from skeleton.ductus import allograph_from_strokes, allographs, with_own

STEM = np.array([[4.0, 7.0], [4.0, 0.0]])
BAR = np.array([[6.0, 5.0], [2.0, 5.0]])


def test_strokes_in_millimetres_become_a_form_in_x_heights() -> None:
    own = allograph_from_strokes("t", [STEM, BAR], x_height_mm=3.5)

    np.testing.assert_allclose(own.box, (0, 0, 4 / 3.5, 2))
    np.testing.assert_allclose(own.strokes[0][0], [2 / 3.5, 2])
    np.testing.assert_allclose(own.strokes[1][[0, -1], 0], [4 / 3.5, 0])
    assert max(np.hypot(*np.diff(s, axis=0).T).max() for s in own.strokes) < 0.06


def test_strokes_with_y_down_are_turned_over() -> None:
    own = allograph_from_strokes("t", [STEM], x_height_mm=3.5)
    down = allograph_from_strokes("t", [(STEM - [0, 12]) * [1, -1]], x_height_mm=3.5, baseline_mm=12.0, y_up=False)

    np.testing.assert_allclose(down.strokes[0], own.strokes[0])


@pytest.mark.parametrize("char", ["a", "T", "g", "-", "é"])
def test_without_a_writing_size_the_table_gives_it(char: str) -> None:
    usual = allographs(char)[0]
    own = allograph_from_strokes(char, [s * 7.3 + [11, 40] for s in usual.strokes])

    np.testing.assert_allclose(np.subtract(own.box, usual.box)[[1, 3]], 0, atol=0.02)
    assert len(own.strokes) == len(usual.strokes)


def test_a_very_short_stroke_is_a_dot() -> None:
    own = allograph_from_strokes("i", [STEM, [[4.0, 9.0], [4.1, 9.1]]], x_height_mm=3.5)

    assert [len(s) for s in own.strokes][1] == 1


def test_a_dot_alone_has_no_size() -> None:
    own = allograph_from_strokes(".", [[[3.0, 0.2]]])

    assert own.strokes[0].shape == (1, 2)


@pytest.mark.parametrize(
    ("strokes", "x_height", "message"),
    [
        ([], None, "at least one stroke"),
        ([[[1, 2, 3]]], None, "stroke 1: expected finite points"),
        ([STEM, [[np.inf, 0]]], None, "stroke 2: expected finite points"),
        ([STEM], 0.0, "positive x-height"),
    ],
)
def test_strokes_that_cannot_be_are_refused(strokes: list, x_height: float | None, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        allograph_from_strokes("t", strokes, x_height_mm=x_height)


def test_own_forms_come_first_and_the_table_keeps_a_share() -> None:
    own = allograph_from_strokes("t", [BAR, STEM], x_height_mm=3.5)
    forms = with_own([own], "t", trust=0.8)

    assert forms[0].name == "own"
    assert forms[0].prior == pytest.approx(0.8)
    assert [a.name for a in forms[1:]] == [a.name for a in allographs("t")]
    assert sum(a.prior for a in forms) == pytest.approx(1)


def test_without_own_forms_the_table_speaks_and_without_a_table_the_own_forms() -> None:
    own = allograph_from_strokes("漢", [BAR, STEM])

    assert with_own([], "t") == allographs("t")
    assert [a.prior for a in with_own([own], "漢")] == [1.0]


@pytest.mark.parametrize("trust", [0.0, 1.0])
def test_trust_leaves_something_for_both(trust: float) -> None:
    with pytest.raises(ValueError, match="0 < trust < 1"):
        with_own([], "t", trust=trust)
