"""What can be done to strokes, and carrying a mend over to the other attempts."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from ownhand.review.edits import operations as do
from ownhand.review.edits.operations import OperationError
from ownhand.review.edits.propagate import carry
from ownhand.review.session.base_letters import relatives
from skeleton.geometry.stroke import Stroke
from tests.ownhand.stand_in import X_HEIGHT, letter, unsteady


def line(*points: tuple[float, float]) -> Stroke:
    return Stroke(np.array(points, float), 0.4)


BAR = line((0, 1), (1, 1), (2, 1))
STEM = line((1, 3), (1, 2), (1, 0))
DOT = line((1, 4))


def ends(strokes):
    return [(tuple(s.points_mm[0].tolist()), tuple(s.points_mm[-1].tolist())) for s in strokes]


def test_a_stroke_turned_twice_is_itself():
    once = do.turn((STEM, BAR), 1)

    assert ends(once) == [((1, 3), (1, 0)), ((2, 1), (0, 1))]
    assert ends(do.turn(once, 1)) == ends((STEM, BAR))


def test_a_stroke_written_earlier_leaves_the_others_in_order():
    assert do.place((STEM, BAR, DOT), 2, 0) == (DOT, STEM, BAR)
    assert do.place((STEM, BAR, DOT), 0, 1) == (BAR, STEM, DOT)


@pytest.mark.parametrize("turned", [False, True])
def test_joined_strokes_meet_at_their_nearest_ends_and_the_first_keeps_its_direction(turned):
    foot = line((3, 0), (1.05, 0)) if turned else line((1.05, 0), (3, 0))
    (joined,) = do.join((STEM, foot), 0, 1)

    assert ends([joined]) == [((1, 3), (3, 0))]


def test_a_stroke_split_and_joined_again_is_the_same_line():
    first, second = do.split((STEM,), 0, np.array([1.3, 1.4]))
    (again,) = do.join((first, second), 0, 1)

    assert first.points_mm[-1].tolist() == [1, 1.4] == second.points_mm[0].tolist()
    assert again.length_mm == pytest.approx(STEM.length_mm)
    assert ends([again]) == ends([STEM])


@pytest.mark.parametrize("at", [(1, 5), (1, -3)])
def test_a_stroke_is_not_split_at_its_end(at):
    with pytest.raises(OperationError, match="between its ends"):
        do.split((STEM,), 0, np.array(at, float))


def test_the_last_stroke_is_not_deleted():
    assert do.delete((STEM, BAR), 0) == (BAR,)
    with pytest.raises(OperationError, match="set the attempt aside"):
        do.delete((BAR,), 0)


def test_a_point_takes_its_neighbours_with_it_and_leaves_the_far_ones():
    long = Stroke(np.column_stack([np.linspace(0, 10, 101), np.zeros(101)]))
    (bent,) = do.bend((long,), 0, 50, np.array([5.0, 1.0]), reach_mm=2.0)
    moved = bent.points_mm[:, 1]

    assert moved[50] == pytest.approx(1.0)
    assert 0.4 < moved[60] < 0.6
    assert np.all(moved[:30] == 0)
    assert np.all(moved[71:] == 0)
    assert np.all(np.diff(moved[50:70]) <= 0)


def test_a_redrawn_stroke_is_smoother_and_keeps_its_ends():
    rng = np.random.default_rng(3)
    truth = np.column_stack([np.linspace(0, 6, 200), np.sin(np.linspace(0, 6, 200))])
    shaky = truth + rng.normal(0, 0.03, truth.shape)
    stroke = do.drawn(shaky)
    off = [np.hypot(*(truth - p).T).min() for p in stroke.points_mm]

    assert stroke.points_mm[[0, -1]].tolist() == shaky[[0, -1]].tolist()
    assert np.mean(off[3:-3]) < 0.02
    assert stroke.length_mm == pytest.approx(Stroke(truth).length_mm, rel=0.03)


def test_a_tap_is_a_dot():
    assert do.drawn(np.array([[1.0, 1.0], [1.05, 1.02], [1.0, 1.0]])).is_dot
    assert do.drawn(np.array([[1.0, 1.0]])).is_dot


@pytest.mark.parametrize("number", [-1, 2])
@pytest.mark.parametrize("act", [do.turn, do.delete])
def test_a_stroke_that_is_not_there_is_named(act, number):
    with pytest.raises(OperationError, match=f"no stroke {number + 1}, the attempt has 2"):
        act((STEM, BAR), number)


# --- mend once, apply to all -----------------------------------------------------------------------------------------

MODELS = {c: unsteady(letter(c), np.random.default_rng(0), scatter=0.0) for c in "aAbdefghiklmpqrtuwxyEFHKMNQRT4578"}


def scrambled(strokes, rng):
    """Turn, reorder, split and join as a tracer that knows nothing would."""
    for _ in range(3):
        k = int(rng.integers(len(strokes)))
        what = rng.integers(4)
        if what == 0:
            strokes = do.turn(strokes, k)
        elif what == 1:
            strokes = do.place(strokes, k, int(rng.integers(len(strokes))))
        elif what == 2 and strokes[k].length_mm > 2.5:
            points = strokes[k].points_mm
            strokes = do.split(strokes, k, points[int(len(points) * rng.uniform(0.35, 0.65))])
        elif what == 3 and len(strokes) > 1:
            other = (k + 1) % len(strokes)
            gaps = [
                np.hypot(*(strokes[k].points_mm[i] - strokes[other].points_mm[j]))
                for i, j in itertools.product((0, -1), repeat=2)
            ]
            if min(gaps) < 0.5:
                strokes = do.join(strokes, k, other)
    return strokes


def alike(one, other, within_mm=0.4) -> bool:
    return len(one) == len(other) and all(
        np.abs(np.array(e) - np.array(f)).max() < within_mm for e, f in zip(ends(one), ends(other), strict=True)
    )


def test_the_structure_of_a_mended_letter_is_found_in_scrambled_ones():
    wrong = []
    for char, model in MODELS.items():
        for seed in range(4):
            truth = unsteady(letter(char), np.random.default_rng(100 + seed), scatter=0.06)
            carried = carry(model, scrambled(truth, np.random.default_rng(seed)), x_height_mm=X_HEIGHT)
            if not (carried.fits and alike(carried.strokes, truth)):
                wrong.append((char, seed, carried.why))

    assert len(wrong) <= 0.03 * 4 * len(MODELS), wrong


def test_an_attempt_written_this_way_already_is_left_alone():
    carried = carry(MODELS["t"], unsteady(letter("t"), np.random.default_rng(5)), x_height_mm=X_HEIGHT)

    assert carried.fits
    assert not carried.changes


def test_only_a_turned_bar_is_called_so():
    strokes = unsteady(letter("t"), np.random.default_rng(5))
    carried = carry(MODELS["t"], do.turn(strokes, 1), x_height_mm=X_HEIGHT)

    assert carried.changes
    assert carried.why == "stroke 2 turned round"
    assert alike(carried.strokes, strokes)


@pytest.mark.parametrize(("model", "other"), [("t", "m"), ("a", "l"), ("e", "x"), ("H", "o")])
def test_another_letter_is_not_forced_into_the_structure(model, other):
    shapes = {c: unsteady(letter(c), np.random.default_rng(0), scatter=0.0) for c in (model, other)}
    carried = carry(shapes[model], shapes[other], x_height_mm=X_HEIGHT)

    assert not carried.fits
    assert carried.strokes == shapes[other]


def test_the_accent_of_an_accented_form_stays_after_the_letter():
    plain = unsteady(letter("e"), np.random.default_rng(5))
    accent = line((3.0, 4.6), (2.2, 5.6))
    carried = carry(MODELS["e"], (accent, *(s.turned() for s in plain)), x_height_mm=X_HEIGHT, accented=True)

    assert carried.fits
    assert alike(carried.strokes[:-1], plain)
    assert carried.strokes[-1] is accent


def test_accented_forms_are_relatives_but_not_where_the_dot_is_lost():
    assert relatives("e", {"e", "é", "ễ", "ę", "f"}) == {"e", "é", "ễ", "ę"}
    assert relatives("i", {"i", "í", "į"}) == {"i", "į"}
    assert relatives("é", {"e", "é", "è"}) == {"é"}


def test_lines_longer_than_any_letter_are_not_compared():
    long = (Stroke(np.array([[0.0, 0.0], [290.0, 290.0], [0.0, 5.0]]), 0.4),)

    found = carry(long, long, x_height_mm=3.0)

    assert not found.fits and "greater length" in found.why
