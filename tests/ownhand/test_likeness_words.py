"""The words that `tests.bench likeness` composes beside: as their writers wrote them, line for line."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import numpy as np

from fontbuild.build import build_font
from fontbuild.font import Record
from ownhand.composer import Life
from tests.bench.likeness import compose
from tests.bench.likeness_hands import Word, hand_of, writers
from tests.ownhand.test_joined_words import read


def test_the_lines_between_joined_letters_are_part_of_a_word(tmp_path: Path) -> None:
    """A donor's marks name the letters; the line that leads from one to the next belongs to neither."""
    n = [[x, y] for x, y in zip(np.linspace(0.0, 2.0, 9), [3.5, 0.0, 1.0, 2.0, 0.5, 0.0, 1.0, 2.5, 3.5], strict=True)]
    link = [[2.3, 3.5], [2.6, 3.2], [2.9, 2.8]]
    i = [[3.2, 0.5], [3.2, 1.5], [3.2, 2.5], [3.2, 3.5], [3.4, 3.5]]
    dot = [[3.3, -1.0], [3.35, -1.0]]
    row = {"text": "ni", "writer": "kai/someone", "strokes": [n + link + i, dot], "letters": [["n", [n]], ["i", [i]]]}
    (tmp_path / "unipen_words.json.gz").write_bytes(gzip.compress(json.dumps([row] * 4).encode()))

    (writer,) = writers(tmp_path, ["someone"], 1, recorded=True)

    (word, *_) = writer.taken
    assert [len(s) for s in word.strokes] == [len(n) + len(link) + len(i), len(dot)]
    assert [(c, [len(s) for s in pieces]) for c, pieces in word.letters] == [("n", [len(n)]), ("i", [len(i), len(dot)])]
    foot = max(y for _, y in n)
    assert np.allclose(word.strokes[0], np.array(n + link + i) - [0.0, foot]), "on the line that its letters stand on"


def test_hands_of_other_halves_or_other_strokes_are_kept_apart(tmp_path: Path) -> None:
    stem = [[[0.0, 0.0], [0.0, 1.1], [0.1, 2.2], [0.1, 3.0], [0.2, 3.5]]]
    rows = [
        {"text": c, "writer": "kai/someone", "strokes": stem, "letters": [[c, stem]]}
        for c in "acehilmnorstuvwx"
    ]  # fmt: skip
    (tmp_path / "unipen_words.json.gz").write_bytes(gzip.compress(json.dumps(rows).encode()))

    def called(seed: int, *, recorded: bool = False) -> str:
        (writer,) = writers(tmp_path, ["someone"], seed, recorded=recorded)
        return writer.called

    assert called(1) == called(1)
    assert len({called(1), called(3), called(1, recorded=True)}) == 3
    assert called(1).startswith("someone-")
    (writer,) = writers(tmp_path, ["someone"], 3)
    (tmp_path / f"{called(1)}-copied").mkdir()
    (tmp_path / f"{called(3)}-copied").mkdir()
    assert hand_of(writer, tmp_path, copied=True).name == f"{called(3)}-copied"


def test_letters_are_measured_as_they_stand_in_joined_words() -> None:
    """Each has its own strokes, at the place that it has in the word whose letters run together."""
    font = build_font(read(), Record("joined"), accents=False).font
    words = [Word(text, (), []) for text in ("lane", "elan", "neal", "alee")]

    written = compose(font, words, Life(), 3)
    cut = compose(font, words, Life(), 3, cut=True)

    assert ["".join(c for c, _ in word) for word in cut] == [w.text for w in words]
    assert sum(len(word) for word in written) < sum(len(word) for word in cut), "letters run together"
    for whole, letters in zip(written, cut, strict=True):
        ink, apart = (np.vstack([s for _, strokes in word for s in strokes]) for word in (whole, letters))
        # a join draws a little of both letters anew, none of it where a word begins
        assert np.allclose(ink[0], apart[0], atol=0.01)
        assert np.allclose(np.ptp(ink[:, 0]), np.ptp(apart[:, 0]), atol=0.3)
