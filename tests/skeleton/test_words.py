"""Words and lines whose text is known: strokes, letters, and what does not suit its text."""

from __future__ import annotations

import gzip
import json
from itertools import pairwise

import cv2
import numpy as np
import pytest

import skeleton
from capture.units import Points
from sample_sheets.make_running import FOLDER
from sample_sheets.writer import KEEPER, write_line
from skeleton.ink.ink_map import find_ink
from skeleton.pipeline import build_state_graph_of
from skeleton.words import word_reading
from skeleton.words.cut_letters import in_turn, led_on, left_joined
from skeleton.words.decoding import connected_parts
from skeleton.words.delayed_strokes import WrittenStroke, in_writing_order, owner_of, sharing_a_bar
from skeleton.words.frame import WordFrame, first_frame, refitted
from skeleton.words.laid_text import cheapest_way
from skeleton.words.leftovers import taken_up
from skeleton.words.letter_forms import expected_extent, form_table, forms_of, main_strokes, packed, unpacked
from skeleton.words.line_reading import SUITS, SURELY, read_line
from skeleton.words.single_steps import single_steps_of
from skeleton.words.word_reading import read_word, read_word_ink
from tests.bench.trace_ink import ink
from tests.bench.trace_score import score
from tests.bench.words import SCRIPT_WORDS, letters_found, script_word, way


@pytest.fixture(scope="module")
def script():
    """Words in Hershey's simplex script (NBS SP 424), inked and read: {text: (reading, true strokes, true letters)}."""
    out = {}
    for text in SCRIPT_WORDS:
        word = script_word(text)
        grey, offset = ink(word.strokes)
        letters = [(c, [p + offset for p in pieces]) for c, pieces in word.letters]
        out[text] = (read_word(grey, 300, text), [s + offset for s in word.strokes], letters)
    return out


def test_joined_words_are_passed_as_they_were_drawn(script):
    passed = [way([s.points_mm for s in reading.strokes], strokes) for reading, strokes, _ in script.values()]
    assert np.mean(passed) > 0.85


@pytest.mark.parametrize("text", ["yellow", "keeper"])
def test_small_letters_whose_loops_the_pen_filled_are_followed_to_the_edge_of_their_ink(text):
    """The x-height is 3.2 pen widths; fitted as long as single characters the lines end 80 um off."""
    word = script_word(text, 1.6)
    grey, offset = ink(word.strokes)
    found = [s.points_mm for s in read_word(grey, 300, text).strokes]

    assert score(found, [s + offset for s in word.strokes], 0.5).mean < 0.04


def test_most_letters_of_joined_words_get_their_ink(script):
    found = []
    for text, (reading, _, letters) in script.items():
        assert "".join(x.char for x in reading.letters) == text
        found += [letters_found([(x.char, x.pieces_mm) for x in reading.letters], letters)] * len(text)
    # a join goes to the letter that it leaves, where these letters end half-way along it
    assert np.mean(found) >= 0.55


def test_joined_letters_are_known_to_be_joined(script):
    assert sum(x.joined for x in script["harbour"][0].letters) >= 3


def test_the_pen_is_lifted_about_as_often_as_it_was():
    """The first words that the museum's archivist copied (simulated), as the pen truly went (`sample_sheets`)."""
    truth = json.loads(gzip.decompress((FOLDER / "truth.json.gz").read_bytes()))
    off = []
    for word in [w for w in truth["words"] if len(w["text"]) > 3][:14]:
        pieces: dict[int, list[np.ndarray]] = {}
        for stroke, _, points in word["pieces"]:
            pieces.setdefault(stroke, []).append(np.array(points, float).reshape(-1, 2))
        strokes = [np.vstack([*p, p[-1][-1:] + 1e-3]) for p in pieces.values()]
        grey, _ = ink(strokes, pen_mm=0.4)
        off.append(abs(len(read_word(grey, 300, word["text"]).strokes) - len(strokes)))
    # without pen events nearly two a word
    assert np.mean(off) <= 1.2


def test_the_lines_of_writing_are_where_they_are(script):
    reading = script["summer"][0]
    # its s is taller than its other letters
    assert reading.x_height_mm == pytest.approx(3.5, rel=0.3)
    feet = [max(p[:, 1].max() for p in x.pieces_mm) for x in reading.letters]
    assert reading.baseline_mm[0] == pytest.approx(np.mean(feet), abs=0.6)


