"""The simulated writer, measured against the models and figures that it claims to follow."""

import itertools
import unicodedata

import numpy as np
import pytest
from scipy.stats import lognorm

from capture.sheet import Cell
from sample_sheets.writer import GUEST, KEEPER, write_cell, write_line
from sample_sheets.writer.letterforms import FORMS, Path, forms_of, knows, parse_path
from sample_sheets.writer.movement import STEP_S, Manner, move

STILL = Manner(practice=1.0, aim_sd=0.0, bend_sd_deg=0.0, timing_sd=0.0, overshoot=0.0, tremor=0.0)
FIVE_LANGUAGES = (
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789.,:;!?¿¡'\"‘’‚“”„«»()[]-–—…&@€%/"
    "àâæçéèêëîïôœùûüÿÀÂÆÇÉÈÊËÎÏÔŒÙÛÜŸäöüßÄÖÜąćęłńóśźżĄĆĘŁŃÓŚŹŻáéíñóúüÁÉÍÑÓÚÜ"
)


class _Still(np.random.Generator):
    """Chance that always gives its middle."""

    def __init__(self) -> None:
        super().__init__(np.random.PCG64(0))

    def normal(self, loc=0.0, scale=1.0, size=None):  # type: ignore[no-untyped-def, override]
        return np.broadcast_to(np.asarray(loc, float), size).copy() if size is not None else float(loc)


def cell(char="n", attempt=1, x_height=3.5):
    return Cell(
        char,
        attempt,
        1,
        1,
        (20, 30, 11, 15),
        40.0,
        x_height,
        2 * x_height,
        -x_height,
        char,
        (20, 27, 5, 3),
        (28, 27, 2, 2),
    )


def ellipse_through(path: Path) -> float:
    return float(np.ptp(np.hypot(path.at[:, 0], path.at[:, 1])))


def test_a_curve_through_the_ends_of_a_quarter_circle_keeps_its_radius():
    # Hobby 1986: a quarter circle from its two ends and directions is right to within about 0.06 %.
    path = parse_path("1,0@90 0,1@180 -1,0@270 0,-1@0 1,0@90")

    assert ellipse_through(path) < 0.001
    assert np.allclose(np.hypot(*path.leaving.T), 1)


def test_a_corner_leaves_in_another_direction_than_it_is_reached_in():
    path = parse_path("0,1 0,0! 1,0")

    assert path.arriving[1] @ path.leaving[1] == pytest.approx(0, abs=1e-9)


def test_a_single_straight_stroke_is_run_through_with_a_lognormal_speed():
    # Plamondon 1995, Biol. Cybern. 72: the speed of a simple stroke is D * Lambda(t; t0, mu, sigma^2).
    m = move(parse_path("0,0 1,0"), STILL, _Still())
    # Where its flattened ends lie in time is known from the model: 2.4 sigmas before the median.
    t = STILL.reach_s * np.exp(-2.4 * STILL.spread) + np.arange(len(m.speed)) * STEP_S
    model = lognorm.pdf(t, s=STILL.spread, scale=STILL.reach_s)

    assert np.abs(m.speed - model)[2:-2].max() < 0.03 * model.max()


@pytest.mark.parametrize("char", ["a", "o", "e", "S", "8", "&"])
def test_a_practised_and_calm_writer_comes_by_every_knot(char):
    for path in forms_of(char)[0].paths:
        m = move(path, STILL, _Still())
        away = [np.hypot(*(m.at - knot).T).min() for knot in path.at]

        assert max(away) < 0.06


def test_without_practice_corners_are_cut():
    path = parse_path("0,1 .5,0! 1,1")
    raw = Manner(practice=0.0, aim_sd=0, bend_sd_deg=0, timing_sd=0, overshoot=0, tremor=0, rhythm_s=0.06)

    cut = move(path, raw, _Still()).at[:, 1].min()
    kept = move(path, STILL, _Still()).at[:, 1].min()

    assert cut > kept + 0.03


@pytest.mark.parametrize("char", FIVE_LANGUAGES)
def test_the_writer_knows_the_letters_and_signs_of_five_languages(char):
    assert knows(char)


def test_an_unknown_character_is_refused_by_name():
    assert not knows("漢")
    with pytest.raises(KeyError, match="漢"):
        forms_of("漢")


@pytest.mark.parametrize("char", "éñążÖÇ")
def test_an_accent_is_written_after_its_letter(char):
    base = unicodedata.normalize("NFD", char)[0]
    plain, accented = forms_of(base)[0].paths, forms_of(char)[0].paths

    assert len(accented) > len(plain)
    assert all(np.array_equal(p.at, q.at) for p, q in zip(plain, accented, strict=False))


def test_an_i_with_an_acute_has_no_dot():
    assert len(forms_of("í")[0].paths) == len(forms_of("i")[0].paths) == 2
    assert np.ptp(forms_of("í")[0].paths[1].at, axis=0).max() > 0.2


