"""How likely a letter was cut rightly out of a word: what is seen of it, what the network says of it and learned."""

from __future__ import annotations

import gzip
import itertools
import json
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest
from scipy.signal import correlate2d

from skeleton.ink.ink_map import find_ink_of_words
from skeleton.pipeline import state_graph_of_ink
from skeleton.small_networks import PROVENANCE, Convolutions, PictureNetwork
from skeleton.words import cut_rightness, spliced_ways
from skeleton.words.cut_letters import cut_way
from skeleton.words.cut_rightness import LEAST, STRIDES, CutNetwork, log_odds, rightness, trained
from skeleton.words.decoding import ways_to_write
from skeleton.words.finished_ways import finished
from skeleton.words.letter_pictures import MEASURES, PER_X_HEIGHT, ROWS, SIZE, CutWord, pictures_of
from skeleton.words.lost_line import Judged
from skeleton.words.word_reading import read_word
from tests.bench import trace_cuts
from tests.bench.people import part
from tests.bench.trace_data import LATIN, sample_hand
from tests.bench.trace_ink import ink
from tests.bench.training.cut_examples import OF_A_WAY, WrittenWord, examples_of, overlaps
from tests.bench.training.joined_words import Manner, composed, letters_by_writer
from tests.bench.words import Word, letters_found, script_word

X_HEIGHT = 3.5


def as_cut(word: Word, x_height: float = X_HEIGHT, slope: float = 0.0) -> CutWord:
    """Return a word cut where its writer had it, in a size and on a sloping line."""
    k = x_height / X_HEIGHT
    pieces = [[np.stack([p[:, 0], p[:, 1] + slope * p[:, 0]], axis=1) * k for p in of] for _, of in word.letters]
    count = len(word.text)
    return CutWord(word.text, pieces, [True] * count, [0.1] * count, (0.0, slope), x_height, 0.2, 1.5, 0.15 * x_height)


@pytest.fixture(scope="module")
def letters():
    """Letters of one simulated person, twice each."""
    return letters_by_writer([c for c in sample_hand(LATIN) if c.char.isalpha()])


def test_a_letter_is_seen_beside_those_before_and_after_it():
    word = script_word("lamp")
    pictures, measures, rows = pictures_of(as_cut(word))
    assert pictures.shape == (4, 3, SIZE, SIZE) and measures.shape == (4, MEASURES) and rows.shape == (4, 3)
    assert rows[0, 0] == 0 == rows[3, 2] and rows[1].tolist() == [rows[0, 1], rows[1, 1], rows[2, 1]]
    assert rows.max() < ROWS
    # nothing before the first, nothing after the last; the letter itself in the middle (the p hangs out below)
    assert not pictures[0, 1].any() and not pictures[3, 2].any()
    for own in pictures[:3, 0]:
        across = np.flatnonzero(own.any(axis=0))
        assert abs(across[0] + across[-1] - SIZE) <= 3
    # as tall as it was written, and a line's breadth
    down = np.flatnonzero(pictures[0, 0].any(axis=1))
    tall = np.ptp(np.concatenate(word.letters[0][1])[:, 1]) / X_HEIGHT * PER_X_HEIGHT
    assert down[-1] - down[0] == pytest.approx(tall + 1, abs=2)


def test_size_place_and_slope_of_the_line_make_no_difference():
    word = script_word("summer")
    one, told, _ = pictures_of(as_cut(word))
    moved = Word(word.text, "", [], [(c, [p + np.array([40.0, 0.0]) for p in of]) for c, of in word.letters])
    for other in (as_cut(word, 1.7), as_cut(word, slope=0.1), as_cut(moved)):
        pictures, measures, _ = pictures_of(other)
        assert np.abs(pictures - one).mean() < 0.01
        np.testing.assert_allclose(measures, told, atol=1e-3)


