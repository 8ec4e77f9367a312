"""As which letters drawn letters are read: what is seen of them, what the network says of them and learned."""

from __future__ import annotations

import itertools
import json
from pathlib import Path
from string import ascii_lowercase
from unittest.mock import patch

import numpy as np
import pytest
from scipy.signal import correlate2d

from skeleton.small_networks import PROVENANCE
from skeleton.words import legibility
from skeleton.words.legibility import LEAST, NAMES, STRIDES, likelihoods, read_as, surprise_at, trained
from skeleton.words.letter_pictures import SIZE, CutWord, picture_of
from tests.bench import trace_cuts, trace_legibility
from tests.bench.trace_data import LATIN, sample_hand
from tests.bench.training.cut_examples import WrittenWord
from tests.bench.training.joined_words import composed, letters_by_writer
from tests.bench.training.letter_examples import examples_of
from tests.bench.training.letter_forms import X_HEIGHT_MM


def hershey(face: str) -> list[tuple[str, list[np.ndarray]]]:
    """Return the small letters of a Hershey font (Wolcott & Hilsenrath, NBS SP 424, 1976; PyPI `Hershey-Fonts`)."""
    from HersheyFonts import HersheyFonts

    fonts = HersheyFonts()
    fonts.load_default_font(face)
    out = []
    for char in ascii_lowercase:
        (glyph,) = fonts.glyphs_for_text(char)
        out.append((char, [np.array(list(s), float) for s in glyph.strokes if len(list(s)) > 1]))
    # the letters' baseline is where x stands
    base = max(s[:, 1].max() for s in dict(out)["x"])
    size = base - min(s[:, 1].min() for s in dict(out)["x"])
    return [(c, [(s - [0, base]) / size for s in lines]) for c, lines in out]


def test_published_letters_are_read_as_themselves():
    for face, most_others in (("futural", 3), ("scripts", 6)):
        letters = hershey(face)
        told = read_as(letters)
        others = [(c, t.other) for (c, _), t in zip(letters, told, strict=True) if t.own < 0.5]
        assert len(others) <= most_others, (face, others)


def test_a_letter_that_lacks_a_part_or_has_too_much_reads_as_another():
    letters = dict(hershey("futural"))
    (bar,) = (s for s in letters["t"] if np.ptp(s[:, 1]) < 0.1)
    stem = [s for s in letters["t"] if s is not bar]
    whole, bare = read_as([("t", letters["t"]), ("t", stem)])
    assert whole.own > 0.9 and bare.own < 0.3 and bare.other in "li"

    # an n that holds its neighbour's first leg is an m
    by = np.array([np.ptp(np.concatenate(letters["n"])[:, 0]), 0.0])
    wide = [*letters["n"], *(s + by for s in letters["n"])]
    assert read_as([("n", letters["n"])])[0].own > 0.9 > 0.1 > read_as([("n", wide)])[0].own


def test_capitals_and_small_letters_count_as_one_and_other_characters_are_not_judged():
    letters = dict(hershey("futural"))
    small, large = read_as([("o", letters["o"]), ("O", letters["o"])])
    assert small == large and small.own > 0.5
    assert read_as([("3", letters["z"]), ("é", letters["e"]), ("ab", letters["a"]), ("", letters["a"])]) == [None] * 4
    assert read_as([]) == []


def test_a_picture_shows_a_letter_in_the_middle_and_on_its_line():
    picture = picture_of([np.array([[10.0, 0.0], [10.0, -1.0]])])
    assert picture.shape == (SIZE, SIZE) and abs(np.nonzero(picture)[1].mean() - SIZE / 2) < 1
    assert np.array_equal(picture, picture_of([np.array([[-3.0, 0.0], [-3.0, -1.0]])]))
    # a dot is seen
    assert picture_of([np.array([[0.0, -1.4]])]).any()


def test_the_network_is_what_its_layers_say():
    """Against SciPy's correlation, layer by layer."""
    rng = np.random.default_rng(5)
    network, picture = trained(), rng.random((SIZE, SIZE)).astype(np.float32)
    x = picture[None]
    for kernels, offsets, stride in zip(
        network.convolutions.kernels, network.convolutions.offsets, STRIDES, strict=True
    ):
        y = np.stack([sum(correlate2d(c, k, "same") for c, k in zip(x, of, strict=True)) for of in kernels])
        x = np.maximum(y[:, ::stride, ::stride] + offsets[:, None, None], 0)
    y = np.maximum(x.ravel() @ network.weights[0] + network.offsets[0], 0) @ network.weights[1] + network.offsets[1]
    odds = np.exp(y[legibility.SMALL]) + np.exp(y[legibility.LARGE])
    told = likelihoods(network, picture[None])
    assert told.shape == (1, len(NAMES))
    assert np.allclose(told[0], odds / odds.sum(), atol=1e-4)


def test_the_network_was_trained_on_nobody_who_is_left_out():
    with (Path(legibility.__file__).parent / "tables" / legibility.NAME).open("rb") as f:
        said = json.loads(np.load(f)[PROVENANCE].tobytes())
    assert {d["part"].split(",")[0] for d in said["fitted_on"]} == {"words", "composed"}
    assert "trace_legibility" in said["recipe"] and said["date"] >= "2026-12-01"


@pytest.fixture(scope="module")
def letters():
    """Letters of one simulated person, twice each."""
    return letters_by_writer([c for c in sample_hand(LATIN) if c.char.isalpha()])


def test_letters_of_words_put_together_are_drawn_as_they_were_written(letters):
    (drawn,) = examples_of(WrittenWord("composed", 3, text="lamp", letters=letters))
    word = composed("lamp", letters, np.random.default_rng(3))
    assert drawn.rows.tolist() == [12, 1, 13, 16] and set(drawn.source) == {"composed"}
    for k, (_, pieces) in enumerate(word.letters):
        want = picture_of([p / X_HEIGHT_MM for p in pieces])
        assert np.array_equal(drawn.pictures[k], np.round(want * 255).astype(np.uint8))
    # figures are no letters; what nobody wrote is left out
    assert examples_of(WrittenWord("composed", 3, text="7", letters=letters)) == []


def test_the_bench_tells_how_many_letters_are_read_as_themselves(tmp_path, capsys, letters):
    """Of the simulated museum's hand, whom the network has never seen."""

    def words(data, which):
        for n, text in enumerate(itertools.cycle(("lamp", "tower", "keeper", "island", "morning"))):
            yield WrittenWord("composed", n, text=text, letters=letters)

    with patch.object(trace_cuts, "words_to_read", words):
        trace_legibility.main(["--data", str(tmp_path), "--examples", str(tmp_path), "--words", "1200", "--cores", "1"])
    said = capsys.readouterr().out
    count, share, others = (float(said.split(before)[1].split()[0]) for before in ("composed", "themselves", "another"))
    assert count == 30 / 5 * len("lamptowerkeeperislandmorning")
    assert share > 0.85 and others < 0.1


def test_nothing_is_told_of_a_word_without_letters():
    lines = [[np.array([[0.0, 0.0], [0.0, -1.0]])]] * 2

    def cut(text: str, pieces: list[list[np.ndarray]]) -> CutWord:
        return CutWord(text, pieces, [False] * 2, [0.0] * 2, (0.0, 0.0), 1.0, 0.0, 1.0, 0.15)

    assert surprise_at(cut("12", lines)) is None
    assert surprise_at(cut("ii", lines)) < surprise_at(cut("oo", lines))
    assert surprise_at(cut("o1", [[], lines[0]])) == pytest.approx(-np.log(LEAST))
