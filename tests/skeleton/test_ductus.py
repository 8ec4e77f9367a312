from __future__ import annotations

import itertools
import os
import string
import unicodedata

import numpy as np
import pytest
from hyperglot import language as database

from skeleton.ductus import Allograph, allographs
from skeleton.ductus.lookup import table

# it would write its cache into whatever folder the tests are run in
database.LANGUAGE_CACHE_FILE = os.devnull

ASCII = [chr(c) for c in range(0x21, 0x7F)]
LATIN_1 = [c for c in map(chr, range(0xA1, 0x180)) if unicodedata.category(c) != "Cf"]
"""Latin-1 Supplement and Latin Extended-A (Unicode Standard, code charts): the letters of most European languages."""

TYPOGRAPHY = list("‘’“”„‚«»‹›–—…·•†‡€™№×÷±½¼¾§°¡¿")
GREEK = [c for c in map(chr, range(0x386, 0x3CF)) if unicodedata.category(c) != "Cn"]
CYRILLIC = [chr(c) for c in range(0x410, 0x450)] + list("ЁЂЃЄЅІЇЈЉЊЋЌЎЏёђѓєѕіїјљњћќўџҐґ")
VIETNAMESE = [chr(c) for c in range(0x1EA0, 0x1EFA)]


def turned(a: Allograph, stroke: int) -> bool:
    s = a.strokes[stroke]
    return bool(s[-1][0] < s[0][0])


def turn(a: Allograph) -> float:
    """Signed area of the first stroke: positive counter-clockwise."""
    x, y = a.strokes[0].T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


@pytest.mark.parametrize(
    "chars",
    [ASCII, LATIN_1, TYPOGRAPHY, GREEK, CYRILLIC, VIETNAMESE],
    ids=["ascii", "latin", "signs", "greek", "cyrillic", "vietnamese"],
)
def test_every_character_that_europe_writes_has_a_form(chars: list[str]) -> None:
    without = [c for c in chars if not allographs(c)]

    assert without == []


OFFICIAL_IN_THE_EU = [
    *("bul", "hrv", "ces", "dan", "nld", "eng", "ekk", "fin", "fra", "deu", "ell", "hun"),
    *("gle", "ita", "lvs", "lit", "mlt", "pol", "por", "ron", "slk", "slv", "spa", "swe"),
]
"""The languages of Regulation No 1 of 1958, as amended; codes of ISO 639-3 (Standard Estonian and Latvian)."""

NEIGHBOURS = [
    *("nor", "isl", "fao", "ukr", "srp", "mkd", "bel", "cym", "gla", "cat", "eus", "glg"),
    *("tur", "als", "ltz", "roh", "sme", "epo", "rus", "bos"),
]


@pytest.mark.parametrize("language", OFFICIAL_IN_THE_EU + NEIGHBOURS)
def test_a_language_of_europe_can_be_read(language: str) -> None:
    # Its characters after the Hyperglot database (Rosetta Type).
    lacking = set()
    for orthography in database.Language(language)["orthographies"]:
        if orthography.get("script") in ("Latin", "Greek", "Cyrillic"):
            for key in ("base", "auxiliary", "marks", "numerals", "punctuation", "currency"):
                for token in str(orthography.get(key) or "").replace("\u25cc", "").split():
                    parts = [token] if allographs(token) else unicodedata.normalize("NFD", token)
                    lacking |= {c for c in parts if not allographs(c)}

    assert lacking == set()


def test_an_unknown_character_has_no_form() -> None:
    assert allographs("漢") == ()
    assert allographs("") == ()
    assert allographs("ab") == ()
    assert allographs("漢\u0301") == ()


@pytest.mark.parametrize("hand", ["right", "left"])
def test_forms_are_sound_and_the_most_usual_comes_first(hand: str) -> None:
    for char in table():
        forms = allographs(char, handedness=hand)  # type: ignore[arg-type]
        priors = [a.prior for a in forms]

        assert sum(priors) == pytest.approx(1)
        assert priors == sorted(priors, reverse=True)
        assert len({a.name for a in forms}) == len(forms), char
        for a in forms:
            assert a.char == unicodedata.normalize("NFC", char)
            for s in a.strokes:
                assert np.isfinite(s).all()
                assert len(s) == 1 or np.ptp(s, axis=0).any()
                assert not s.flags.writeable
                if len(s) > 1:
                    assert np.hypot(*np.diff(s, axis=0).T).max() < 0.11, (char, a.name)


def test_no_two_forms_of_a_character_are_the_same() -> None:
    for char in ASCII:
        for a, b in itertools.combinations(allographs(char), 2):
            same = len(a.strokes) == len(b.strokes) and all(
                p.shape == q.shape and np.allclose(p, q, atol=0.02) for p, q in zip(a.strokes, b.strokes, strict=True)
            )
            assert not same, (char, a.name, b.name)


