"""Accented letters: which parts they have is Unicode's (UAX #15), as Python's unicodedata gives it."""

from __future__ import annotations

import tracemalloc
import unicodedata
from dataclasses import replace

import numpy as np
import pytest

from fontbuild.accents import build_accents, letters_to_build
from fontbuild.build import build_font
from fontbuild.font import Font, Record
from fontbuild.geometry import glyph_bounds, sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.marks import lift, mark_strokes, parts_of
from fontbuild.usable_attempts import BuildingRules
from fontbuild.variants import AttemptStrokes
from skeleton.attempt import Attempt
from tests.fontbuild.blending import blend
from tests.fontbuild.hands import X_HEIGHT_MM, attempt, hand, letterform, mark, scattered

MARKS = "\u0300\u0301\u0302\u0303\u0308\u030c\u0323\u0327\u0328\u031b\u0306\u0309"


def strokes_apart(glyph: Glyph, mark_strokes: int) -> tuple[np.ndarray, np.ndarray]:
    drawn = sample_glyph(glyph)
    return np.vstack(drawn[:-mark_strokes]), np.vstack(drawn[-mark_strokes:])


def gap(glyph: Glyph, mark_strokes: int = 1) -> float:
    base, sign = strokes_apart(glyph, mark_strokes)
    return float(np.linalg.norm(base[:, None] - sign[None], axis=2).min())


@pytest.fixture(scope="module")
def font() -> Font:
    return build_font(hand("aceinosuyzAEUIhl.g", times=3, marks=MARKS, seed=6), Record("S")).font


def test_every_letter_whose_parts_exist_is_built(font: Font) -> None:
    have = set(font.glyphs)
    for char in letters_to_build():
        base, *marks = unicodedata.normalize("NFD", char)
        special = base in "dtlLgknrGKNRdD" or base == "j"
        if base in have and all(m in MARKS for m in marks) and not special:
            assert char in font.glyphs, f"{char} {unicodedata.name(char)}"


def test_a_built_letter_says_so_and_a_written_one_wins() -> None:
    rng = np.random.default_rng(1)
    written = [attempt("é", scattered([*letterform("e"), *mark("\u0301", (2.0, 4.0))], rng), n) for n in (1, 2, 3)]
    font = build_font([*hand("eo", times=3), *written], Record("S")).font

    assert {g.source for g in font.glyphs["é"]} == {a.id for a in written}
    assert all(g.source.startswith("built: o") for g in font.glyphs["ó"])


def test_a_mark_is_taken_off_a_written_letter_and_put_where_the_writer_put_it() -> None:
    rng = np.random.default_rng(1)
    written = [
        attempt("é", scattered([*letterform("e"), *mark("\u0301", (2.6, 4.4))], rng, strength=0.3), n)
        for n in (1, 2, 3)
    ]
    font = build_font([*hand("eo", times=3, strength=0.3), *written], Record("S")).font

    def rise(char: str) -> float:
        return float(np.median([np.ptp([b[:, 1].max(), s[:, 1].min()]) for b, s in map(_two, font.glyphs[char])]))

    def _two(g: Glyph) -> tuple[np.ndarray, np.ndarray]:
        return strokes_apart(g, 1)

    assert rise("ó") == pytest.approx(rise("é"), abs=0.06 * font.metrics.x_height)


def test_soft_dotted_letters_lose_their_dot_under_marks_above_only(font: Font) -> None:
    def dots(char: str) -> int:
        return sum(len(s) == 1 for s in font.glyphs[char][0].strokes)

    assert dots("i") == 1
    assert dots("í") == 0
    assert dots("ı") == 0
    assert dots("ï") == 2
    assert dots("į") == 1
    assert dots("ị") == 2


@pytest.mark.parametrize("char", ["Á", "É", "Ú", "Í", "ĥ", "ĺ", "á", "ú", "ý", "ǎ"])
def test_marks_clear_capitals_ascenders_and_small_letters(font: Font, char: str) -> None:
    for glyph in font.glyphs[char]:
        base, sign = strokes_apart(glyph, 1)

        assert gap(glyph) >= font.metrics.pen_width
        assert sign[:, 1].min() > base[:, 1].max() - 0.15 * font.metrics.x_height


@pytest.mark.parametrize("char", ["ç", "ę", "ą", "ų", "ş", "Ę"])
def test_cedilla_and_ogonek_join_the_letter(font: Font, char: str) -> None:
    for glyph in font.glyphs[char]:
        assert gap(glyph) < 0.5 * font.metrics.pen_width


