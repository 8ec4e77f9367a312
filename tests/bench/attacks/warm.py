"""Commands run in children of one warm process: what is imported and compiled once need not be again for each kill.

A child does what the command does in a process of its own, its workers included, and ends with all of them.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import time
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib import import_module
from multiprocessing.connection import Connection
from pathlib import Path

WHOLE = 120.0
"""Seconds after which any command is ended."""

USED = (
    "ownhand.cli.main", "ownhand.commands.build", "ownhand.commands.read", "ownhand.composer.merge.mail_merge",
    "ownhand.review.session.review_session", "rich.progress", "rich.table", "ufo2ft", "ufoLib2",
)  # fmt: skip
"""What the commands import when they need it."""


class Warm:
    """Runs commands; see `warm`."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe

    def run(self, argv: Sequence[str], *, kill_after_s: float = WHOLE) -> tuple[bool, float]:
        """Run a command; return whether it was killed, and how long it ran."""
        self._pipe.send((list(argv), kill_after_s))
        killed, took = self._pipe.recv()
        return bool(killed), float(took)


@contextmanager
def warm() -> Iterator[Warm]:
    """Give a warm process, which ends after the block."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_wait_for_commands, args=(theirs, multiprocessing.get_start_method()))
    process.start()
    theirs.close()
    try:
        yield Warm(ours)
    finally:
        ours.close()
        process.join(10)
        process.kill()


def _wait_for_commands(orders: Connection, start_method: str) -> None:
    from skeleton.precompile import prepare

    # else what is spawned spawns its workers too, and a command spends most of its time on their imports
    multiprocessing.set_start_method(start_method, force=True)
    for module in USED:
        import_module(module)
    prepare()
    while True:
        try:
            argv, seconds = orders.recv()
        except EOFError:
            return
        begin = time.monotonic()
        child = os.fork()
        if not child:
            _be_command(argv)
        killed = not _ended_within(child, seconds)
        took = time.monotonic() - begin
        if killed:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
        orders.send((killed, took))


def _ended_within(child: int, seconds: float) -> bool:
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if os.waitpid(child, os.WNOHANG)[0]:
            return True
        time.sleep(0.002)
    return False


def _be_command(argv: Sequence[str]) -> None:
    """Be the command, in a session of its own, silent; never return."""
    code = 1
    try:
        os.setsid()
        silence = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(silence, stream)
        if argv[0] == "decide":
            decide(Path(argv[1]), Path(argv[2]))
        else:
            from ownhand.cli.main import main

            code = main(argv)
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        os._exit(code)


def decide(path: Path, answered: Path) -> None:
    """Take acts of review for as long as we live, and write down after each which version was answered."""
    from ownhand.hands.hand import open_hand
    from ownhand.review.session.review_session import ReviewSession
    from ownhand.validation import Place

    session = ReviewSession(open_hand(path))
    with answered.open("ab", buffering=0) as told:
        for n in range(1_000_000):
            for key in sorted(session.attempts):
                acts = Place([{"attempt": key, "do": "baseline", "mm": n % 40}], "mends", [])
                session.take(session.decisions.version, acts)
                told.write(session.decisions.version.to_bytes(8, "big"))