def test_a_letter_without_ink_is_certainly_not_right_and_signs_are_as_their_word_is():
    cut = as_cut(script_word("lamp"))
    whole = rightness([cut])[0]
    without = rightness([replace(cut, pieces=[cut.pieces[0], [], *cut.pieces[2:]])])[0]
    assert without[1] == 0 and (without[[0, 2, 3]] > 0).all()
    sign = rightness([replace(cut, text="l:mp")])[0]
    assert sign[1] == pytest.approx(sign[[0, 2, 3]].mean())
    assert rightness([replace(cut, text="12,5")])[0].tolist() == [1.0] * 4
    # several words are told as each alone
    np.testing.assert_allclose(rightness([cut, replace(cut, text="12,5"), cut])[2], whole, atol=1e-6)


def test_the_network_computes_what_a_reference_does():
    """Against `scipy.signal.correlate2d` and plain products."""
    rng = np.random.default_rng(5)

    def drawn(*shape: int) -> np.ndarray:
        return (0.3 * rng.normal(size=shape)).astype(np.float32)

    shift, scale = drawn(MEASURES), 1 + abs(drawn(MEASURES))
    all_kernels = drawn(4, 3, 5, 5), drawn(5, 4, 3, 3), drawn(6, 5, 3, 3)
    convolutions = Convolutions(all_kernels, (drawn(4), drawn(5), drawn(6)), STRIDES)
    weights, sums = (drawn(6 * 36, 8), drawn(8, 7), drawn(7, 3)), (drawn(8), drawn(7), drawn(3))
    of_measures, of_letters = drawn(MEASURES, 8), (drawn(ROWS, 8), drawn(ROWS, 8), drawn(ROWS, 8))
    network = CutNetwork(PictureNetwork(convolutions, shift, scale, weights, sums, of_measures), of_letters)
    pictures, measures, rows = abs(drawn(2, 3, SIZE, SIZE)), drawn(2, MEASURES), rng.integers(0, ROWS, (2, 3))
    measures[1, 3] = np.nan  # not known: as it mostly is
    got = log_odds(network, pictures, measures, rows)
    for n in range(2):
        x = pictures[n]
        for kernels, offsets, stride in zip(convolutions.kernels, convolutions.offsets, STRIDES, strict=True):
            whole = [
                sum(correlate2d(x[i], k[i], mode="same") for i in range(len(x))) + o
                for k, o in zip(kernels, offsets, strict=True)
            ]
            x = np.maximum(np.array(whole), 0)[:, ::stride, ::stride]
        told = np.where(np.isnan(measures[n]), 0, (measures[n] - shift) / scale)
        y = x.ravel() @ weights[0] + np.clip(told, -4, 4) @ of_measures + sums[0]
        y = np.maximum(y + sum(of[r] for of, r in zip(of_letters, rows[n], strict=True)), 0)
        y = np.maximum(y @ weights[1] + sums[1], 0)
        np.testing.assert_allclose(got[n], y @ weights[2] + sums[2], rtol=1e-3, atol=1e-3)


def test_letters_that_lost_a_leg_to_their_neighbour_are_told(letters):
    """Words put together of a simulated person's letters; half of a letter is given to the next one."""
    rng = np.random.default_rng(1)
    right, wrong = [], []
    for text in ("home", "harbour", "summer", "minimum", "lamp", "evening", "museum", "window", "number", "man"):
        word = composed(text, letters, rng)
        cut = as_cut(word)
        right += rightness([cut])[0].tolist()
        for j in range(len(text) - 1):
            if text[j] in "mnuwahd":
                pieces = [list(of) for of in cut.pieces]
                k = int(np.argmax([len(p) for p in pieces[j]]))
                half = len(pieces[j][k]) // 2
                pieces[j + 1].insert(0, pieces[j][k][half:])
                pieces[j][k] = pieces[j][k][: half + 1]
                wrong.append(rightness([replace(cut, pieces=pieces)])[0][j])
    area = (np.array(right)[:, None] > np.array(wrong)).mean()
    assert area > 0.9 and np.median(right) > 0.8 and np.median(wrong) < 0.3


