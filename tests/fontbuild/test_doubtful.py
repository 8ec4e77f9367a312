"""Attempts that would spoil a page stay out of the font, and are named."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fontbuild import doubtful
from fontbuild.build import build_font
from fontbuild.doubtful import SURE, find_doubtful, may_stand_in_words, usual_turning
from fontbuild.font import Record
from fontbuild.joins import APART
from fontbuild.usable_attempts import BuildingRules
from fontbuild.variants import AttemptStrokes
from ownhand.commands.build import Built, summary
from skeleton.ductus import allographs
from tests.fontbuild.hands import attempt, hand, letterform

RECORD = Record("Lamp Room")


def test_a_doubtful_reading_is_not_drawn_while_better_attempts_exist() -> None:
    attempts = [replace(a, confidence=0.3) if a.char == "n" and a.attempt == 2 else a for a in hand("no", times=4)]

    result = build_font(attempts, RECORD)

    assert {s.id: s.reason for s in result.set_aside} == {"s1/1/6e.2": "doubtful reading (confidence 0.30)"}
    assert len(result.font.glyphs["n"]) == 3
    assert result.doubtful == ()


def test_what_a_person_kept_is_not_doubtful() -> None:
    attempts = [replace(a, confidence=0.3) if a.attempt == 2 else a for a in hand("n", times=4)]

    result = build_font(attempts, RECORD, decisions=BuildingRules(keep={"s1/1/6e.2"}))

    assert result.set_aside == ()


def test_a_character_with_only_doubtful_attempts_is_drawn_and_named() -> None:
    attempts = [replace(a, confidence=0.3) if a.char == "n" else a for a in hand("no", times=2)]

    result = build_font(attempts, RECORD)

    assert len(result.font.glyphs["n"]) == 2
    assert result.doubtful == ("n",)
    lines = summary(Built(result.font, result, (), "my own hand"), hand=Path("keeper"))
    assert any("doubtful" in line and line.endswith(" n") for line in lines)


def test_of_doubtful_attempts_alone_those_that_are_far_less_sure_than_another_stay_out() -> None:
    sure = {1: 0.45, 2: 0.04, 3: 0.2}
    attempts = [replace(a, confidence=sure[a.attempt]) if a.char == "n" else a for a in hand("no", times=3)]

    result = build_font(attempts, RECORD)

    assert [s.reason for s in result.set_aside] == ["doubtful reading (confidence 0.04)"]
    assert len(result.font.glyphs["n"]) == 2
    assert result.doubtful == ("n",)


def test_a_letter_cut_out_of_a_word_without_its_dot_stays_out() -> None:
    dot = np.array([[0.0, 4.5]])
    stem = np.array([[0.0, 3.0], [0.1, 0.0]])
    dotted = [AttemptStrokes(f"c{k}", "i", (stem, dot), allograph=APART if k == 5 else "") for k in range(6)]
    cut = AttemptStrokes("cut", "i", (stem,), allograph="joined")
    in_cell = AttemptStrokes("cell", "i", (stem,))

    found, _ = find_doubtful({"i": [*dotted, cut, in_cell]}, x_height_mm=3.0)
    seldom, _ = find_doubtful({"i": [*dotted[:2], cut, in_cell]}, x_height_mm=3.0)

    assert found == {"cut": "cut out of its word without a dot or bar"}
    assert seldom == {}, "of a writer who often leaves the dot out it is no fault"


def test_a_beaded_line_is_told_from_a_plain_one() -> None:
    rng = np.random.default_rng(1)
    plain = [attempt("n", letterform("n"), k) for k in range(1, 5)]
    letters = [AttemptStrokes(a.id, "n", tuple(s.points_mm for s in a.strokes)) for a in plain]
    beads = tuple(s + rng.choice((-0.25, 0.25), s.shape) for s in letters[0].strokes)

    found, only = find_doubtful({"n": [*letters, replace(letters[0], id="beads", strokes=beads)]}, x_height_mm=3.0)

    assert found == {"beads": "a line that goes to and fro"}
    assert only == ()


def test_a_form_that_turns_by_nature_is_no_bead() -> None:
    forms = {form.name: form.strokes for form in allographs("y")}
    calm, looped = min(forms, key=lambda k: usual_turning("y")[k]), max(forms, key=lambda k: usual_turning("y")[k])
    assert usual_turning("y")[looped] > 1.6 * usual_turning("y")[calm] + 4.0
    plain = [AttemptStrokes(f"plain {k}", "y", forms[calm], allograph=calm) for k in range(6)]
    once = AttemptStrokes("once", "y", forms[looped], allograph=looped)

    assert find_doubtful({"y": [*plain, once]}, x_height_mm=1.0)[0] == {}
    unknown = replace(once, allograph="")
    assert find_doubtful({"y": [*plain, unknown]}, x_height_mm=1.0)[0] == {}, "its loops are no beads"


def test_a_looped_v_among_plain_ones_is_no_bead() -> None:
    """A second form that a writer uses now and then, and that no table holds."""
    plain = np.array([[0.0, 1.0], [0.4, 0.0], [0.8, 1.0]])
    turn = np.linspace(np.pi / 2, 2.5 * np.pi, 30)
    loop = [np.column_stack([x + 0.3 * np.cos(turn), 0.7 + 0.3 * np.sin(turn)]) for x in (0.0, 0.8)]
    looped = np.vstack([loop[0], [[0.4, 0.0]], loop[1]])
    group = [AttemptStrokes(f"plain {k}", "v", (plain,)) for k in range(6)]

    assert find_doubtful({"v": [*group, AttemptStrokes("looped", "v", (looped,))]}, x_height_mm=1.0)[0] == {}


def test_a_stem_drawn_twice_is_a_form_where_two_attempts_have_it() -> None:
    """A capital D in one stroke, down its stem, up again and round, beside those in two."""
    stem = np.array([[0.0, 2.0], [0.0, 0.0]])
    turn = np.linspace(np.pi / 2, -np.pi / 2, 20)
    bowl = np.column_stack([1.2 * np.cos(turn), 1.0 + np.sin(turn)])
    two = [AttemptStrokes(f"two {k}", "D", (stem, bowl)) for k in range(5)]
    back = np.vstack([stem, stem[::-1] + np.array([0.02, 0.0]), bowl])
    wavy = np.vstack([stem, stem[::-1], stem + np.array([0.02, 0.0]), stem[::-1], bowl])
    one = [AttemptStrokes(f"one {k}", "D", (back,)) for k in range(2)]
    torn = AttemptStrokes("to and fro", "D", (wavy,))

    assert find_doubtful({"D": [*two, *one, torn]}, x_height_mm=1.0)[0] == {"to and fro": "a line that goes to and fro"}
    assert find_doubtful({"D": [*two, one[0]]}, x_height_mm=1.0)[0] == {"one 0": "a line that goes to and fro"}, (
        "once tells nothing"
    )
    in_words = [replace(w, allograph="apart") for w in one]
    found, _ = find_doubtful({"D": [*two, *in_words]}, x_height_mm=1.0)
    assert found == {w.id: "a line that goes to and fro" for w in one}, (
        "words may be read wrongly in one way: a cell must have it"
    )


def test_letters_of_running_text_are_measured_by_those_of_cells() -> None:
    stem, bar = np.array([[0.5, 2.0], [0.5, 0.0]]), np.array([[0.0, 1.0], [1.0, 1.0]])
    there = np.array([[0.5, 2.0], [0.5, 1.0], [1.0, 1.0], [0.0, 1.0], [1.0, 1.0], [0.5, 1.0], [0.5, 0.0]])
    cells = [AttemptStrokes(f"cell {k}", "t", (stem, bar)) for k in range(3)]
    text = [AttemptStrokes(f"to and fro {k}", "t", (there,), allograph="apart") for k in range(5)]

    found, _ = find_doubtful({"t": [*cells, *text]}, x_height_mm=1.0)

    assert found == {w.id: "a line that goes to and fro" for w in text}


def test_a_letter_cut_out_of_its_word_in_pieces_is_not_drawn() -> None:
    ring = letterform("o")[0]
    cut = (ring[: len(ring) // 3], ring[len(ring) // 2 :])
    cells = [AttemptStrokes(f"cell {k}", "o", (ring,)) for k in range(3)]
    text = [
        AttemptStrokes("whole", "o", (ring,), allograph="joined after"),
        AttemptStrokes("pieces", "o", cut, allograph="joined after"),
    ]

    assert find_doubtful({"o": [*cells, *text]}, x_height_mm=3.0)[0] == {"pieces": "cut out of its word in 2 pieces"}
    assert find_doubtful({"o": [*cells[:2], *text]}, x_height_mm=3.0)[0] == {}, "too few cells tell"
    assert find_doubtful({"o": [*cells, *text]}, x_height_mm=3.0, keep={"pieces"})[0] == {}
    written = AttemptStrokes("two", "o", cut)
    assert find_doubtful({"o": [*cells, written, *text]}, x_height_mm=3.0)[0] == {}, "so it is written now and then"


@pytest.fixture
def unread(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is told of a letter's shape alone: nobody reads it."""
    monkeypatch.setattr(doubtful, "misread", lambda letters, x_height_mm, least: {})


