"""A second build does again what changed, and nothing else; its files are byte for byte those of a first."""

from __future__ import annotations

import dataclasses
import hashlib
import pickle
import shutil
from functools import partial

import numpy as np
import pytest

from capture.user_cache import FOLDER_VARIABLE, KEY, SEAL_BYTES
from fontbuild.letterwise import in_turn
from ownhand.commands.build import build
from ownhand.hands import kept_letters
from ownhand.hands.captures import load_captures, save_capture
from ownhand.hands.decisions import SET_ASIDE, Decision, Decisions
from ownhand.hands.decisions_file import save_decisions
from ownhand.hands.hand import open_hand
from ownhand.hands.kept_letters import FILE, KeptLetters, digest
from ownhand.review.session.review_session import ReviewSession
from ownhand.review.session.text_preview import Tryout
from tests.ownhand.stand_in import write_hand


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    return write_hand(tmp_path_factory.mktemp("kept") / "lamp room", "anot", attempts=3, faults=False)


@pytest.fixture
def hand(written, tmp_path):
    shutil.copytree(written.path, tmp_path / "lamp room")
    return open_hand(tmp_path / "lamp room")


class Counted:
    """Does the work in turn, and tells on which characters."""

    def __init__(self) -> None:
        self.chars: list[str] = []

    def __call__(self, function, jobs):
        listed = list(jobs)
        for job in listed:
            self.chars += {w.char for part in job if isinstance(part, list) for w in part}
        return in_turn(function, listed)


def files_of(hand):
    found = {p: p.read_bytes() for p in sorted(hand.font_folder.rglob("*")) if p.is_file() and p.name != FILE}
    return {p.relative_to(hand.path).as_posix(): hashlib.sha256(data).hexdigest() for p, data in found.items()}


def built_with(hand, monkeypatch):
    """Build; return the characters that were worked on, and the files."""
    counted = Counted()
    monkeypatch.setattr("ownhand.commands.build.side_by_side", lambda pool: counted)
    build(hand.path)
    return counted.chars, files_of(hand)


def test_nothing_is_done_again_where_nothing_changed_and_the_files_are_the_same(hand, monkeypatch):
    worked, first = built_with(hand, monkeypatch)
    assert set(worked) == set("anot")
    assert built_with(hand, monkeypatch) == ([], first)


def test_only_the_character_that_changed_is_done_again(hand, monkeypatch):
    built_with(hand, monkeypatch)
    one = next(a for a in ReviewSession(hand).attempts.values() if a.char == "o").id
    save_decisions(hand.decisions_file, Decisions(attempts={one: Decision(verdict=SET_ASIDE)}))
    worked, files = built_with(hand, monkeypatch)
    assert set(worked) == {"o"}
    (hand.font_folder / FILE).unlink()
    assert built_with(hand, monkeypatch)[1] == files


@pytest.mark.parametrize("how", ["changed", "of another user", "cut short", "empty", "not sealed"])
def test_a_file_that_this_user_did_not_write_is_not_believed(hand, monkeypatch, cache, how):
    _, first = built_with(hand, monkeypatch)
    file = hand.font_folder / FILE
    data = file.read_bytes()
    if how == "changed":
        file.write_bytes(data[:-9] + bytes([data[-9] ^ 1]) + data[-8:])
    elif how == "of another user":
        (cache / KEY).write_bytes(bytes(32))
    elif how == "cut short":
        file.write_bytes(data[: len(data) // 2])
    elif how == "empty":
        file.write_bytes(b"")
    else:
        file.write_bytes(bytes(SEAL_BYTES) + pickle.dumps({b"": b""}))
    worked, files = built_with(hand, monkeypatch)
    assert set(worked) == set("anot")
    assert files == first


def test_without_a_place_for_the_key_all_is_done_and_nothing_is_kept(hand, monkeypatch, tmp_path):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "file" / "below"))
    assert set(built_with(hand, monkeypatch)[0]) == set("anot")
    assert not (hand.font_folder / FILE).exists()


def test_an_edited_program_finds_nothing_of_what_was_kept(hand, monkeypatch):
    built_with(hand, monkeypatch)
    monkeypatch.setattr(kept_letters, "_of_program", lambda: b"another")
    assert set(built_with(hand, monkeypatch)[0]) == set("anot")


def test_the_try_out_in_review_shows_the_letters_that_were_built(hand, monkeypatch):
    """Sizes and gaps that copied lines tell are part of the font that a person looks at."""
    for capture in load_captures(hand):
        save_capture(hand, dataclasses.replace(capture, rhythm={"letter_gap": 0.31, "word_gap": 1.07}))
    shown, made = Tryout(ReviewSession(hand)).build().font, build(hand.path).font
    assert made.rhythm
    assert shown.rhythm == made.rhythm
    assert {c: [g.advance for g in v] for c, v in shown.glyphs.items()} == {
        c: [g.advance for g in v] for c, v in made.glyphs.items()
    }


@dataclasses.dataclass(frozen=True)
class Letter:
    char: str
    line: np.ndarray


def add(a, b):
    return a + b


def test_digests_differ_where_anything_differs():
    line = np.arange(4.0)
    different = [
        None, 0, 0.0, False, "", b"", "0", [], (), [0], (0,), [[0]], [0, 0], {0: 1}, {1: 0}, frozenset({0, 1}),
        line, line.astype(np.float32), line.reshape(2, 2), line + 1e-12, Letter("a", line), Letter("b", line),
        add, partial(add, 1), partial(add, b=1), ["ab", "c"], ["a", "bc"],
    ]  # fmt: skip
    assert len({digest(value) for value in different}) == len(different)
    assert digest(Letter("a", np.arange(8.0)[::2])) == digest(Letter("a", np.array([0.0, 2, 4, 6])))
    assert digest({"b", "a"}) == digest({"a", "b"})
    with pytest.raises(TypeError, match="no digest of object"):
        digest(object())


def test_the_same_work_twice_in_one_call_is_given_twice(tmp_path):
    letters = KeptLetters(in_turn, tmp_path / FILE)
    assert list(letters(add, [(1, 2), (3, 4), (1, 2)])) == [3, 7, 3]
    letters.save()
    never = KeptLetters(lambda function, jobs: iter(jobs), tmp_path / FILE)
    assert list(never(add, [(3, 4), (1, 2)])) == [7, 3]


def test_a_process_that_builds_again_and_again_does_not_gather_all_it_ever_made(tmp_path):
    letters = KeptLetters(in_turn, tmp_path / FILE)
    for n in range(5):
        letters.forget_unused()
        assert list(letters(add, [(n, 1)])) == [n + 1]
    letters.save()
    never = KeptLetters(lambda function, jobs: iter(jobs), tmp_path / FILE)
    assert list(never(add, [(3, 1), (4, 1)])) == [(3, 1), 5]