def test_what_is_read_says_how_likely_each_letter_was_cut_rightly():
    word = script_word("lamp")
    grey, _ = ink(word.strokes, seed=1)
    read = read_word(grey, 300, "lamp")
    other = read_word(grey, 300, "bawl")
    assert all(0 < x.right <= 1 and x.doubtful == (x.right < 0.5) for x in read.letters)
    assert np.mean([x.right for x in read.letters]) > np.mean([x.right for x in other.letters])
    # and that is part of what tells how badly a text suits
    assert other.cost > read.cost + 1


def test_of_ways_alike_the_one_whose_letters_are_cut_rightly_is_taken_and_what_is_far_behind_not_looked_at():
    grey, _ = ink(script_word("lamp").strokes)
    _, net, states = state_graph_of_ink(find_ink_of_words(grey, 300.0), of_words=True)
    found = ways_to_write(net, states, "lamp")
    ways = [finished(found.ink, "lamp", laid) for laid in found.laid]
    count = len(ways)
    assert count > 2
    looked: list[int] = []
    cost = np.array([1.0, 2.0, *([100.0] * (count - 2))])

    def told(cuts):
        looked.append(len(cuts))
        return [np.full(4, 0.1), np.full(4, 0.9)][: len(cuts)]

    with (
        patch.object(spliced_ways, "judged", lambda *_: Judged(np.zeros((count, 4)), cost)),
        patch.object(spliced_ways, "rightness", told),
    ):
        weighed = spliced_ways._weighed(found.ink, ways, [0.0] * count, "lamp")
    assert looked == [2]
    assert int(np.argmin(weighed.cost)) == 1
    assert weighed.cost[2] == pytest.approx(100 - 2 * 4 * np.log(LEAST))
    # a way cut before it is fitted has each letter where it lies
    cut = cut_way(net, states, ways[0], "lamp")
    middles = [np.concatenate(pieces)[:, 0].mean() for pieces in cut.pieces if pieces]
    assert middles == sorted(middles) and np.isnan(cut.cost)


def test_words_put_together_say_whose_letter_each_line_is(letters):
    rng = np.random.default_rng(4)
    for text in ("time", "jolly", "Quartz", "fit"):
        word = composed(text, letters, rng)
        assert word.text == text == "".join(c for c, _ in word.letters)
        own = np.concatenate([p for _, pieces in word.letters for p in pieces])
        drawn = np.concatenate(word.strokes)
        near = np.sqrt(((drawn[:, None] - own) ** 2).sum(axis=2).min(axis=1))
        assert near.max() < 0.3  # all of the line belongs to letters
        middles = [np.concatenate(pieces)[:, 0].mean() for _, pieces in word.letters]
        assert middles == sorted(middles)
    assert composed("lamp7", letters, rng) is None
    one, two = (composed("harbour", letters, np.random.default_rng(9)) for _ in range(2))
    assert all(np.array_equal(a, b) for a, b in zip(one.strokes, two.strokes, strict=True))


def test_who_joins_all_letters_lifts_the_pen_for_marks_alone(letters):
    with patch("tests.bench.training.joined_words.manner", lambda _: Manner(1.0, 0.2, 0.0, 1.0, 1.0)):
        words = [composed("nun", letters, np.random.default_rng(k)) for k in range(6)]
    with patch("tests.bench.training.joined_words.manner", lambda _: Manner(0.0, 0.2, 0.0, 1.0, 1.0)):
        apart = [composed("nun", letters, np.random.default_rng(k)) for k in range(6)]
    assert np.mean([len(w.strokes) for w in words]) < np.mean([len(w.strokes) for w in apart]) - 1


