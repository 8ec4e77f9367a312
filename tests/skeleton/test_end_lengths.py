"""Where strokes began and ended: what the network is shown, what it makes of it, and how ends are moved."""

from __future__ import annotations

import json
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest

from skeleton import selection
from skeleton.fitting import end_lengths
from skeleton.fitting.end_lengths import likeliest_shifts, moved_ends, shift_odds, trained
from skeleton.fitting.end_pictures import (
    BACK,
    COLUMNS,
    FAR,
    MEASURES,
    MOST,
    ROWS,
    STEP,
    end_measures,
    end_pictures,
    led_on,
)
from skeleton.pipeline import read
from tests.bench import trace_ends
from tests.bench.people import part
from tests.bench.trace_ink import ink
from tests.bench.training.choices import written
from tests.bench.training.end_examples import load_ends, make_ends
from tests.skeleton.test_people import records

PEN = 6.0
SHIFTS = 2 * MOST + 1


def stroke(n: int = 40) -> np.ndarray:
    """Return a level line to the right, a third of the pen from point to point, px."""
    return np.stack([40 + np.arange(n) * PEN / 3, np.full(n, 60.0)], axis=1)


def seen(points: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    """Return pictures of the ends of strokes on blank paper."""
    ends = np.flatnonzero(np.diff(numbers, prepend=-1, append=-1)[:-1] != 0)
    last = np.append(ends[1:] - 1, len(numbers) - 1)
    both = np.stack([ends, last], axis=1).reshape(-1)
    dark = np.zeros((140, 200), np.float32)
    return end_pictures(dark, points, np.full(len(points), PEN / 2), numbers, PEN, 1.0, both)


def test_an_open_stroke_may_have_been_begun_the_same_way_back() -> None:
    line = stroke()
    way, *rings = led_on(line, PEN)
    assert rings == [False, False]
    np.testing.assert_array_equal(way[MOST:-MOST], np.arange(40))
    np.testing.assert_array_equal(way[:MOST], np.arange(MOST, 0, -1))
    np.testing.assert_array_equal(way[-MOST:], np.arange(38, 38 - MOST, -1))


def test_a_ring_goes_on_round() -> None:
    t = np.linspace(0, 2 * np.pi, 60)
    line = 20 * np.stack([np.cos(t), np.sin(t)], axis=1)
    way, *rings = led_on(line, PEN)
    assert rings == [True, True]
    # what goes on lies further along; begin and end are one place
    turned = np.diff(np.unwrap(np.arctan2(line[way, 1], line[way, 0])))
    assert (turned >= -1e-9).all() and turned.sum() > 2 * np.pi


def test_a_picture_looks_along_the_stroke_from_its_end() -> None:
    line = stroke()
    (begin, end), row, column = seen(line, np.zeros(len(line), np.int64)), round(BACK / STEP), COLUMNS // 2
    for picture in (begin, end):
        # an even number of columns: the middle lies half a step beside the line, the line's edge half a pen width away
        assert picture[1, row:, column] == pytest.approx(0.5 * STEP - 0.5)
        assert picture[1, row - 4, column] == pytest.approx(np.hypot(4 * STEP, 0.5 * STEP) - 0.5)
        assert (picture[3] == np.float32(FAR)).all() and picture[1, 0, column] == np.float32(FAR)
        assert np.all(np.diff(picture[2, row:, column]) < 0)


def test_another_stroke_stands_apart_from_its_own() -> None:
    across = np.stack([np.full(20, 40.0), 40 + np.arange(20) * PEN / 3], axis=1)
    line = stroke()
    pictures = seen(np.concatenate([line, across]), np.repeat([0, 1], [len(line), len(across)]))
    assert pictures.shape == (4, 4, ROWS, COLUMNS)
    row = round(BACK / STEP)
    # the other passes the begin of the first, square to it
    assert pictures[0, 3, row] == pytest.approx(-0.5, abs=1e-6)
    assert (pictures[1, 3] == np.float32(FAR)).all()


def test_ink_is_painted_where_it_lies() -> None:
    line = stroke()
    dark = np.zeros((140, 200), np.float32)
    dark[:, :40] = 0.8
    half, numbers = np.full(len(line), 3.0), np.zeros(len(line), np.int64)
    begin, _ = end_pictures(dark, line, half, numbers, PEN, 0.8, np.array([0, 39]))
    row = round(BACK / STEP)
    # paper from the begin on, ink behind it
    assert begin[0, row + 1 :].max() == 0 and begin[0, : row - 1].min() == pytest.approx(1)


def test_the_other_end_is_measured_where_it_is_near() -> None:
    t = np.linspace(0.2, 2 * np.pi - 0.2, 60)
    line = 15 * np.stack([np.cos(t), np.sin(t)], axis=1)
    told = end_measures(line, np.zeros(60, np.int64), PEN, np.array([0, 59]), np.zeros(2))
    assert told.shape == (2, MEASURES)
    assert told[0, 0] == 0 and told[1, 0] == 1
    assert (told[:, 3] == 1).all()
    apart = np.hypot(*(line[0] - line[-1])) / PEN / 4
    assert np.hypot(told[:, 4], told[:, 5]) == pytest.approx(apart)
    far = end_measures(stroke(), np.zeros(40, np.int64), PEN, np.array([0, 39]), np.zeros(2))
    assert not far[:, 3:8].any()


def test_an_end_goes_where_it_is_likeliest_to_be_right_and_else_stays() -> None:
    odds = np.zeros((3, SHIFTS))
    odds[0, MOST] = 1.0  # sure that it is right
    odds[1, MOST - 4] = 1.0  # sure that it was led on too far
    # as likely either way: nothing is won
    odds[2, [MOST - 6, MOST + 6]] = 0.5
    odds[2] = odds[2] * 0.5 + 0.5 * odds[0]
    assert likeliest_shifts(odds, 0.17).tolist() == [0, -4, 0]


def test_several_likely_places_near_each_other_win_over_one() -> None:
    odds = np.zeros((1, SHIFTS))
    odds[0, MOST] = 0.35
    odds[0, MOST + 5 : MOST + 8] = 0.65 / 3
    (found,) = likeliest_shifts(odds, 0.17)
    assert found in (5, 6, 7)
    # where points lie so close that all are within the tolerance, they count together
    assert likeliest_shifts(odds, 0.02)[0] < 6


def test_ends_are_moved_along_the_line() -> None:
    line = stroke()
    points, numbers = np.concatenate([line, [[150.0, 20.0]], line + 30]), np.repeat([0, 1, 2], [40, 1, 40])
    half = np.linspace(2, 4, len(points))
    shifts = np.array([-3, 0, 2, -5])
    with patch.object(end_lengths, "likeliest_shifts", lambda *_: shifts):
        out, wide, which = moved_ends(
            np.zeros((140, 200), np.float32), points, half, numbers, PEN, 1.0, point_mm=0.17, char="a"
        )
    assert np.bincount(which).tolist() == [37, 1, 37] and len(wide) == len(out)
    np.testing.assert_array_equal(out[which == 0], line[3:])
    np.testing.assert_array_equal(wide[which == 0], half[3:40])
    np.testing.assert_array_equal(out[which == 1], points[40:41])
    # led on: two points the same way back, with the width they had there
    np.testing.assert_array_equal(out[which == 2][:3], (line + 30)[[2, 1, 0]])
    np.testing.assert_array_equal(wide[which == 2][:3], half[[43, 42, 41]])
    np.testing.assert_array_equal(out[which == 2][2:], (line + 30)[:35])


def test_a_stroke_is_not_taken_back_to_nothing() -> None:
    line = stroke(8)
    with patch.object(end_lengths, "likeliest_shifts", lambda *_: np.array([-4, -4])):
        out, _, _ = moved_ends(
            np.zeros((140, 200), np.float32), line, np.full(8, 3.0), np.zeros(8, np.int64), PEN, 1.0,
            point_mm=0.17, char="l",
        )  # fmt: skip
    np.testing.assert_array_equal(out, line)


def test_a_ring_that_closes_stays_whole() -> None:
    t = np.linspace(0, 2 * np.pi, 60)
    ring = 40 + 20 * np.stack([np.cos(t), np.sin(t)], axis=1)
    with patch.object(end_lengths, "likeliest_shifts", lambda *_: np.array([-2, 3])):
        out, _, _ = moved_ends(
            np.zeros((90, 90), np.float32), ring, np.full(60, 3.0), np.zeros(60, np.int64), PEN, 1.0,
            point_mm=0.17, char="o",
        )  # fmt: skip
    np.testing.assert_array_equal(out, ring)


def test_dots_alone_stay() -> None:
    dot = np.array([[30.0, 30.0]])
    out, _, _ = moved_ends(
        np.zeros((60, 60), np.float32), dot, np.ones(1), np.zeros(1, np.int64), PEN, 1.0, point_mm=0.17, char="."
    )
    np.testing.assert_array_equal(out, dot)


def test_ends_of_what_is_no_known_character_stay() -> None:
    t = np.radians(np.linspace(100, 442, 120))
    grey, _ = ink([np.stack([1.6 * np.cos(t), -1.8 * np.sin(t)], axis=1)])
    with patch.object(selection, "moved_ends", side_effect=AssertionError("moved")):
        assert read(grey, 300.0, None, handedness="right", known=()).strokes
        with pytest.raises(AssertionError, match="moved"):
            read(grey, 300.0, "o", handedness="right", known=())


def test_characters_seldom_seen_are_one_to_it() -> None:
    pictures = seen(stroke(), np.zeros(40, np.int64))
    told = end_measures(stroke(), np.zeros(40, np.int64), PEN, np.array([0, 39]), np.zeros(2))
    unnamed = shift_odds(trained(), "\u00df", pictures, told)
    np.testing.assert_allclose(unnamed.sum(axis=1), 1)
    np.testing.assert_array_equal(shift_odds(trained(), "\u3042", pictures, told), unnamed)
    assert np.abs(shift_odds(trained(), "a", pictures, told) - unnamed).max() > 0


def test_ends_are_found_for_the_fit_of_nobody_who_is_left_out_and_the_network_scored_on_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "unipen_chars.json"
    file.write_text(json.dumps(records(80)), "utf-8")
    asked = [w for w in written([file], ("val",), 1, 1) if w.source == "unipen"]
    assert asked and all(part("unipen", w.case.writer) == "val" for w in asked)

    make_ends(asked[:12], tmp_path / "made" / "val", cores=2, seconds=600)
    made = load_ends(tmp_path / "made" / "val")
    assert len(made.shift) >= 12 and len(made.shift) == len(made.pictures) == len(made.measures)
    whole = ~made.perturbed
    assert 2 * len(made.gaps) == whole.sum()
    # where an end is said to lie elsewhere, the stroke is better read with it there
    begin, end = made.shift[whole][::2] + MOST, made.shift[whole][1::2] + MOST
    number = np.arange(len(made.gaps))
    assert (made.gaps[number, begin, end] <= made.gaps[:, MOST, MOST]).all()
    assert (made.gaps[number, begin, end] <= 1).all()

    assert trace_ends.main(["--examples", str(tmp_path / "made")]) == 0
    assert f"{len(made.gaps)} strokes" in capsys.readouterr().out
