"""Marks made of a face's own letters and signs: Hershey's plain and script faces (1967, from PyPI's Hershey-Fonts)."""

from __future__ import annotations

import unicodedata
from functools import cache

import numpy as np
import pytest

from fontbuild.extend import compose_missing
from fontbuild.font import Font
from fontbuild.geometry import sample_glyph
from skeleton.geometry.arc_length import line_length
from tests.ownhand.hershey_font import hershey_font

FACES = ["futural", "rowmans", "scripts", "cursive"]
WANTED = "šîůåçģąęỡữ"


@cache
def face(name: str) -> Font:
    return hershey_font(name, 1, 0.0)


@cache
def composed(name: str) -> dict:
    return compose_missing(face(name), list(WANTED))


def mark_of(name: str, char: str) -> list[np.ndarray]:
    """Return the sampled lines of a composed letter's last mark."""
    font = face(name)
    base = unicodedata.normalize("NFC", unicodedata.normalize("NFD", char)[:-1])
    letter = (font.glyphs.get(base) or composed(name).get(base) or font.glyphs[base])[0]
    count = len(letter.strokes) - (base in "ij")
    return sample_glyph(composed(name)[char][0])[count:]


@pytest.mark.parametrize("name", FACES)
@pytest.mark.parametrize(("char", "up"), [("š", 1), ("î", -1)])
def test_a_caron_and_a_circumflex_are_two_limbs_and_nothing_else(name: str, char: str, up: int) -> None:
    mark = mark_of(name, char)
    every = np.vstack(mark)
    wide, high = np.ptp(every, axis=0)

    assert sum(map(line_length, mark)) == pytest.approx(2 * np.hypot(wide / 2, high), rel=0.05)
    middle = every[np.argmin(up * every[:, 1])]
    assert middle[0] == pytest.approx(every[:, 0].min() + wide / 2, abs=0.1 * wide)


@pytest.mark.parametrize("name", FACES)
@pytest.mark.parametrize("char", "ůå")
def test_a_ring_is_closed_and_has_no_tail(name: str, char: str) -> None:
    (ring,) = mark_of(name, char)
    wide, high = np.ptp(ring, axis=0)

    assert np.hypot(*(ring[0] - ring[-1])) < 0.05 * high
    # Ramanujan's first approximation of an ellipse's perimeter (1914)
    a, b = wide / 2, high / 2
    assert line_length(ring) == pytest.approx(np.pi * (3 * (a + b) - np.sqrt((3 * a + b) * (a + 3 * b))), rel=0.08)


@pytest.mark.parametrize("name", FACES)
@pytest.mark.parametrize("char", "çąę")
def test_a_cedilla_and_an_ogonek_are_a_tail_without_a_ring(name: str, char: str) -> None:
    (tail,) = mark_of(name, char)
    way = np.diff(tail, axis=0)
    turned = np.abs(np.diff(np.unwrap(np.arctan2(way[:, 1], way[:, 0])))).sum()

    assert turned < np.pi
    assert (way[:, 1] <= 1e-6).mean() > 0.9, "it goes down"


@pytest.mark.parametrize("name", FACES)
@pytest.mark.parametrize("char", "ỡữ")
def test_a_tilde_stands_over_the_letter_beside_its_horn(name: str, char: str) -> None:
    font = face(name)
    plain = {"ỡ": "o", "ữ": "u"}[char]
    bare = compose_missing(font, [{"ỡ": "õ", "ữ": "ũ"}[char]])
    (over,) = bare.values()
    count = len(font.glyphs[plain][0].strokes)
    alone = np.vstack(sample_glyph(over[0])[count:])
    horned = sample_glyph(composed(name)[char][0])
    tilde = np.vstack(horned[count + 1 :])

    assert tilde[:, 0].mean() == pytest.approx(alone[:, 0].mean(), abs=0.12 * font.metrics.x_height)
    horn = horned[count]
    apart = np.hypot(*(horn[:, None] - tilde[None]).transpose(2, 0, 1)).min()
    assert apart > font.metrics.pen_width


@pytest.mark.parametrize("name", FACES)
def test_the_comma_over_a_g_is_turned(name: str) -> None:
    """Unicode names it so: U+0123 is drawn with a turned comma above (names list of The Unicode Standard)."""
    (over,) = mark_of(name, "ģ")
    (comma,) = sample_glyph(face(name).glyphs[","][0])
    middles = [(line.min(axis=0) + line.max(axis=0)) / 2 for line in (over, comma)]

    turned = middles[1] - (over - middles[0])
    apart = np.hypot(*(turned[:, None] - comma[None]).transpose(2, 0, 1))
    assert apart.min(axis=1).max() < 1.0
