"""`read` and `build` killed at any moment: the hand stays whole, and the next run completes.

`OWNHAND_KILLS` sets how many moments are tried; `tests.bench attack` tries thirty.
"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
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
from tests.capture.simulated import plain_picture

ROOT = Path(__file__).parents[2]
KILLS = int(os.environ.get("OWNHAND_KILLS", "2"))


@pytest.fixture(scope="module")
def scan(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("scan") / "page.png"
    Image.fromarray(plain_picture().scan.pixels).save(path, dpi=(200, 200))
    return path


def kill_after(seconds: float, *args: str) -> bool:
    """Run a command and kill it with all its processes; True if it was still running."""
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    run = subprocess.Popen(
        [sys.executable, "-m", "ownhand", *args],
        env=env, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    time.sleep(seconds)
    alive = run.poll() is None
    if alive:
        os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    return alive


def seconds_of(*args: str) -> float:
    """Return how long a command takes; run twice, because the first run compiles what later ones find ready."""
    for _ in range(2):
        begin = time.monotonic()
        run_whole(*args)
    return time.monotonic() - begin


def run_whole(*args: str) -> None:
    subprocess.run(
        [sys.executable, "-m", "ownhand", *args],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, check=True, capture_output=True,
    )  # fmt: skip


def state(hand: Path) -> dict[str, str]:
    return {a.id: a.status for c in load_captures(open_hand(hand)) for a in c.attempts}


def test_reading_killed_at_any_moment_leaves_a_whole_hand(tmp_path, scan):
    takes = seconds_of("read", str(tmp_path / "whole"), str(scan))
    expected = state(tmp_path / "whole")
    moments = random.Random(11)
    caught = 0
    for number in range(KILLS):
        hand = tmp_path / f"hand-{number}"
        if kill_after(moments.uniform(0.3, 1.0) * takes, "read", str(hand), str(scan)):
            caught += 1
        else:
            takes *= 0.7
        if hand.exists() and (hand / "hand.json").exists():
            load_sheets(open_hand(hand))
            assert state(hand) in ({}, expected)

        assert main(["read", str(hand), str(scan)]) == 0

        assert state(hand) == expected
    assert caught > 0


def test_reading_again_killed_at_any_moment_loses_nothing(tmp_path, scan):
    hand = tmp_path / "hand"
    assert main(["read", str(hand), str(scan)]) == 0
    expected = state(hand)
    key = next(iter(expected))
    save_decisions(hand / "decisions.json", Decisions(attempts={key: Decision(verdict=KEPT)}))
    moments = random.Random(12)
    takes = seconds_of("read", str(hand), str(scan))
    for _ in range(KILLS):
        kill_after(moments.uniform(0.3, 1.0) * takes, "read", str(hand), str(scan))

        assert state(hand) == expected
        assert load_decisions(hand / "decisions.json").attempts[key].verdict == KEPT
        for capture in load_captures(open_hand(hand)):
            folder = hand / "captures" / capture.sheet
            assert all((folder / picture.file).exists() for picture in capture.ink.values())


def test_building_killed_at_any_moment_is_made_good_by_the_next(tmp_path, scan):
    hand = tmp_path / "hand"
    assert main(["read", str(hand), str(scan)]) == 0
    before = {p: p.read_bytes() for p in hand.rglob("*.json")}
    moments = random.Random(13)
    takes = seconds_of("build", str(hand))
    expected = {c: len(v) for c, v in load_ufo(open_hand(hand).ufo).glyphs.items()}
    for _ in range(KILLS):
        kill_after(moments.uniform(0.3, 1.0) * takes, "build", str(hand))

        ufo = open_hand(hand).ufo
        if ufo.exists():
            assert {c: len(v) for c, v in load_ufo(ufo).glyphs.items()} == expected
        for svg in (hand / "font").glob("*.svg"):
            assert svg.read_text(encoding="utf-8").rstrip().endswith("</svg>")
    build(hand)

    assert {c: len(v) for c, v in load_ufo(open_hand(hand).ufo).glyphs.items()} == expected
    assert {p: p.read_bytes() for p in before} == before
    assert all(json.loads(p.read_text()) for p in before)
