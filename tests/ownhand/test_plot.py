from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import svgpathtools
from hypothesis import given
from hypothesis import strategies as st

from capture.errors import InputError, UsageError
from ownhand.composer import PlotPage, Settings
from ownhand.composer.formats.svg import path_data
from ownhand.composer.plot.delayed_strokes import delayed_strokes, joins
from ownhand.composer.plot.machine import Machine, check_bed, load_machine, machine_from
from ownhand.composer.plot.motion import drawing_seconds, effort, trapezoid_seconds
from ownhand.composer.plot.plot_page import flatten, merged, pen_up_travel_mm, reordered
from ownhand.composer.plot.travel import least_travel
from tests.ownhand.composing import LETTER, composer
from tests.ownhand.hershey_font import hershey_font

CARD = Settings(paper="postcard", margins_mm=(10, 10, 10, 10))


def page_of(*paths: list[list[float]], letter: list[int] | None = None, word: list[int] | None = None) -> PlotPage:
    """Return a page with these control points."""
    sizes = [len(p) for p in paths]
    n = len(paths)
    zeros = np.zeros(n, np.int64)
    points = np.array([q for p in paths for q in p], float).reshape(-1, 2)
    return PlotPage(
        1, (100.0, 100.0), (0.0, 0.0, 0.0, 0.0), points, np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        zeros, np.array(word, np.int64) if word else zeros,
        np.array(letter, np.int64) if letter else np.arange(n), zeros + 1, ("x",) * n,
    )  # fmt: skip


def straight(x0: float, y0: float, x1: float, y1: float) -> list[list[float]]:
    return [[x0 + (x1 - x0) * t / 3, y0 + (y1 - y0) * t / 3] for t in range(4)]


def as_sets(page: PlotPage) -> list[tuple]:
    """Return each path without regard to direction, sorted."""
    return sorted(min(tuple(map(tuple, p)), tuple(map(tuple, p[::-1]))) for p in page.paths())


@given(st.lists(st.tuples(*[st.floats(0, 100)] * 4), max_size=40))
def test_least_travel_never_lengthens_travel_and_never_loses_a_path(lines: list[tuple]) -> None:
    page = page_of(*[straight(*line) for line in lines])

    better = least_travel(page)

    assert pen_up_travel_mm(better) <= pen_up_travel_mm(page) + 1e-9
    assert as_sets(better) == as_sets(page)


def test_least_travel_on_a_letter_saves_a_third() -> None:
    page = composer().compose(LETTER * 3, Settings(), seed=1).pages[0]

    better = least_travel(page)

    assert pen_up_travel_mm(better) < 0.67 * pen_up_travel_mm(page)
    assert better.writing_travel_mm == pytest.approx(pen_up_travel_mm(page))
    assert as_sets(better) == as_sets(page)


def test_both_travels_are_reported() -> None:
    written = composer().compose(LETTER, CARD, seed=1).pages[0]
    sorted_ = composer().compose(LETTER, replace(CARD, order="least travel"), seed=1).pages[0]

    one, two = effort(written, compare=True), effort(sorted_, compare=True)
    assert one.writing_travel_mm == pytest.approx(two.writing_travel_mm)
    assert one.least_travel_mm == pytest.approx(two.least_travel_mm)
    assert one.travel_mm > two.travel_mm


def test_strokes_that_meet_are_drawn_without_lifting() -> None:
    page = page_of(straight(0, 0, 10, 0), straight(10.05, 0, 20, 0), straight(30, 0, 40, 0), letter=[0, 0, 0])

    joined = merged(page, within_letter_mm=0.1, between_letters_mm=0.0)

    assert np.diff(joined.starts).tolist() == [10, 4]
    assert joined.path(0)[[0, 3, 6, 9]].tolist() == [[0, 0], [10, 0], [10.05, 0], [20, 0]]
    assert joined.letter.tolist() == [0, 0]


def test_the_bridge_between_letters_runs_on_in_both_directions() -> None:
    page = page_of(straight(0, 0, 10, 0), straight(11, 1, 11, 9), letter=[0, 1])

    path = merged(page, within_letter_mm=0.0, between_letters_mm=2.0).path(0)

    assert (path[4] - path[3])[1] == pytest.approx(0)
    assert (path[4] - path[3])[0] > 0
    assert (path[6] - path[5])[0] == pytest.approx(0)
    assert (path[6] - path[5])[1] > 0


@pytest.mark.parametrize("change", [{"word": [0, 1]}, {}])
def test_words_and_dots_are_never_joined(change: dict) -> None:
    two = [straight(0, 0, 10, 0), straight(10, 0, 20, 0) if change else [[10.0, 0.0]]]

    page = merged(page_of(*two, letter=[0, 1], **change), within_letter_mm=1.0, between_letters_mm=1.0)

    assert len(page) == 2