def test_letters_keep_to_their_lines() -> None:
    for char in "acemnorsuvwxz":
        _, bottom, _, top = allographs(char)[0].box
        assert -0.08 < bottom < 0.12
        assert 0.9 < top < 1.1
    for char in "bdfhkl":
        assert 1.75 < allographs(char)[0].box[3] < 2.1
    for char in "gpqy":
        assert -1.1 < allographs(char)[0].box[1] < -0.8
    for char in string.ascii_uppercase:
        _, bottom, _, top = allographs(char)[0].box
        assert -0.3 < bottom < 0.12
        assert 1.75 < top < 2.0


def test_real_retraces_are_in_the_line() -> None:
    [n] = [a for a in allographs("n") if a.name == "one stroke"]
    [line] = n.strokes
    down = int(line[:, 1].argmin())

    assert 0 < down < len(line) - 5
    assert abs(line[down + 8, 0] - line[down, 0]) < 0.05
    assert line[down + 8, 1] > 0.3


def test_both_normal_forms_of_a_letter_give_the_same_forms() -> None:
    for char in "éñçąőǖởй":
        nfd = unicodedata.normalize("NFD", char)

        assert nfd != char
        assert [a.name for a in allographs(nfd)] == [a.name for a in allographs(char)]
        assert allographs(nfd)[0].char == char


def test_a_mark_is_written_after_its_base() -> None:
    e, acute = allographs("e")[0], allographs("é")[0]

    assert len(acute.strokes) == len(e.strokes) + 1
    np.testing.assert_allclose(acute.strokes[0], e.strokes[0])


def test_the_dot_of_i_goes_under_a_mark_above_and_stays_with_one_below() -> None:
    # UAX #44, Soft_Dotted.
    assert {len(a.strokes) for a in allographs("í")} == {2}
    assert len(allographs("ĵ")[0].strokes) == 2
    assert len(allographs("į")[0].strokes) == 3
    assert len(allographs("ï")[0].strokes) == 3


@pytest.mark.parametrize("char", "áàâãäåāăȧảőčëïñóûýźÁÂÄÅČÊÓŐÜŽ")
def test_a_mark_above_clears_its_base(char: str) -> None:
    # Unicode canonical combining class 230 is 'above' (UAX #44).
    base = allographs({"ï": "ı"}.get(char, unicodedata.normalize("NFD", char)[0]))
    n = {len(a.strokes): max(s[:, 1].max() for s in a.strokes) for a in base}
    for a in allographs(char):
        for k, top in n.items():
            mark = a.strokes[k:]
            if mark and all(s[:, 1].min() > top + 0.1 for s in mark):
                break
        else:
            raise AssertionError((char, a.name))


@pytest.mark.parametrize("char", "ạẹịọụ")
def test_a_mark_below_clears_its_base(char: str) -> None:
    # Class 220, 'below'.
    for a in allographs(char):
        assert a.strokes[-1].max(0)[1] < -0.1


@pytest.mark.parametrize("char", "ąęįųçşţ")
def test_a_mark_attached_below_meets_its_base(char: str) -> None:
    # Class 202, 'attached below'.
    for a in allographs(char)[:2]:
        base = np.vstack(a.strokes[:-1])
        gap = np.hypot(*(base[:, None] - a.strokes[-1][None]).reshape(-1, 2).T).min()

        assert gap < 0.2
        assert a.strokes[-1][:, 1].min() < -0.3


def test_two_marks_above_stand_one_over_the_other() -> None:
    for char in "ǖỗấ":
        *_, lower, upper = allographs(char)[0].strokes

        assert upper[:, 1].min() > lower[:, 1].max()


def test_a_left_hand_draws_bars_from_the_right_and_ovals_clockwise_more_often() -> None:
    def share(char: str, which: object, hand: str) -> float:
        return sum(a.prior for a in allographs(char, handedness=hand) if which(a))  # type: ignore[arg-type, operator]

    for char in "TtfA":
        bar = lambda a: any(turned(a, k) and np.ptp(a.strokes[k][:, 1]) < 0.1 for k in range(len(a.strokes)))  # noqa: E731
        assert share(char, bar, "left") > 2 * share(char, bar, "right")
    for char in "oO0":
        assert share(char, lambda a: turn(a) < 0, "left") > 1.5 * share(char, lambda a: turn(a) < 0, "right")


def test_handedness_must_be_right_or_left() -> None:
    with pytest.raises(ValueError, match="'right' or 'left', got 'both'"):
        allographs("a", handedness="both")  # type: ignore[arg-type]


def test_fractions_and_raised_figures_are_set_from_their_parts() -> None:
    # Compatibility decompositions, UAX #15.
    half, two = allographs("½")[0], allographs("²")[0]

    assert len(half.strokes) == len(allographs("1")[0].strokes) + 1 + len(allographs("2")[0].strokes)
    assert two.box[1] > 0.8
    assert two.box[3] < 2.1


@pytest.mark.parametrize(
    ("char", "counts"),
    [
        ("E", {1, 2, 3, 4}),
        ("A", {1, 2, 3}),
        ("k", {1, 2, 3}),
        ("t", {1, 2}),
        ("M", {1, 2, 3, 4}),
        ("o", {1}),
        ("i", {1, 2}),
    ],
)
def test_forms_differ_in_their_number_of_strokes(char: str, counts: set[int]) -> None:
    assert counts <= {len(a.strokes) for a in allographs(char)}