def test_another_word_costs_more(script):
    grey, _ = ink(script_word("harbour").strokes)
    assert read_word(grey, 300, "fjord").cost > script["harbour"][0].cost + 0.5


def test_a_line_of_print_is_dealt_to_its_words():
    """The lighthouse keeper's own lines (simulated), sloping by three degrees."""
    text = "lamp on the tower"
    written = write_line(text, (0.0, 20.0), 3.0, np.random.default_rng(3), KEEPER)
    turn = np.array([[1.0, np.tan(np.radians(3))], [0.0, 1.0]])
    letters = [(c, [np.asarray(t.points_mm) @ turn for t in traces]) for c, _, traces in written]
    grey, offset = ink([p for _, pieces in letters for p in pieces])
    reading = read_line(grey, 300, text)
    assert reading.texts == tuple(text.split())
    assert [len(w.letters) for w in reading.words] == [4, 2, 3, 5]
    right = [(c, [p + offset for p in pieces]) for c, pieces in letters]
    assert letters_found([(x.char, x.pieces_mm) for x in reading.letters], right) >= 0.85
    assert reading.left_out < 0.02


def test_a_blot_beside_the_words_is_left_out():
    word = script_word("lamp")
    x = word.strokes[-1][:, 0].max() + 25.0
    zigzag = np.stack([x + np.tile([0.0, 4.0], 12), np.linspace(-2.0, 4.0, 24)], axis=1)
    grey, _ = ink([*word.strokes, zigzag])
    reading = read_line(grey, 300, "lamp")
    assert reading.left_out > 0.2
    assert max(s.points_mm[:, 0].max() for s in reading.strokes) < x


def test_a_word_that_was_not_written_is_left_out_and_the_others_are_found():
    """Whoever copies may run out of line."""
    written = write_line("one flash a", (0.0, 20.0), 3.0, np.random.default_rng(3), KEEPER)
    grey, _ = ink([np.asarray(t.points_mm) for _, _, traces in written for t in traces])
    reading = read_line(grey, 300, "one flash a pause")
    assert [len(w.letters) for w in reading.words] == [3, 5, 1, 0]
    assert reading.suits == (True, True, True, False)


def test_a_blank_picture_has_no_letters():
    blank = np.full((80, 200), 250, np.uint8)
    assert read_word(blank, 300, "lamp").letters == ()
    assert [w.letters for w in read_line(blank, 300, "the lamp").words] == [(), ()]


@pytest.mark.parametrize("text", ["", " ", "two words"])
def test_a_word_is_one_word(text):
    with pytest.raises(ValueError, match="one word"):
        read_word(np.full((80, 200), 250, np.uint8), 300, text)


def test_readers_refuse_what_is_no_picture():
    with pytest.raises(ValueError, match="uint8"):
        skeleton.read_word(np.zeros((3, 3)), 300, "a")
    with pytest.raises(ValueError, match="dpi"):
        skeleton.read_line(np.zeros((3, 3), np.uint8), 0, "a")


def test_a_writers_own_forms_come_first():
    own = [np.array([[0.0, 0.0], [1.0, -1.0]])]
    forms = forms_of("a", {"a": [own]})
    assert len(forms) == len(forms_of("a")) + 1
    assert forms[0].log_share > max(f.log_share for f in forms[1:])


def test_a_table_of_forms_is_the_same_after_packing():
    table = {"a": [(0.75, [np.array([[0.0, -1.0], [0.5, 0.25]])])], "ß": [(0.25, [np.zeros((2, 2)), np.ones((3, 2))])]}
    back = unpacked(packed(table))
    assert list(back) == ["a", "ß"]
    for char in table:
        for (share, strokes), (share2, strokes2) in zip(table[char], back[char], strict=True):
            assert share == share2
            assert all(np.allclose(s, t, atol=1 / 256) for s, t in zip(strokes, strokes2, strict=True))


def test_dots_and_bars_are_no_part_of_forms():
    stem = np.array([[0.0, -1.0], [0.0, 0.0]])
    dot = np.array([[0.0, -1.6], [0.02, -1.55]])
    tall = np.array([[0.0, -2.0], [0.0, 0.0]])
    bar = np.array([[-0.4, -1.0], [0.4, -1.0]])
    assert len(main_strokes("i", [stem, dot])) == 1
    assert len(main_strokes("t", [tall, bar])) == 1
    assert len(main_strokes("H", [stem, bar])) == 2