def test_a_joining_hand_is_written_with_fewer_lifts() -> None:
    script = composer("scripts", scatter=0.3)
    joined = script.compose(LETTER, CARD, seed=1).pages[0]
    apart = script.compose(LETTER, replace(CARD, joins=False), seed=1).pages[0]

    assert len(joined) < 0.85 * len(apart)


def a_word_with_an_i() -> PlotPage:
    """A joined 'tin': bar after the stem, dot after the i, each letter beginning where the one before it ended."""
    paths = [
        straight(0, 0, 5, 9), straight(-1, 4, 4, 4), straight(5.1, 9, 10, 9), [[8.0, 2.0]], straight(10.2, 9, 15, 9),
        straight(20, 0, 25, 0),
    ]  # fmt: skip
    page = page_of(*paths, letter=[0, 0, 1, 1, 2, 3], word=[0, 0, 0, 0, 0, 1])
    return replace(page, chars=tuple("tinn"))


def test_dots_and_bars_wait_until_a_joined_word_is_done() -> None:
    page = delayed_strokes(a_word_with_an_i(), within_mm=0.5)
    joined = merged(page, within_letter_mm=0.1, between_letters_mm=0.5)

    assert page.letter.tolist() == [0, 1, 2, 0, 1, 3]
    assert [p[0].tolist() for p in joined.paths()] == [[0, 0], [-1, 4], [8, 2], [20, 0]]
    assert joined.path(0)[-1].tolist() == [15, 9]
    assert as_sets(page) == as_sets(a_word_with_an_i())


def test_letters_that_stand_apart_keep_their_dots_where_they_are() -> None:
    page = a_word_with_an_i()

    assert delayed_strokes(page, within_mm=0.05) is page


def test_a_pen_never_runs_on_into_a_sign() -> None:
    page = replace(page_of(straight(0, 0, 10, 0), straight(10, 0, 12, 3), letter=[0, 1]), chars=("n", ","))

    assert len(merged(page, within_letter_mm=1.0, between_letters_mm=1.0)) == 2


def test_only_a_hand_that_joins_is_taken_for_one() -> None:
    assert [joins(hershey_font(face)) for face in ("scripts", "futural", "rowmans")] == [True, False, False]


def test_a_script_goes_back_for_its_dots_and_bars_after_the_word() -> None:
    page = composer("scripts", scatter=0.3).compose("minima titillate initial " * 6, CARD, seed=1).pages[0]
    first, last = page.ends_mm
    back = (last[:-1, 0] - first[1:, 0] > 3.0) & (page.word[1:] == page.word[:-1])

    assert back.sum() >= 12
    assert {page.chars[page.letter[k + 1]] for k in np.flatnonzero(back)} <= {"i", "t"}


def test_flattened_curves_stay_near_and_keep_their_length() -> None:
    page = composer().compose(LETTER, CARD, seed=1).pages[0]

    points, starts = flatten(page.points_mm, page.starts, within_mm=0.01)

    for k, data in list(enumerate(path_data(page)))[:60]:
        # an independent reading of the same path: svgpathtools' adaptive length
        theirs = svgpathtools.parse_path(data).length(error=1e-4)
        ours = np.hypot(*np.diff(points[starts[k] : starts[k + 1]], axis=0).T).sum()
        if theirs > 0.1:
            assert ours == pytest.approx(theirs, rel=0.01, abs=0.02)
    curve = svgpathtools.CubicBezier(0, 30j, 40 + 30j, 40 - 10j)
    flat, _ = flatten(np.array([[0, 0], [0, 30], [40, 30], [40, -10]], float), np.array([0, 4]), within_mm=0.01)
    dense = np.array([[curve.point(t).real, curve.point(t).imag] for t in np.linspace(0, 1, 4001)])
    away = np.full(len(dense), np.inf)
    for a, d in zip(flat[:-1], np.diff(flat, axis=0), strict=True):
        t = np.clip(((dense - a) @ d) / (d @ d), 0, 1)
        away = np.minimum(away, np.hypot(*(dense - a - t[:, None] * d).T))
    assert away.max() < 0.01


def test_turning_a_page_backwards_twice_is_itself() -> None:
    page = composer().compose(LETTER[:40], CARD, seed=1).pages[0]
    order = np.arange(len(page))[::-1]
    turned = np.ones(len(page), bool)

    twice = reordered(reordered(page, order, turned), order, turned)

    assert np.array_equal(twice.points_mm, page.points_mm)
    assert np.array_equal(twice.letter, page.letter)


def test_a_move_takes_what_the_textbook_says() -> None:
    # constant acceleration a: t = 2 sqrt(s / a) below the speed v, s / v + v / a above (any mechanics textbook)
    assert trapezoid_seconds(np.array([10.0, 200.0]), 100.0, 1000.0) == pytest.approx([0.2, 2.1])


