"""`read` and `build` killed at any moment: the hand stays whole, and the next run completes.

`OWNHAND_KILLS` sets how many moments are tried; `tests.bench attack` tries thirty.
"""

from __future__ import annotations

import json
import os
import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image

from fontbuild.formats.ufo import load_ufo
from ownhand.cli.main import main
from ownhand.commands.build import build
from ownhand.hands.captures import load_captures
from ownhand.hands.decisions import KEPT, Decision, Decisions
from ownhand.hands.decisions_file import load_decisions, save_decisions
from ownhand.hands.hand import load_sheets, open_hand
from tests.bench.attacks.warm import Warm, warm
from tests.capture.simulated import plain_picture

KILLS = int(os.environ.get("OWNHAND_KILLS", "2"))


@pytest.fixture(scope="module")
def scan(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("scan") / "page.png"
    Image.fromarray(plain_picture().scan.pixels).save(path, dpi=(200, 200))
    return path


@pytest.fixture(scope="module")
def read_once(tmp_path_factory, scan) -> Path:
    """A hand into which the scan was read; to be copied, not to be changed."""
    path = tmp_path_factory.mktemp("read") / "hand"
    assert main(["read", str(path), str(scan)]) == 0
    return path


@pytest.fixture
def hand(read_once, tmp_path) -> Path:
    return shutil.copytree(read_once, tmp_path / "hand")


@pytest.fixture(scope="module")
def commands() -> Iterator[Warm]:
    """Commands without the time that imports take: a kill falls on their work."""
    with warm() as started:
        yield started


def state(hand: Path) -> dict[str, str]:
    return {a.id: a.status for c in load_captures(open_hand(hand)) for a in c.attempts}


def test_reading_killed_at_any_moment_leaves_a_whole_hand(tmp_path, scan, commands):
    _, takes = commands.run(["read", str(tmp_path / "whole"), str(scan)])
    expected = state(tmp_path / "whole")
    assert expected
    moments = random.Random(11)
    caught = 0
    for number in range(KILLS):
        hand = tmp_path / f"hand-{number}"
        killed, took = commands.run(["read", str(hand), str(scan)], kill_after_s=moments.random() * takes)
        caught += killed
        takes = takes if killed else 0.7 * min(takes, took)
        if hand.exists() and (hand / "hand.json").exists():
            load_sheets(open_hand(hand))
            assert state(hand) in ({}, expected)

        assert main(["read", str(hand), str(scan)]) == 0

        assert state(hand) == expected
    assert caught > 0


def test_reading_again_killed_at_any_moment_loses_nothing(hand, scan, commands):
    expected = state(hand)
    key = next(iter(expected))
    save_decisions(hand / "decisions.json", Decisions(attempts={key: Decision(verdict=KEPT)}))
    moments = random.Random(12)
    _, takes = commands.run(["read", str(hand), str(scan)])
    for _ in range(KILLS):
        commands.run(["read", str(hand), str(scan)], kill_after_s=moments.random() * takes)

        assert state(hand) == expected
        assert load_decisions(hand / "decisions.json").attempts[key].verdict == KEPT
        for capture in load_captures(open_hand(hand)):
            folder = hand / "captures" / capture.sheet
            assert all((folder / picture.file).exists() for picture in capture.ink.values())


def test_building_killed_at_any_moment_is_made_good_by_the_next(hand, commands):
    before = {p: p.read_bytes() for p in hand.rglob("*.json")}
    moments = random.Random(13)
    _, takes = commands.run(["build", str(hand)])
    expected = {c: len(v) for c, v in load_ufo(open_hand(hand).ufo).glyphs.items()}
    for _ in range(KILLS):
        commands.run(["build", str(hand)], kill_after_s=moments.random() * takes)

        ufo = open_hand(hand).ufo
        if ufo.exists():
            assert {c: len(v) for c, v in load_ufo(ufo).glyphs.items()} == expected
        for svg in (hand / "font").glob("*.svg"):
            assert svg.read_text(encoding="utf-8").rstrip().endswith("</svg>")
    build(hand)

    assert {c: len(v) for c, v in load_ufo(open_hand(hand).ufo).glyphs.items()} == expected
    assert {p: p.read_bytes() for p in before} == before
    assert all(json.loads(p.read_text()) for p in before)