def test_a_dash_is_no_word_but_is_read():
    """An even line has no height of which an x-height could be told."""
    grey = np.full((60, 160), 245, np.uint8)
    cv2.line(grey, (20, 30), (140, 30), 40, 7)
    found = read_word(cv2.GaussianBlur(grey, (0, 0), 0.7), 300, "vn")
    assert len(found.strokes) == 1
    assert found.cost > SUITS


def test_a_frame_is_found_again_from_points():
    true = WordFrame(20.0, 100.0, 40.0, 0.05, 0.3, 1.1)
    rng = np.random.default_rng(0)
    model = rng.uniform([0, -2], [1, 0.5], (400, 2))
    letter = np.repeat(np.arange(10), 40)
    y = model[:, 1] * true.x_height
    x = true.x + (model[:, 0] + 1.2 * letter) * true.x_height * true.width - true.slant * y
    places = np.stack([x, true.y + true.slope * (x - true.x) + y], axis=1)
    start = WordFrame(20.0, 104.0, 36.0)
    found = refitted(refitted(start, places, model, letter), places, model, letter)
    assert found.x_height == pytest.approx(true.x_height, rel=0.03)
    assert found.slope == pytest.approx(true.slope, abs=0.01)
    assert found.slant == pytest.approx(true.slant, abs=0.06)
    assert found.width == pytest.approx(true.width, rel=0.1)
    assert true.place(places) @ [0, 1] == pytest.approx(model[:, 1], abs=1e-9)


def test_a_word_that_leaves_ink_unexplained_suits_less():
    grey, _ = ink(script_word("lamp").strokes, seed=1)
    whole, short = (read_word(grey, 300, text).cost for text in ("lamp", "la"))
    assert whole < SUITS < SUITS + 2.0 < short


def test_a_word_in_another_script_suits_no_sooner_for_nobody_reading_it(script):
    """As what letters are read is known of a to z; of figures and other scripts the bounds are those of before."""
    (lamp,) = (r for t, (r, *_) in script.items() if t == "lamp")
    assert lamp.cost < SUITS
    grey, _ = ink(script_word("lamp").strokes, seed=1)
    for other in ("1924", "ночь", "φάρος"):
        assert not read_word(grey, 300, other).cost <= SUITS
    assert word_reading._cost(3.6, None) == pytest.approx(SUITS, abs=0.1)
    assert word_reading._cost(2.35, None) == pytest.approx(SURELY, abs=0.1)
    assert word_reading._cost(0.5, None) == 0.5, "a word that costs little is not made out to cost less"


def test_a_word_with_a_flourish_is_read_in_another_frame():
    """Hershey's simplex script; the height of all ink makes its letters look twice as large as they are."""
    word = script_word("harbour")
    end, down = word.strokes[-1][-1], np.linspace(0, 1, 30)
    flourish = end + np.stack([3.0 * np.sin(3 * down), 9.0 * down], axis=1)
    strokes = [*word.strokes[:-1], np.concatenate([word.strokes[-1], flourish])]
    grey, offset = ink(strokes, seed=1)
    reading = read_word(grey, 300, word.text)
    assert way([s.points_mm for s in reading.strokes], [s + offset for s in strokes]) > 0.96


def test_a_stroke_goes_round_a_loop_that_no_letter_passes():
    t = np.linspace(0, 1, 60)
    loop = np.stack([4 + 1.6 * np.sin(2 * np.pi * t), 1.6 * np.cos(2 * np.pi * t) - 1.6], axis=1)
    level = [np.stack([np.linspace(a, a + 4, 20), np.zeros(20)], axis=1) for a in (0, 4)]
    grey, _ = ink([np.concatenate([level[0], loop, level[1]])])
    *_, states = build_state_graph_of(grey, 300)
    sizes = np.repeat(states.spacing, np.diff(states.first))
    left, right = int(np.argmin(states.here[::2, 0])), int(np.argmax(states.here[::2, 0]))
    start = 2 * left if states.heading[2 * left, 0] > 0 else 2 * left + 1
    goal = 2 * right if states.heading[2 * right, 0] > 0 else 2 * right + 1
    ends = np.array([[start, 0, 0, 1], [goal, 1, 0, 0]], np.int32)
    walks, letter = single_steps_of(ends, states.step_to, states.step_len, states.step_cost, states.step_at)
    top = int(np.argmin(states.here[::2, 1]))
    assert top not in walks[0] // 2
    everything = np.zeros(len(sizes), bool)
    whole, owner = taken_up(walks, letter, states, sizes, everything, 40.0)
    assert len(whole[1]) == 2
    assert len(whole[0]) == len(owner)
    assert top in whole[0] // 2
    steps = [t in states.step_to[states.step_at[s] : states.step_at[s + 1]] for s, t in pairwise(whole[0].tolist())]
    assert all(steps)
    # what is no letter's ink stays what it is
    unchanged, _ = taken_up(walks, letter, states, sizes, ~everything, 40.0)
    assert np.array_equal(unchanged[0], walks[0])


