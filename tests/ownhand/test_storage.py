"""Reading again: cell by cell the better of old and new."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from capture.read import CellInk
from capture.report import Finding
from capture.sheet import Cell
from ownhand.hands.cell_attempts import attempt_of, better
from skeleton.geometry.stroke import Stroke
from skeleton.result import Reading
from tests.ownhand.test_hand import an_attempt

CELL = Cell("a", 1, 2, 3, (20.0, 50.0, 12.0, 16.0), 60.0, 3.5, 7.0, -3.5, "a", (0, 0, 1, 1), (0, 0, 1, 1))


def ink(**changes) -> CellInk:
    base = CellInk("a", 1, 2, 3, "written", np.zeros((4, 4), np.uint8), 12.0, 19.0, 49.0, CELL, 0.4)
    return dataclasses.replace(base, **changes)


def test_strokes_stand_on_the_baseline_with_y_up():
    # the picture's corner is at (19, 49) on the page, the baseline at y = 60, the cell's left edge at x = 20
    reading = Reading((Stroke(np.array([[1.0, 11.0], [3.0, 7.5]])),), 0.9, "one-storey")

    attempt = attempt_of(ink(), reading, sheet="s1", page=4)

    np.testing.assert_allclose(attempt.strokes[0].points_mm, [[0.0, 0.0], [2.0, 3.5]])
    assert (attempt.id, attempt.allograph, attempt.confidence) == ("s1/4/2.3", "one-storey", 0.9)


def test_a_sheet_printed_too_small_gives_real_millimetres():
    reading = Reading((Stroke(np.array([[1.0, 11.0], [3.0, 7.5]])),))

    attempt = attempt_of(ink(), reading, sheet="s1", page=4, scale=0.94)

    np.testing.assert_allclose(attempt.strokes[0].points_mm, [[0.0, 0.0], [1.88, 3.29]])
    assert attempt.x_height_mm == pytest.approx(3.29)


def test_what_is_doubtful_is_named_by_its_place_on_paper():
    reading = Reading((Stroke(np.array([[1.0, 11.0]])),), confidence=0.2)

    (finding,) = attempt_of(ink(), reading, sheet="s1", page=4).findings

    assert str(finding) == "'a' (page 4, row 2, column 3): low confidence, 0.20"


@pytest.mark.parametrize(
    ("old", "new", "kept"),
    [
        ({}, {"status": "blank", "strokes": ()}, "old"),
        ({"status": "blank", "strokes": ()}, {}, "new"),
        ({"findings": ()}, {"findings": (Finding("outside its box"),)}, "old"),
        ({"confidence": 0.5}, {"confidence": 0.9}, "new"),
        ({"confidence": 0.9}, {"confidence": 0.5}, "old"),
        ({}, {}, "new"),
    ],
)
def test_the_better_of_two_readings_is_kept(old, new, kept):
    assert better(an_attempt(**old), an_attempt(**new)) == (kept == "old")