def test_overlaps_are_those_by_which_found_letters_are_counted():
    word = script_word("harbour")
    true = [of for _, of in word.letters]
    # points where one letter ends and the next begins are both's
    np.testing.assert_allclose(overlaps(true, true, 0.35, 0.1), 1.0, atol=0.03)
    given = [list(of) for of in true]
    given[1] = [np.concatenate([given[1][0], given[2][0]]), *given[1][1:]]
    given[2] = given[2][1:]
    some = overlaps(given, true, 0.35, 0.1)
    assert (some[[1, 2]] < 0.8).all() and (some[[0, 3, 4, 5, 6]] > 0.95).all()
    found = letters_found([(c, p) for c, p in zip(word.text, given, strict=True) if p], word.letters)
    assert found == pytest.approx((some >= 0.8).mean())


def test_examples_are_letters_as_read_and_as_other_ways_cut_them(letters):
    made = examples_of(WrittenWord("composed", 7, text="harbour", letters=letters))
    assert [str(e.source[0]) for e in made] == ["composed", *[f"composed{OF_A_WAY}"] * (len(made) - 1)] and len(
        made
    ) > 1
    for e in made:
        count = len(e.overlap)
        assert e.pictures.shape == (count, 3, SIZE, SIZE) and e.rows.shape == (count, 3)
        assert ((e.overlap >= 0) & (e.overlap <= 1)).all() and e.pictures.any(axis=(1, 2, 3)).all()
        assert np.isnan(e.measures[:, 1]).all() == e.source[0].endswith(OF_A_WAY)
    # most letters of a word of this kind are cut rightly: what is compared is the same ink
    assert made[0].overlap.mean() > 0.5
    # a word of which nobody knows where its letters end, and whose path no forms suit, gives none
    scribble = [np.random.default_rng(1).uniform(0, 9, (60, 2))]
    assert examples_of(WrittenWord("words", 1, word=Word("lamp", "x", scribble, None))) == []


def test_the_bench_makes_examples_of_people_for_validation_and_scores_the_network(
    tmp_path, capsys, monkeypatch, letters
):
    who = next(f"cee/{n}" for n in range(99) if part("unipen", f"cee/{n}") == "val")
    texts = ("harbour", "minimum", "summer", "evening", "running")
    words = [composed(t, letters, np.random.default_rng(3)) for t in texts]
    rows = [
        {
            "text": w.text,
            "writer": who,
            "strokes": [s.tolist() for s in w.strokes],
            "letters": [[c, [p.tolist() for p in of]] for c, of in w.letters],
        }
        for w in words
    ]
    chars = [
        {"name": f"{c}{k}", "char": c, "writer": who, "strokes": [(s * X_HEIGHT).tolist() for s in attempt]}
        for c, attempts in letters["keeper"].items()
        for k, attempt in enumerate(attempts)
    ]
    (tmp_path / "unipen_words.json.gz").write_bytes(gzip.compress(json.dumps(rows).encode()))
    (tmp_path / "unipen_chars.json").write_text(json.dumps(chars), encoding="utf-8")
    monkeypatch.setattr(trace_cuts, "texts", lambda: list(texts))
    some = list(itertools.islice(trace_cuts.words_to_read(tmp_path, "val"), 6))
    assert [w.source for w in some] == ["words", "composed", "composed"] * 2
    assert next(iter(trace_cuts._letters(tmp_path, "train").items()), None) is None
    arguments = ["--data", str(tmp_path), "--examples", str(tmp_path / "made"), "--words", "480", "--cores", "1"]
    assert trace_cuts.main(arguments) == 0
    said = capsys.readouterr().out
    assert "area" in said and "wrong of the others" in said


def test_the_network_is_kept_with_what_it_was_fitted_on():
    file = Path(cut_rightness.__file__).with_name("tables") / cut_rightness.NAME
    with np.load(file) as kept:
        told = json.loads(bytes(kept[PROVENANCE]).decode())
    assert "trace_cuts" in told["recipe"] and len(told["fitted_on"]) == 2
    assert cut_rightness.NAME in (file.parents[2] / "NOTICE").read_text(encoding="utf-8")
    assert trained() is trained()
