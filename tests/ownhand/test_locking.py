"""Two commands that write into the same hand: the second is told so, and nothing is left locked."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from PIL import Image

from capture.errors import OutputError
from ownhand.cli.main import main
from ownhand.commands.build import build
from ownhand.hands.captures import load_captures
from ownhand.hands.decisions import KEPT, Decision, Decisions
from ownhand.hands.decisions_file import load_decisions, save_decisions
from ownhand.hands.hand import HandRecord, create_hand, open_hand
from ownhand.hands.locking import locked
from tests.capture.simulated import plain_picture

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def scan(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("scan") / "page.png"
    Image.fromarray(plain_picture().scan.pixels).save(path, dpi=(200, 200))
    return path


@pytest.fixture
def hand(tmp_path) -> Path:
    return create_hand(tmp_path / "hand", HandRecord("Keeper", "k", "own", "cards")).path


@pytest.mark.parametrize("verb", ["sheet", "read", "build", "record"])
def test_a_second_command_is_refused_in_one_line_and_changes_nothing(hand, scan, capsys, verb):
    words = {
        "sheet": ["sheet", str(hand), "-c", "a"],
        "read": ["read", str(hand), str(scan), "--adopt"],
        "build": ["build", str(hand)],
        "record": ["record", str(hand), "--use", "letters"],
    }
    before = {p: p.read_bytes() for p in hand.rglob("*") if p.is_file()}

    with locked(hand):
        assert main(words[verb]) == 4

    said = capsys.readouterr().err.strip().splitlines()[-1]
    assert "another ownhand command is writing into this hand" in said and str(hand) in said
    assert {p: p.read_bytes() for p in hand.rglob("*") if p.is_file()} == before | {hand / ".held": b""}


def test_a_hand_that_does_not_exist_yet_is_held_as_well_and_leaves_nothing(tmp_path):
    with locked(tmp_path / "new"):
        with pytest.raises(OutputError, match="another ownhand command"), locked(tmp_path / "new"):
            pass
        assert (tmp_path / "new").is_dir()

    assert not (tmp_path / "new").exists()


def test_a_thread_of_the_same_program_is_kept_out_too(hand):
    caught = []

    def second() -> None:
        try:
            with locked(hand):
                pass
        except OutputError as error:
            caught.append(error)

    with locked(hand):
        thread = threading.Thread(target=second)
        thread.start()
        thread.join()

    assert len(caught) == 1
    with locked(hand):
        pass


def test_decisions_are_kept_while_a_hand_is_held(hand):
    with locked(hand):
        save_decisions(hand / "decisions.json", Decisions(attempts={"s/1/1.1": Decision(verdict=KEPT)}))

    assert load_decisions(hand / "decisions.json").attempts["s/1/1.1"].verdict == KEPT


def test_of_two_that_read_into_one_hand_one_is_refused_and_the_hand_is_whole(tmp_path, scan):
    hand = tmp_path / "hand"
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "ownhand", "read", str(hand), str(scan)]
    runs = [
        subprocess.Popen(command, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    said = [run.communicate()[1] for run in runs]
    codes = sorted(run.returncode for run in runs)

    assert codes in ([0, 4], [0, 0])  # both, one after the other, where the second began very late
    if 4 in codes:
        assert "another ownhand command" in next(s for s, run in zip(said, runs, strict=True) if run.returncode == 4)
    assert len(load_captures(open_hand(hand))) == 1
    build(hand)


def test_a_run_that_is_killed_leaves_neither_a_lock_nor_workers(tmp_path, scan):
    hand = tmp_path / "hand"
    run = subprocess.Popen(
        [sys.executable, "-m", "ownhand", "read", str(hand), str(scan)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    until = time.monotonic() + 60
    while not workers_of(run.pid) and run.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
    started = workers_of(run.pid)
    os.kill(run.pid, signal.SIGKILL)  # the command alone, as a system short of memory would
    run.wait()
    while any(alive(pid) for pid in started) and time.monotonic() < until:
        time.sleep(0.05)

    assert started and not any(alive(pid) for pid in started)
    assert main(["read", str(hand), str(scan)]) == 0


def workers_of(pid: int) -> list[int]:
    try:
        return [int(p) for p in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
