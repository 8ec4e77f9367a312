"""Processes that compile loops side by side, and hand them on through `loop_store`.

A loop is compiled as soon as those it calls are.
"""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

from capture.collector import rarely_collected
from skeleton.geometry import jit, loop_store
from skeleton.loop_versions import Version, make_ready, versions

SIDE_BY_SIDE = 4
"""Most processes that compile: the longest chain of loops that call each other takes a third of one process's time."""

Progress = Callable[[str, int, int], None]


def _callees(loop: str) -> set[str]:
    """Return the loops that a loop calls; one that only shares the name of an attribute is taken for one as well."""
    function = jit.LOOPS[loop].py_func
    found = (function.__globals__.get(name) for name in function.__code__.co_names)
    return {
        f"{f.py_func.__module__}.{f.py_func.__qualname__}" for f in found if getattr(f, "py_func", None) is not None
    }


def compile_side_by_side(missing: list[Version], progress: Progress, processes: int) -> None:
    """Have loops compiled by processes of their own; what one of them fails at is left to be compiled when called."""
    waiting = list(missing)
    open_loops = {v.loop: sum(1 for m in missing if m.loop == v.loop) for v in missing}
    turn = threading.Condition()
    done = at_work = 0
    progress("compile", 0, len(missing))

    def next_one() -> Version | None:
        nonlocal at_work
        with turn:
            while waiting:
                for version in waiting:
                    # with nobody at work there is nobody to wait for
                    if not at_work or not any(open_loops.get(c) for c in _callees(version.loop) - {version.loop}):
                        waiting.remove(version)
                        at_work += 1
                        return version
                turn.wait()
            return None

    def feed() -> None:
        nonlocal done, at_work
        with _worker() as ask:
            while (version := next_one()) is not None:
                alive = ask(version)
                with turn:
                    open_loops[version.loop] -= 1
                    at_work -= 1
                    done += 1
                    turn.notify_all()
                if not alive:
                    return

    feeders = [threading.Thread(target=feed, daemon=True) for _ in range(min(processes, len(missing)))]
    for feeder in feeders:
        feeder.start()
    while any(f.is_alive() for f in feeders):
        feeders[0].join(0.2)
        for feeder in feeders[1:]:
            feeder.join(0.05)
        progress("compile", done, len(missing))


@contextlib.contextmanager
def _worker() -> Iterator[Callable[[Version], bool]]:
    """Start a process that compiles what it is asked to; asked, it tells whether it is still there to be asked more."""
    root = loop_store.destinations[-1] if loop_store.destinations else loop_store.user_folder()
    paths = [str(loop_store.SHIPPED.parent.parent), *(p for p in sys.path if p)]
    environment = os.environ | loop_store.compiling_environment() | {"PYTHONPATH": os.pathsep.join(paths)}
    command = [sys.executable, "-m", "skeleton.precompile", "--serve", str(root)]
    process = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment
    )
    assert process.stdin is not None and process.stdout is not None
    to, back = process.stdin, process.stdout

    def ask(version: Version) -> bool:
        try:
            to.write(json.dumps([version.loop, version.types]) + "\n")
            to.flush()
            return bool(back.readline())
        except OSError:
            return False

    try:
        yield ask
    finally:
        with contextlib.suppress(OSError):
            to.close()
        back.close()
        process.wait()


def serve(into: Path) -> None:
    """Compile what standard input asks for, a line each, and answer with a line."""
    loop_store.destinations.append(into)
    with rarely_collected():
        versions()
        for line in sys.stdin:
            try:
                make_ready(Version(*json.loads(line)))
                answer = "done"
            except Exception as error:  # told to who asked: compiled again when called, and then its fault shows
                answer = f"failed: {type(error).__name__}"
            sys.stdout.write(answer + "\n")
            sys.stdout.flush()