@pytest.mark.parametrize("char", "agoqcd")
def test_bowls_are_written_against_the_clock(char):
    path = forms_of(char)[0].paths[0]
    top = int(path.at[:, 1].argmax()) if char in "co" else 0
    around = path.at[top : top + 6]
    turning = np.diff(np.unwrap(np.arctan2(*np.diff(around, axis=0).T[::-1])))

    assert turning.sum() > 0


def test_the_same_seed_writes_the_same_and_another_does_not():
    one, again, other = (write_cell("g", cell("g"), np.random.default_rng(s))[1] for s in (1, 1, 2))

    assert all(np.array_equal(a.points_mm, b.points_mm) for a, b in zip(one, again, strict=True))
    assert not np.array_equal(one[0].points_mm, other[0].points_mm)


@pytest.mark.parametrize(("habits", "least", "most"), [(KEEPER, 0.05, 0.13), (GUEST, 0.08, 0.16)])
def test_attempts_vary_about_as_much_as_people_do(habits, least, most):
    # UNIPEN (Guyon et al. 1994), two writers: heights 10-13 %, widths 14-19 % within a line; the keeper is regular.
    rng = np.random.default_rng(3)
    sizes = []
    for _ in range(150):
        _, traces = write_cell("o", cell("o"), rng, habits)
        sizes.append(np.ptp(np.vstack([t.points_mm for t in traces]), axis=0))
    spread = np.std(np.log(sizes), axis=0)

    assert least < spread[1] < most
    assert least < spread[0] < most + 0.08


@pytest.mark.parametrize("habits", [KEEPER, GUEST])
def test_two_attempts_have_as_often_the_same_number_of_strokes_as_peoples_do(habits):
    # UJI Pen Characters (Llorens et al. 2008), measured: 0.95, 0.97 and 1.00 of the pairs of writers 1 to 3.
    letters = "abdefghijkmnpqrtwxyABDEFGHKMNPRTY"
    rng = np.random.default_rng(4)
    same = []
    for char in letters:
        counts = [len(write_cell(char, cell(char, k % 6 + 1), rng, habits)[1]) for k in range(12)]
        same += [a == b for a, b in itertools.combinations(counts, 2)]

    assert 0.88 < np.mean(same) < 0.995


def test_a_second_leg_misses_the_first_one():
    # UJI, writers 1 to 3: strokes that begin by another's end miss it by 0.57 to 0.84 mm (medians) at this x-height.
    rng = np.random.default_rng(6)
    missed = []
    for _ in range(60):
        left, right, *_ = (t.points_mm for t in write_cell("A", cell("A"), rng)[1])
        missed.append(np.hypot(*(left[0] - right[0])))

    assert 0.2 < np.median(missed) < 0.9


@pytest.mark.parametrize("char", FIVE_LANGUAGES)
def test_a_stroke_sets_out_and_comes_in_as_its_form_has_it(char):
    for path in (p for f in forms_of(char) for p in f.paths if np.ptp(p.at, axis=0).max() > 0.3):
        at = move(path, STILL, _Still()).at
        far = np.hypot(*(at - at[0]).T), np.hypot(*(at - at[-1]).T)
        out, into = at[np.argmax(far[0] > 0.08)] - at[0], at[-1] - at[len(at) - 1 - np.argmax(far[1][::-1] > 0.08)]

        assert out @ path.leaving[0] > np.cos(np.radians(50)) * np.hypot(*out)
        assert into @ path.arriving[-1] > np.cos(np.radians(50)) * np.hypot(*into)


def test_a_retraced_stem_does_not_retrace_exactly():
    rng = np.random.default_rng(5)
    gaps = []
    for _ in range(20):
        points = write_cell("n", cell("n"), rng)[1][0].points_mm
        turn = int(points[: len(points) // 2, 1].argmax())
        down, up = points[turn // 2 : turn], points[turn : turn + 20]
        gaps.append(np.median([np.hypot(*(down - p).T).min() for p in up]))

    assert 0.01 < np.median(gaps) < 0.5


def test_a_line_goes_to_the_right_and_its_words_stand_apart():
    rng = np.random.default_rng(8)
    letters = write_line("the lamp is lit", (20.0, 50.0), 3.5, rng)
    left = [min(float(t.points_mm[:, 0].min()) for t in ink) for _, _, ink in letters]
    right = [max(float(t.points_mm[:, 0].max()) for t in ink) for _, _, ink in letters]
    gaps = {(a[0], b[0]): left[i + 1] - right[i] for i, (a, b) in enumerate(itertools.pairwise(letters))}

    assert "".join(c for c, _, _ in letters) == "thelampislit"
    assert gaps["e", "l"] > 2.0 and gaps["p", "i"] > 2.0
    assert gaps["t", "h"] < 2.0


def test_no_form_is_empty_or_wild():
    for char in FORMS:
        for form in forms_of(char):
            points = np.vstack([p.at for p in form.paths])

            assert np.isfinite(points).all()
            assert points[:, 1].max() < 2.1 and points[:, 1].min() > -1.0 and np.ptp(points[:, 0]) < 2.0