def test_letters_are_cut_where_they_were_before_the_line_was_fitted():
    """Words that the museum's archivist copied (simulated); cut by shares of the length .42 to .46 overlap by .8."""
    truth = json.loads(gzip.decompress((FOLDER / "truth.json.gz").read_bytes()))
    right, count = 0.0, 0
    for word in [w for w in truth["words"] if len(w["text"]) > 2][:45]:
        strokes: dict[int, list[np.ndarray]] = {}
        letters: dict[int, list[np.ndarray]] = {}
        for stroke, letter, points in word["pieces"]:
            line = np.array(points, float).reshape(-1, 2)
            strokes.setdefault(stroke, []).append(line)
            letters.setdefault(letter, []).append(line if len(line) > 1 else np.concatenate([line, line + 1e-3]))
        grey, offset = ink([np.vstack([*p, p[-1][-1:] + 1e-3]) for p in strokes.values()], pen_mm=0.4)
        true = [(word["text"][k], [p + offset for p in letters[k]]) for k in sorted(letters)]
        got = read_word(grey, 300, word["text"])
        right += len(true) * letters_found([(x.char, x.pieces_mm) for x in got.letters], true)
        count += len(true)
    assert right >= 0.47 * count


@pytest.mark.parametrize("more", [(0, 0), (2, 0), (0, 3), (1, 2)])
def test_points_of_a_line_keep_their_letter_however_it_was_stretched_and_led_on(more):
    letter = np.array([0, 0, 0, 1, 1])
    before = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [9.0, 0.0], [10.0, 0.0]])
    line = np.concatenate(
        [np.arange(-more[0], 0.0)[:, None] * [1, 0], before, [[11.0 + k, 0.0] for k in range(more[1])] or before[:0]]
    )

    assert led_on(letter, before, line + 0.05).tolist() == [0] * (3 + more[0]) + [1] * (2 + more[1])


def test_a_stroke_goes_from_letter_to_letter_and_back_to_none_for_a_moment():
    line = np.stack([np.arange(14.0), np.zeros(14)], axis=1)
    back = np.array([0] * 4 + [1] * 2 + [0] * 3 + [1] * 5)
    assert in_turn(line, back).tolist() == [0] * 9 + [1] * 5
    # the shortest part goes, whichever letter it was
    assert in_turn(line, np.array([0] * 4 + [1] * 3 + [0] * 2 + [1] * 5)).tolist() == [0] * 4 + [1] * 10
    twice = np.array([0] * 3 + [1] + [0] * 2 + [1] * 2 + [0] + [1] * 5)
    assert in_turn(line, twice).tolist() == [0] * 6 + [1] * 8
    # a stroke that ends where it goes back to, as one that draws a bar at last, stays
    bar = np.array([0] * 4 + [1] * 6 + [0] * 4)
    assert in_turn(line, bar).tolist() == bar.tolist()
    assert back.tolist() == [0] * 4 + [1] * 2 + [0] * 3 + [1] * 5


def test_a_letter_whose_tail_touches_the_next_one_is_not_joined_to_it():
    def line(long):
        return np.array([[0.0, 0.0], [long / 2, 0.0], [long, 0.0]])

    tail = [(0, line(2.0)), (1, line(0.3))], [(1, line(2.0))], [(2, line(2.0))]
    assert left_joined(tail, 3, 1.0) == set()
    assert left_joined([[(0, line(2.0)), (1, line(2.0))], [(2, line(2.0))]], 3, 1.0) == {0}
    assert left_joined([[(0, line(2.0)), (2, line(2.0))], [(1, line(2.0))]], 3, 1.0) == set()
    # in a word that is joined it is no touch
    assert left_joined([[(0, line(2.0)), (1, line(2.0)), (2, line(2.0)), (3, line(0.3))]], 4, 1.0) == {0, 1, 2}


