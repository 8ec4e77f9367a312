from __future__ import annotations

from dataclasses import replace

import numpy as np

from fontbuild.broken_stroke_repair import mended
from fontbuild.build import build_font
from fontbuild.font import Record
from fontbuild.point_cloud_distance import cloud, distances, normal
from fontbuild.variants import AttemptStrokes
from skeleton.geometry.stroke import Stroke
from tests.fontbuild.hands import X_HEIGHT_MM, attempt, hand, letterform, scattered

PEN_MM = 0.4


def written(char: str, seed: int, *, name: str = "") -> AttemptStrokes:
    lines = scattered(letterform(char), np.random.default_rng(seed))
    return AttemptStrokes(name or f"{char}{seed}", char, tuple(lines), width_mm=PEN_MM)


def broken(
    w: AttemptStrokes, stroke: int = 0, at: tuple[float, float] = (0.45, 0.6), *, turned: bool = False
) -> AttemptStrokes:
    """Return an attempt with a part of one stroke left without ink, the later piece read from its other end."""
    s = w.strokes[stroke]
    a, b = (round(share * len(s)) for share in at)
    second = s[b:][::-1] if turned else s[b:]
    return replace(w, id="broken", strokes=(*w.strokes[:stroke], s[:a], second, *w.strokes[stroke + 1 :]))


def far(a: AttemptStrokes, b: AttemptStrokes) -> float:
    one, two = (normal(cloud([s / X_HEIGHT_MM for s in w.strokes]))[None] for w in (a, b))
    return float(distances(one, two)[0, 0])


def test_a_line_that_broke_is_one_line_again_in_the_direction_of_the_others() -> None:
    for char in "csl":
        for turned in (False, True):
            whole = written(char, 9)
            group = [*(written(char, k) for k in range(3)), broken(whole, turned=turned)]

            letters, ids = mended({char: group}, x_height_mm=X_HEIGHT_MM)

            (line,) = letters[char][3].strokes
            assert ids == {"broken"}
            assert far(letters[char][3], whole) < 0.08
            assert np.hypot(*(line[0] - whole.strokes[0][0])) < 0.01


def test_a_speck_beside_a_letter_is_left_out() -> None:
    whole = written("n", 9)
    speck = whole.strokes[0][-1:] + np.array([0.3, -0.8])
    group = [*(written("n", k) for k in range(3)), replace(whole, id="specked", strokes=(*whole.strokes, speck))]

    letters, ids = mended({"n": group}, x_height_mm=X_HEIGHT_MM)

    assert ids == {"specked"}
    assert len(letters["n"][3].strokes) == len(whole.strokes)


def test_a_dot_that_belongs_to_the_letter_is_no_speck_though_there_is_a_letter_without() -> None:
    group = [written("i", k) for k in range(4)]

    letters, ids = mended({"i": group}, x_height_mm=X_HEIGHT_MM)

    assert not ids
    assert letters["i"] == group


def test_lines_that_meet_at_a_corner_are_left_as_they_are() -> None:
    group = [written(char, k, name=f"{char}{k}") for char in "ELTFNZ" for k in range(3)]
    by_char = {c: [w for w in group if w.char == c] for c in "ELTFNZ"}

    assert mended(by_char, x_height_mm=X_HEIGHT_MM)[1] == frozenset()


def test_what_matches_no_other_attempt_stays_as_it_was_read() -> None:
    half = replace(written("s", 9), id="half")
    half = replace(half, strokes=(half.strokes[0][: len(half.strokes[0]) // 3], half.strokes[0][-4:]))
    group = [*(written("s", k) for k in range(3)), half]

    letters, ids = mended({"s": group}, x_height_mm=X_HEIGHT_MM)

    assert not ids
    assert letters["s"][3] is half


def test_what_a_person_wants_kept_is_not_touched() -> None:
    group = [*(written("c", k) for k in range(3)), broken(written("c", 9))]

    assert mended({"c": group}, x_height_mm=X_HEIGHT_MM, keep={"broken"}) == ({"c": group}, frozenset())


def test_a_mended_attempt_is_a_variant_that_can_be_blended_with_the_others() -> None:
    attempts = hand("cnoxh", times=4)
    s = attempts[1].strokes[0].points_mm
    pieces = (Stroke(s[: len(s) // 2], PEN_MM), Stroke(s[len(s) * 3 // 5 :], PEN_MM))
    attempts[1] = replace(attempts[1], strokes=pieces)

    result = build_font(attempts, Record("Lamp"), accents=False)

    assert result.mended == (attempts[1].id,)
    assert not result.set_aside
    assert len({g.ductus for g in result.font.glyphs["c"]}) == 1


def test_another_number_of_strokes_alone_sets_no_attempt_aside() -> None:
    attempts = hand("nxhov", times=4)
    down, up = scattered(letterform("v"), np.random.default_rng(3))
    attempts.append(attempt("v", [np.vstack([down, up[::-1]])], 5))

    result = build_font(attempts, Record("Lamp"), accents=False)

    assert not result.set_aside
    assert {len(g.strokes) for g in result.font.glyphs["v"]} == {1, 2}