def test_a_straight_line_cut_in_pieces_takes_no_longer() -> None:
    machine = Machine(draw_mm_s=50, acceleration_mm_s2=500)
    whole = drawing_seconds(np.array([[0, 0], [100, 0]], float), np.array([0, 2]), machine)
    pieces = drawing_seconds(np.column_stack([np.linspace(0, 100, 51), np.zeros(51)]), np.array([0, 51]), machine)

    assert whole == pytest.approx(trapezoid_seconds(np.array([100.0]), 50, 500)[0])
    assert pieces == pytest.approx(whole)


def test_a_sharp_corner_is_taken_slowly() -> None:
    machine = Machine(draw_mm_s=50, acceleration_mm_s2=500, corner_mm_s=0.001)
    corner = drawing_seconds(np.array([[0, 0], [50, 0], [50, 50]], float), np.array([0, 3]), machine)

    assert corner == pytest.approx(2 * trapezoid_seconds(np.array([50.0]), 50, 500)[0], rel=1e-3)


def test_effort_counts_ink_lifts_and_lifting_time() -> None:
    page = page_of(straight(0, 0, 30, 40), [[50.0, 50.0]])

    slow, quick = (effort(page, Machine(lift_s=s, lower_s=s)) for s in (1.0, 0.0))

    assert slow.ink_mm == pytest.approx(50)
    assert slow.lifts == 2
    assert slow.seconds - quick.seconds == pytest.approx(4.0)
    assert slow.travel_mm == pytest.approx(np.hypot(20, 10))


def test_writing_beyond_the_bed_is_refused_with_the_place() -> None:
    page = page_of(straight(10, 10, 90, 10))

    check_bed(page, Machine(bed_mm=(95, 50)))
    with pytest.raises(
        UsageError, match=r"page 1: the writing reaches x = 90.0 mm, the bed of 'plotter' goes from 0 to 80"
    ):
        check_bed(page, Machine(bed_mm=(80, 50)))
    with pytest.raises(UsageError, match=r"reaches x = 110.0 mm"):
        check_bed(page, Machine(bed_mm=(95, 50), paper_mm=(20, 0)))


def test_a_profile_is_read_from_toml_and_json_alike(tmp_path: Path) -> None:
    data = {"name": "Drawing table", "bed_mm": [310, 220], "origin": "top left", "pen": "servo", "lift_s": 0.2}
    toml = 'name = "Drawing table"\nbed_mm = [310, 220]\norigin = "top left"\npen = "servo"\nlift_s = 0.2\n'
    (tmp_path / "m.toml").write_text(toml, "utf-8")
    (tmp_path / "m.json").write_text(json.dumps(data), "utf-8")

    one, two = load_machine(tmp_path / "m.toml"), load_machine(tmp_path / "m.json")

    assert one == two == machine_from(data)
    assert one.lines_down[0].startswith("M3")


def test_all_faults_of_a_profile_are_named_at_once() -> None:
    with pytest.raises(InputError) as said:
        machine_from(
            {"bed": [1, 2], "origin": "middle", "draw_mm_s": -1, "bed_mm": [1], "pen_up": "M3"}, where="m.toml"
        )

    text = str(said.value)
    assert text.startswith("m.toml: ")
    for fault in (
        "bed: no such key (known: name, bed_mm",
        "origin: expected",
        "draw_mm_s: expected",
        "bed_mm: expected",
        "pen_up: expected",
    ):
        assert fault in text


def test_a_fault_of_a_profile_is_named_once() -> None:
    with pytest.raises(InputError) as said:
        machine_from({"bed_mm": [0, 0], "draw_mm_s": -1, "pen_up": ["M3\nM4"]}, where="m.toml")

    assert str(said.value) == (
        "m.toml: draw_mm_s: expected 0.001 to 100000, found -1; bed_mm: expected 1 to 100000, found 0; "
        "pen_up: expected 50 single lines of ASCII at most. Correct the profile."
    )


@pytest.mark.parametrize("blank", [[""], [" ", ""]])
def test_a_pen_is_never_moved_by_blank_lines(blank: list[str]) -> None:
    for name in ("pen_up", "pen_down"):
        with pytest.raises(InputError, match=f"{name}: expected lines that move the pen"):
            machine_from({name: blank})


@pytest.mark.parametrize(
    ("name", "text"), [("m.toml", "name ="), ("m.json", "{"), ("m.json", "[]"), ("none.toml", None)]
)
def test_a_file_that_is_no_profile_is_refused(tmp_path: Path, name: str, text: str | None) -> None:
    if text is not None:
        (tmp_path / name).write_text(text, "utf-8")

    with pytest.raises(InputError, match=name):
        load_machine(tmp_path / name)