def test_a_delayed_dot_follows_its_letter_unless_that_is_joined():
    def stroke(letters, delayed=False):
        return WrittenStroke(list(range(len(letters))), np.array(letters), delayed)

    joined = [stroke([0, 0, 1, 1, 2, 2]), stroke([1], True)]
    assert in_writing_order(joined, [1.0, 1.0]) == [0, 1]
    apart = [stroke([0, 0]), stroke([1, 1]), stroke([0], True)]
    assert in_writing_order(apart, [0.0, 1.0, 0.0]) == [0, 2, 1]
    held = [stroke([0, 0, 1]), stroke([2, 2]), stroke([0], True)]
    assert in_writing_order(held, [0.0, 2.0, 0.0]) == [0, 1, 2]


def test_a_bar_goes_to_the_letter_that_wants_one():
    bar = np.array([[0.9, -1.2], [2.1, -1.2]])
    assert owner_of(bar, "nta", [(0.0, 0.9), (1.3, 1.7), (1.9, 2.9)]) == 1


def test_parts_of_ink_are_told_apart():
    from skeleton.ink.ink_map import find_ink
    from skeleton.pipeline import state_graph_of_ink

    grey, _ = ink([np.array([[0.0, 0.0], [0.0, 5.0]]), np.array([[4.0, 0.0], [4.0, 5.0]])])
    apart = state_graph_of_ink(find_ink(grey, 300.0))
    assert len(np.unique(connected_parts(apart[1]))) == 2


def _stem(x: float) -> Points:
    return np.stack([np.full(41, x), np.linspace(-2.0, 0.0, 41)], axis=1)


def _bar(left: float, right: float) -> Points:
    return np.stack([np.linspace(left, right, 21), np.linspace(-1.2, -1.25, 21)], axis=1)


def test_two_letters_under_one_bar_are_told_from_two_with_a_bar_each() -> None:
    one_bar = [("t", [_stem(0.0), _bar(-0.4, 1.2)]), ("t", [_stem(0.8)])]
    own_bars = [("t", [_stem(0.0), _bar(-0.3, 0.3)]), ("t", [_stem(0.8), _bar(0.5, 1.1)])]
    over_an_l = [("t", [_stem(0.0), _bar(-0.4, 1.2)]), ("l", [_stem(0.8)])]

    assert sharing_a_bar([("e", [_stem(-1.0)]), *one_bar, ("l", [_stem(1.6)])], 1.0) == {1, 2}
    assert not sharing_a_bar(own_bars, 1.0)
    assert not sharing_a_bar(over_an_l, 1.0)


@pytest.mark.parametrize("text", ["t", "lt"])
def test_forms_followed_side_by_side_cost_what_the_cheapest_of_them_costs_alone(text):
    """Forms of one stroke and of two, more of them than are followed at once."""
    word = script_word(text)
    grey, _ = ink(word.strokes)
    *_, states = build_state_graph_of(grey, 300)
    frame = first_frame(states.here, *expected_extent(text), len(text))
    nothing = np.zeros(len(states.here))
    *before, last = (forms_of(c) for c in text)
    together, rows = cheapest_way(states, form_table([*before, last]), frame, (), nothing)
    alone = [cheapest_way(states, form_table([*before, [form]]), frame, (), nothing) for form in last]
    costs = [found[0] for found in alone if found is not None]
    assert len(last) > 8
    assert together == pytest.approx(min(costs), abs=1e-9)
    best = min((found for found in alone if found is not None), key=lambda found: found[0])
    assert rows[rows[:, 1] == len(text) - 1, 0].tolist() == best[1][best[1][:, 1] == len(text) - 1, 0].tolist()


def test_a_reading_that_costs_no_less_than_it_should_is_none():
    grey, _ = ink(script_word("lamp").strokes)
    found = find_ink(grey, 300)
    reading = read_word_ink(found, "lamp")

    assert read_word_ink(found, "lamp", below=reading.cost).letters == ()
    assert len(read_word_ink(found, "lamp", below=reading.cost + 0.01).letters) == 4