def _rings(count: int, allograph: str) -> list[AttemptStrokes]:
    rng = np.random.default_rng(3)
    turn = np.linspace(0.0, 2 * np.pi, 40)
    out = []
    for k in range(count):
        wide, high = rng.normal(1.2, 0.05), rng.normal(1.5, 0.05)
        ring = np.column_stack([wide * np.cos(turn), 1.5 + high * np.sin(turn)])
        leads_out = np.array([[wide, 1.5], [wide + rng.uniform(0.5, 0.7), 2.6]])
        out.append(AttemptStrokes(f"{allograph}{k}", "o", (ring, leads_out), allograph=allograph))
    return out


def _arches(legs: int, name: str, allograph: str = "joined") -> AttemptStrokes:
    """Legs joined by arches, as of an n or an m, and a way out."""
    rise = np.column_stack([0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, 12)), 3.0 * np.sin(np.linspace(0.0, np.pi, 12))])
    parts = [rise + np.array([1.0 * k, 0.0]) for k in range(legs - 1)]
    out = np.array([[legs - 1.0, 0.0], [legs - 0.4, 0.6]])
    return AttemptStrokes(name, "m", (np.vstack([[[0.0, 3.0]], *parts, out]),), allograph=allograph)


def test_a_letter_that_lost_a_leg_to_its_neighbour_stays_out(unread: None) -> None:
    whole = [_arches(3, f"m{k}") for k in range(5)]

    found, _ = find_doubtful({"m": [*whole, _arches(2, "leg")]}, x_height_mm=3.0)
    apart, _ = find_doubtful({"m": [*whole, _arches(2, "leg", APART)]}, x_height_mm=3.0)
    few, _ = find_doubtful({"m": [*whole[:2], _arches(2, "leg")]}, x_height_mm=3.0)

    assert found == {"leg": "cut out of its word much narrower than the others"}
    assert apart == few == {}
    assert find_doubtful({"m": [*whole, _arches(2, "leg")]}, x_height_mm=3.0, keep={"leg"})[0] == {}


