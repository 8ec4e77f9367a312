"""How far apart a hand sets joined letters, told by those it wrote together, wherever one was cut from the next."""

from __future__ import annotations

import numpy as np
import pytest

from fontbuild.glyph import Glyph
from fontbuild.joins import ENTRY, EXIT
from fontbuild.letter_steps import letter_steps, middle_and_spread

X_HEIGHT = 500.0


def words(widths: list[list[float]], off: list[float] | None = None) -> dict[str, tuple[Glyph, ...]]:
    """Return letters that are level lines, written in words one after the other; off: of each word, in every step."""
    out = []
    for row, word in enumerate(widths):
        for column, wide in enumerate(word):
            at = wide + (off[row] if off else 0.0)
            stroke = np.column_stack([np.linspace(0.0, wide, 4), np.zeros(4)])
            anchors = {
                **({ENTRY: (0.0, 0.0)} if column else {}),
                **({EXIT: (at, 0.0)} if column < len(word) - 1 else {}),
            }
            out.append(Glyph("n", "n", (stroke,), advance=at, source=f"s/1/{row}.{column}", anchors=anchors))
    return {"n": tuple(out)}


def test_the_middle_and_the_spread_of_a_level_line_are_those_of_an_even_distribution() -> None:
    middle, spread = middle_and_spread([np.column_stack([np.linspace(0.0, 300.0, 200), np.zeros(200)])])

    assert middle == pytest.approx(150.0)
    assert spread == pytest.approx(300.0 / np.sqrt(12), rel=1e-3)
    assert middle_and_spread([np.array([[40.0, 10.0]])]) == (40.0, 0.0)


def test_steps_come_out_as_the_letters_were_set() -> None:
    # lines that begin where the one before ends: a step is half of both, and half a line is 1.73 of its deviation
    widths = np.random.default_rng(1).uniform(150.0, 450.0, (15, 4)).tolist()

    found = letter_steps(words(widths), {}, x_height=X_HEIGHT)

    assert found["step_share"] == pytest.approx(np.sqrt(3.0), abs=0.02)
    assert found["step"] == pytest.approx(0.0, abs=10.0)
    assert found["step_sd"] < 3.0


def test_what_the_steps_scatter_by_is_told_and_strays_do_not_count() -> None:
    rng = np.random.default_rng(2)
    widths = rng.uniform(150.0, 450.0, (60, 3)).tolist()
    off = [*rng.normal(0.0, 40.0, 57).tolist(), 900.0, 900.0, -900.0]

    found = letter_steps(words(widths, off), {}, x_height=X_HEIGHT)

    assert found["step_sd"] == pytest.approx(40.0, rel=0.25)
    assert found["step"] + 2 * found["step_share"] * 300.0 / np.sqrt(12) == pytest.approx(300.0, abs=15.0)


def test_a_few_pairs_tell_nothing() -> None:
    assert letter_steps(words([[300.0, 200.0, 250.0]] * 4), {}, x_height=X_HEIGHT) == {}