def test_double_marks_stack_without_touching(font: Font) -> None:
    for char, marks in (("ế", 2), ("ậ", 2), ("ấ", 2), ("ǖ", 0)):
        if not marks:
            continue
        for glyph in font.glyphs[char]:
            drawn = sample_glyph(glyph)
            parts = [np.vstack(drawn[:-2]), drawn[-2], drawn[-1]]
            for i in range(3):
                for j in range(i):
                    apart = np.linalg.norm(parts[i][:, None] - parts[j][None], axis=2).min()
                    assert apart >= 0.9 * font.metrics.pen_width, char
    assert all(len(g.strokes) == len(font.glyphs["u"][0].strokes) + 2 for g in font.glyphs["ự"])


def test_variants_of_a_built_letter_can_be_blended(font: Font) -> None:
    letters = [g for g in font.glyphs["é"] if g.ductus == font.glyphs["é"][0].ductus]
    mixed = blend(letters[:2], [1, 1])

    assert len(letters) >= 2
    assert len({tuple(map(tuple, g.strokes[0][:2])) for g in letters}) == len(letters)
    assert glyph_bounds(mixed)[3] > font.metrics.x_height


def test_the_mark_of_a_doubtful_reading_is_not_used_where_others_were_surely_read() -> None:
    rng = np.random.default_rng(1)
    lines = {c: [*letterform(c), *mark("\u0301", (2.0, 4.0))] for c in "ea"}
    sure = [attempt("é", scattered(lines["e"], rng), n) for n in (1, 2)]
    # of the other letter there are doubtful readings alone: it has them, the others not their mark
    doubtful = [attempt("á", scattered(lines["a"], rng), n, confidence=0.3) for n in (1, 2)]
    plain = hand("eao", times=3)

    def marks(*more: Attempt, decisions: BuildingRules | None = None) -> set[str]:
        font = build_font([*plain, *more], Record("S"), decisions=decisions).font
        assert len(font.glyphs["á"]) == 2
        return {g.source for g in font.glyphs["\u0301"]}

    ids = {a.id for a in doubtful}
    assert marks(*sure, *doubtful) == {a.id for a in sure}
    assert marks(*doubtful) == ids
    assert marks(*sure, *doubtful, decisions=BuildingRules(keep=frozenset(ids))) == {a.id for a in sure} | ids


def test_a_letter_written_only_with_its_mark_is_had_without_it() -> None:
    rng = np.random.default_rng(1)
    written = [attempt("ö", scattered([*letterform("o"), *mark("\u0308", (2.3, 3.8))], rng), n) for n in (1, 2)]
    font = build_font([*hand("ua", times=2), *written], Record("S")).font

    assert "o" in font.glyphs
    assert "ü" in font.glyphs
    assert all(len(g.strokes) == 1 for g in font.glyphs["o"])


def test_strokes_that_do_not_tell_mark_from_letter_are_left_together() -> None:
    joined = AttemptStrokes("1", "ą", (letterform("a")[0], letterform("a")[1]))

    assert lift(joined, x_height_mm=X_HEIGHT_MM, slant_deg=0.0) is None
    assert lift(AttemptStrokes("2", "a", tuple(letterform("a"))), x_height_mm=X_HEIGHT_MM, slant_deg=0.0) is None


def test_the_parts_of_a_letter_are_unicodes() -> None:
    for code in range(0xC0, 0x1F00):
        parts = parts_of(chr(code))
        if parts is not None:
            assert unicodedata.normalize("NFC", "".join(parts)) == chr(code) or not unicodedata.is_normalized(
                "NFC", chr(code)
            )


def test_only_what_is_wanted_is_built_with_what_it_needs(font: Font) -> None:
    written = {c: v for c, v in font.glyphs.items() if not v[0].source.startswith("built") and c != " "}
    built = build_accents(written, font.metrics, wanted=["ế"])

    assert {"ế", "ê"} <= set(built)
    assert "á" not in built


def test_a_bar_is_taken_from_the_one_of_a_pair_that_was_written() -> None:
    rng = np.random.default_rng(4)
    bar = np.linspace((1.0, 2.2), (3.4, 3.4), 20)
    written = [attempt("ł", scattered([*letterform("l"), bar], rng, strength=0.4), n) for n in (1, 2)]
    font = build_font([*hand("lLno", times=2), *written], Record("S")).font

    assert {g.source for g in font.glyphs["ł"]} == {a.id for a in written}
    assert "ø" not in font.glyphs
    for glyph in font.glyphs["Ł"]:
        base, sign = strokes_apart(glyph, 1)
        assert gap(glyph) < font.metrics.pen_width
        assert base[:, 1].min() < sign[:, 1].mean() < base[:, 1].max()


