from __future__ import annotations

import numpy as np
import pytest

from skeleton.ductus import allograph_from_strokes, allographs, by_lines, forms_of_writer

RISING = [[3.0, 3.0], [0.0, 0.0]]
FALLING = [[0.0, 3.0], [3.0, 0.0]]
X = allograph_from_strokes("x", [RISING, FALLING], x_height_mm=3)


def test_a_known_letter_is_read_as_it_was_written() -> None:
    forms = forms_of_writer("x", {"x": [X]})

    assert forms[0].name == "own"
    assert forms[0].strokes[0][0, 0] > forms[0].strokes[0][-1, 0]


def test_a_capital_of_the_same_shape_follows_the_small_letter() -> None:
    first, *others = forms_of_writer("X", {"x": [X]})

    assert first.name == "own, as in x"
    assert first.char == "X"
    assert first.box[3] == pytest.approx(allographs("X")[0].box[3])
    assert first.strokes[0][0, 0] > first.strokes[0][-1, 0]
    assert first.prior + sum(a.prior for a in others) == pytest.approx(1)


def test_an_accented_letter_has_the_writers_own_base_and_the_tables_mark() -> None:
    e = allographs("e")[-1]
    own = allograph_from_strokes("e", e.strokes, x_height_mm=1.0)
    first = forms_of_writer("e\u0301", {"e": [own]})[0]

    assert first.char == "é"
    np.testing.assert_allclose(first.strokes[0], own.strokes[0])
    assert first.strokes[-1][:, 1].min() > 1.1


def test_the_writers_own_i_loses_its_dot_under_an_accent() -> None:
    own = allograph_from_strokes("i", [[[0.0, 1.5]], [[0.0, 1.0], [0.0, 0.0]]], x_height_mm=1.0)
    first = forms_of_writer("í", {"i": [own]})[0]

    assert [len(s) > 1 for s in first.strokes] == [True, True]


def test_of_an_unknown_writer_the_table_speaks() -> None:
    assert forms_of_writer("X", {}) == allographs("X")
    assert forms_of_writer("漢", {}) == ()


def test_forms_that_only_order_and_direction_tell_apart_are_one_group() -> None:
    groups = by_lines(allographs("X"))
    crossed = next(g for g in groups if allographs("X")[0] in g)

    assert {"falling stroke, then rising", "rising stroke first"} <= {a.name for a in crossed}
    assert all("arc" not in a.name for a in crossed)
    assert sum(map(len, groups)) == len(allographs("X"))