def test_a_letter_cut_out_of_a_joined_word_unlike_all_others_stays_out(unread: None) -> None:
    """Half of the ring went to the letter before it, and the stem of the one after it came with it."""
    turn = np.linspace(-np.pi / 2, np.pi / 2, 20)
    half = np.column_stack([1.2 * np.cos(turn), 1.5 + 1.5 * np.sin(turn)])
    cut = AttemptStrokes("cut", "o", (half, np.array([[2.4, 3.0], [2.4, 0.0]])), confidence=0.8, allograph="joined")

    found, _ = find_doubtful({"o": [*_rings(7, "joined"), cut]}, x_height_mm=3.0)
    alone = replace(cut, allograph=APART)
    stands_alone, _ = find_doubtful({"o": [*_rings(7, "joined"), alone]}, x_height_mm=3.0)
    printed = [replace(w, id=f"printed {w.id}", allograph=APART) for w in _rings(9, "joined")]
    among_printed, _ = find_doubtful({"o": [*_rings(7, "joined"), alone], "O": printed}, x_height_mm=3.0)
    few, _ = find_doubtful({"o": [*_rings(2, "joined"), cut]}, x_height_mm=3.0)

    assert found["cut"] == "perhaps cut out of its word in the wrong place"
    assert len(found) <= 2
    # a hand that joins hardly writes a letter so; one that prints does
    assert stands_alone["cut"] == "perhaps cut out of its word in the wrong place"
    assert "cut" not in among_printed
    assert few == {}


def test_a_letter_that_is_certain_may_be_unlike_the_others_but_for_one_that_may_lack_its_bar(unread: None) -> None:
    turn = np.linspace(-np.pi / 2, np.pi / 2, 20)
    half = np.column_stack([1.2 * np.cos(turn), 1.5 + 1.5 * np.sin(turn)])
    odd = AttemptStrokes("odd", "o", (half, np.array([[2.4, 3.0], [2.4, 0.0]])), allograph="joined")
    for char, confidence, doubted in (("o", 0.89, True), ("o", 0.9, False), ("t", 0.99, True), ("i", 0.99, True)):
        group = [replace(w, char=char) for w in (*_rings(7, "joined"), replace(odd, confidence=confidence))]
        assert ("odd" in find_doubtful({char: group}, x_height_mm=3.0)[0]) == doubted, (char, confidence)


def test_a_letter_of_a_word_that_reads_as_another_stays_out_where_most_read_as_themselves() -> None:
    """An n for an m: nothing but its shape tells it, too few m's are there to compare it with."""
    whole = [_arches(3, f"m{k}") for k in range(2)]
    found, _ = find_doubtful({"m": [*whole, _arches(2, "leg")]}, x_height_mm=3.0)
    assert found == {"leg": "cut out of its word so that it reads as 'n'"}
    assert not may_stand_in_words(found["leg"], 1.0)

    # so this hand writes its m's; cells are as they were written; a person has seen to it
    legs = [_arches(2, f"leg {k}") for k in range(2)]
    assert find_doubtful({"m": legs}, x_height_mm=3.0) == ({}, ())
    cell = replace(_arches(2, "cell"), allograph="")
    assert find_doubtful({"m": [*whole, cell]}, x_height_mm=3.0)[0] == {}
    assert find_doubtful({"m": [*whole, _arches(2, "leg")]}, x_height_mm=3.0, keep={"leg"})[0] == {}


def test_a_letter_that_was_likely_cut_wrongly_stands_in_no_word() -> None:
    assert may_stand_in_words("another shape than the others", SURE)
    assert not may_stand_in_words("another shape than the others", SURE - 0.01)
