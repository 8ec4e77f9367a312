"""A font that is older than its hand is told of by all that use it, with the one command that mends it."""

from __future__ import annotations

import dataclasses
import shutil

import pytest

from capture.errors import HandFolderError
from ownhand.cli.main import main
from ownhand.commands.build import build
from ownhand.hands.captures import load_captures, save_capture
from ownhand.hands.decisions import SET_ASIDE, Decision, Decisions
from ownhand.hands.decisions_file import save_decisions
from ownhand.hands.font_of_hand import font_of
from ownhand.hands.freshness import staleness
from ownhand.hands.hand import open_hand
from tests.ownhand.stand_in import write_hand


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    hand = write_hand(tmp_path_factory.mktemp("fresh") / "lamp room", "anot", attempts=3, faults=False)
    build(hand.path)
    return hand


@pytest.fixture
def hand(built, tmp_path):
    """A copy: as fresh as it was."""
    shutil.copytree(built.path, tmp_path / "lamp room")
    return open_hand(tmp_path / "lamp room")


def test_a_font_just_built_is_fresh_also_in_a_copy_of_its_hand(hand):
    assert staleness(hand.path) == ()


def test_a_decision_more_is_told_by_write_proof_and_coverage(hand, tmp_path, capsys):
    first = load_captures(hand)[0].attempts[0].id
    save_decisions(hand.decisions_file, Decisions(attempts={first: Decision(verdict=SET_ASIDE)}))

    main(["write", str(hand.path), "not", "-o", str(tmp_path / "a.svg"), "--no-preview"])
    main(["coverage", str(hand.path), "-l", "en"])
    main(["proof", str(hand.path), "-o", str(tmp_path / "p.png")])

    said = capsys.readouterr().err
    assert said.count("The font is older than the hand: letters were mended or set aside in review since.") == 3
    assert said.count(f"ownhand build '{hand.path}'") == 3


def test_what_was_read_since_is_told(hand):
    capture = load_captures(hand)[0]
    save_capture(hand, dataclasses.replace(capture, attempts=capture.attempts[:-1]))

    assert "more was read since" in staleness(hand.path)[0]


def test_another_name_of_the_hand_is_told_and_not_taken_for_no_font(hand, capsys):
    main(["record", str(hand.path), "--family", "Tower"])
    capsys.readouterr()

    with pytest.raises(HandFolderError, match="built as 'Lamp Room', the hand is called 'Tower' now"):
        font_of(hand.path)
    assert main(["write", str(hand.path), "not", "-o", "never.svg"]) == 3
    assert f"ownhand build '{hand.path}'" in capsys.readouterr().err


@pytest.mark.parametrize("file", ["decisions.json", "font/built.json"])
def test_a_file_of_brackets_alone_tells_no_more_than_that_it_is_another(hand, tmp_path, file):
    """A hand comes from others too: as many brackets as no reader of JSON goes down into."""
    (hand.path / file).write_text("[" * 200_000)

    assert main(["write", str(hand.path), "not", "-o", str(tmp_path / "a.svg"), "--no-preview"]) == 0