def test_the_bar_of_a_capital_fits_its_letter() -> None:
    rng = np.random.default_rng(4)
    slash = np.linspace((1.0, -0.3), (3.4, 3.4), 20)
    written = [attempt("ø", scattered([*letterform("o"), slash], rng, strength=0.4), n) for n in (1, 2)]
    font = build_font([*hand("onOh", times=2), *written], Record("S")).font

    for glyph in font.glyphs["Ø"]:
        base, sign = strokes_apart(glyph, 1)
        assert sign[:, 1].max() > base[:, 1].max()
        assert sign[:, 1].min() < base[:, 1].min()


@pytest.mark.parametrize("base", ["E", "T", "F", "e"])
def test_the_bar_on_top_of_a_capital_is_no_part_of_its_mark(base: str) -> None:
    rng = np.random.default_rng(8)
    height = 1.25 if base == "e" else 1.75
    acute = mark("\u0301", (2.2, height * X_HEIGHT_MM))
    char = unicodedata.normalize("NFC", base + ("\u030c" if base == "T" else "\u0307" if base == "F" else "\u0301"))
    written = AttemptStrokes("1", char, tuple(scattered([*letterform(base), *acute], rng, strength=0.3)))
    lifted = lift(written, x_height_mm=X_HEIGHT_MM, slant_deg=0.0)

    assert lifted is not None
    assert len(lifted.mark.strokes) == 1
    assert len(lifted.base.strokes) == len(letterform(base))


def test_of_two_marks_the_upper_is_lifted() -> None:
    lines = [*letterform("e"), *mark("\u0302", (2.2, 1.2 * X_HEIGHT_MM)), *mark("\u0301", (2.4, 1.6 * X_HEIGHT_MM))]
    lifted = lift(AttemptStrokes("1", "ế", tuple(lines)), x_height_mm=X_HEIGHT_MM, slant_deg=0.0)

    assert lifted is not None
    assert lifted.base.char == "ê"
    assert len(lifted.mark.strokes) == 1
    assert lifted.mark.strokes[0][:, 1].min() > 1.5 * X_HEIGHT_MM


def test_a_letter_without_a_line_is_no_base_and_is_not_replaced(font: Font) -> None:
    plain = {c: v for c, v in font.glyphs.items() if parts_of(c) is None}
    blank = {c: tuple(replace(g, strokes=()) for g in font.glyphs[c]) for c in "ei"}

    assert {"é", "í", "á"} <= build_accents(plain, font.metrics, wanted="éíá").keys()
    assert not {"é", "í", "e", "i"} & build_accents({**plain, **blank, "ı": ()}, font.metrics, wanted="éíá").keys()


def test_letters_of_any_number_of_points_get_marks_where_others_do(font: Font, monkeypatch: pytest.MonkeyPatch) -> None:
    parts = {c: font.glyphs[c][:1] for c in ("o", "\u0301")}
    as_usual = build_accents(parts, font.metrics, wanted=["ó"])["ó"][0]
    monkeypatch.setattr("fontbuild.accents.ALL_PAIRS", 10)
    by_tree = build_accents(parts, font.metrics, wanted=["ó"])["ó"][0]

    for one, other in zip(as_usual.strokes, by_tree.strokes, strict=True):
        np.testing.assert_allclose(one, other)


def test_a_letter_of_thousands_of_points_takes_no_memory_by_their_pairs(font: Font) -> None:
    rng = np.random.default_rng(2)
    x = font.metrics.x_height
    letter, sign = rng.uniform(0, x, (3001, 2)), rng.uniform(1.1 * x, 1.2 * x, (601, 2))
    parts = {
        c: (replace(font.glyphs[c][0], strokes=(line,), anchors={}),) for c, line in (("o", letter), ("\u0301", sign))
    }
    tracemalloc.start()
    try:
        built = build_accents(parts, font.metrics, wanted=["ó"])
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()

    assert "ó" in built
    assert peak < 100e6  # all pairs: 900e6


def test_a_letter_of_thousands_of_strokes_is_taken_apart_once_through() -> None:
    """The same for any number of them: a point each, the mark's over the letter's (the square took minutes)."""
    body, sign = ([np.array([[0.01 * k, y]]) for k in range(20_000)] for y in (0.5, 1.4))

    assert mark_strokes("á", [*body, *sign], x_height=1.0) == set(range(20_000, 40_000))
    assert mark_strokes("ạ", [*body, *([s - [0.0, 1.8] for s in sign])], x_height=1.0) == set(range(20_000, 40_000))
