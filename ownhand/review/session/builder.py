"""The font built beside the server, in a process of its own: the page answers while letters are fitted."""

from __future__ import annotations

import atexit
import contextlib
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from capture.errors import OwnhandError
from fontbuild.build import BuildResult, build_font
from fontbuild.font import Record
from fontbuild.letterwise import in_turn
from fontbuild.text_spacing_statistics import CopiedWord
from fontbuild.usable_attempts import BuildingRules
from ownhand.hands.kept_letters import KeptLetters
from ownhand.subprocesses import own_command, own_environment
from skeleton.attempt import Attempt


class BuildFailedError(RuntimeError):
    """The builder stopped in a way that is nobody's fault but the program's."""


@dataclass(frozen=True, eq=False)
class Order:
    """What a font is built of."""

    attempts: Sequence[Attempt]
    record: Record
    rules: BuildingRules
    rhythm: Mapping[str, float] = field(default_factory=dict)
    """Habits of running text, as `fontbuild.metrics` names them."""

    copied: Sequence[CopiedWord] = ()
    """Words of the copied lines."""

    kept: Path | None = None
    """Where the work on letters of an earlier build lies, see `ownhand.hands.kept_letters`; it is only read."""


def work() -> None:
    """Build what is asked for on standard input until nobody asks any more; answers go to standard output."""
    # Ctrl-C is for the server; this process ends when its input does.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(OSError, AttributeError):
        os.nice(5)
    jobs, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    found: dict[Path | None, KeptLetters] = {}
    while True:
        try:
            order: Order = pickle.load(jobs)
        except EOFError:
            return
        if order.kept not in found:
            found[order.kept] = KeptLetters(in_turn, order.kept)
        letterwise = found[order.kept]
        answer: tuple[str, Any]
        try:
            font = build_font(
                order.attempts,
                order.record,
                decisions=order.rules,
                rhythm=order.rhythm,
                copied=order.copied,
                letterwise=letterwise,
            )
            answer = ("built", font)
            letterwise.forget_unused()
        except OwnhandError as error:
            answer = ("refused", (type(error), error.where, error.what, error.remedy))
        except Exception as error:
            answer = ("failed", f"{type(error).__name__}: {error}")
        try:
            pickle.dump(answer, answers)
            answers.flush()
        except BrokenPipeError:
            os._exit(0)


class Builder:
    """The one process that builds for all pages of this program; started when it is first needed."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        atexit.register(self.stop)

    def build(self, order: Order) -> BuildResult:
        """Return what `fontbuild.build.build_font` makes of an order.

        Raises
        ------
        InputError
            If no attempt can be used.
        BuildFailedError
            If the builder itself went wrong, or was ended.
        """
        with self._lock:
            jobs, answers = self._connected()
            try:
                pickle.dump(order, jobs)
                jobs.flush()
                # Only our own process is at the other end of this pipe.
                kind, what = pickle.load(answers)
            except (EOFError, OSError, pickle.UnpicklingError) as error:
                self.stop()
                raise BuildFailedError("the process that builds the font was ended") from error
        if kind == "refused":
            refusal, *parts = what
            raise refusal(*parts)
        if kind == "failed":
            raise BuildFailedError(what)
        done: BuildResult = what
        return done

    def _connected(self) -> tuple[IO[bytes], IO[bytes]]:
        if self._process is None or self._process.poll() is not None:
            self.stop()
            # Not forked: the server has threads, and a copy of their locks would never open.
            self._process = subprocess.Popen(
                own_command("ownhand.review.session.builder:work"),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env=own_environment(),
            )
        process = self._process
        assert process.stdin is not None and process.stdout is not None
        return process.stdin, process.stdout

    def stop(self) -> None:
        """End the process, if there is one."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            for stream in (process.stdin, process.stdout):
                with contextlib.suppress(OSError):
                    if stream is not None:
                        stream.close()
            process.wait(timeout=10)


BUILDER = Builder()
