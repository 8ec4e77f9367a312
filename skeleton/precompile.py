"""All loops compiled before they are needed: once, two side by side, and found again by every process.

`compiled_loops.json` lists every loop with the argument types it is called with, callees first. `prepare` loads what
is kept, and has the rest compiled by processes of their own, which hand on through `loop_store`: a loop is compiled
as soon as those it calls are. What the list lacks is compiled when it is called; `record` writes the list anew.

    python -m skeleton.precompile --into FOLDER    compiles all loops into a folder (for a wheel)
    python -m tests.bench loops --write            writes the list anew, from reading characters of several kinds
"""

from __future__ import annotations

import atexit
import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from capture.collector import rarely_collected
from capture.user_cache import FOLDER_VARIABLE
from skeleton.geometry import jit, loop_store

LIST = Path(__file__).with_name("compiled_loops.json")

SIDE_BY_SIDE = 4
"""Most processes that compile: the longest chain of loops that call each other takes a third of one process's time."""

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Version:
    """A loop with the types of its arguments."""

    loop: str
    """Module and name."""

    types: Any
    """As `skeleton.loop_types.written`; None for a loop whose signature stands in the code."""


@dataclass(frozen=True)
class Prepared:
    """What `prepare` did."""

    compiled: int
    """Versions of loops that had to be compiled."""

    unkept: str = ""
    """Why they could not be kept for the next time; empty if they were."""


def versions() -> list[Version]:
    """Return the loops and argument types to compile, callees before their callers; those no longer there left out."""
    listed = [Version(loop, types) for loop, types in json.loads(LIST.read_text(encoding="utf-8"))]
    for module in sorted({v.loop.rpartition(".")[0] for v in listed}):
        with contextlib.suppress(ModuleNotFoundError):
            import_module(module)
    return [v for v in listed if v.loop in jit.LOOPS and (v.types is None) == hasattr(jit.LOOPS[v.loop], "signature")]


def _signature(version: Version) -> Any:
    from skeleton.loop_types import read

    dispatcher = jit.LOOPS[version.loop]
    return dispatcher.signature if version.types is None else tuple(read(t) for t in version.types)


def _file(version: Version) -> str:
    return str(jit.LOOPS[version.loop]._cache.file_name(_signature(version)))


def _make_ready(version: Version) -> None:
    """Load a version of a loop, or compile and keep it."""
    dispatcher = jit.LOOPS[version.loop]
    if version.types is not None:
        dispatcher.compile(_signature(version))
    elif "settle" in dispatcher.__dict__:
        dispatcher.settle()


def prepare(progress: Progress | None = None, *, processes: int = 0) -> Prepared:
    """Load all loops into this process, so that processes forked off it have them; compile first what is not kept.

    Parameters
    ----------
    progress
        Told how many are compiled.
    processes
        How many compile side by side; 0: one for each core, `SIDE_BY_SIDE` at most.
    """
    if not jit.LOOPS and os.environ.get("NUMBA_DISABLE_JIT", "0") != "0":
        return Prepared(0)
    wanted = versions()
    missing = _missing(wanted)
    tell = progress or (lambda *_: None)
    unkept = _cannot_keep() if missing else ""
    if missing and (not unkept or _keep_for_now()):
        _compile(missing, tell, processes or min(os.cpu_count() or 1, SIDE_BY_SIDE))
        loop_store.prune()
        missing_here = []
    else:
        missing_here = missing
    for done, version in enumerate(missing_here):
        tell("compile", done, len(missing_here))
        _make_ready(version)
    _load(wanted)
    return Prepared(len(missing), unkept)


def load_kept() -> bool:
    """Load all loops into this process if none has to be compiled, as `prepare` does; return whether they are loaded.

    To be called while other processes are at work, so that `prepare` has nothing left to do.
    """
    wanted = versions()
    if not wanted or _missing(wanted):
        return False
    _load(wanted)
    return True


def _missing(wanted: list[Version]) -> list[Version]:
    """Return the versions that no folder keeps."""
    missing = [v for v in wanted if loop_store.find(_file(v)) is None]
    if all(jit.LOOPS[v.loop].targetoptions.get("no_cpython_wrapper") for v in missing):
        return []  # those that only loops call are within those that Python calls; a wheel holds only the latter
    return missing


def _load(wanted: list[Version]) -> None:
    """Make ready what Python calls."""
    for version in wanted:
        if not jit.LOOPS[version.loop].targetoptions.get("no_cpython_wrapper"):
            _make_ready(version)


def _cannot_keep() -> str:
    """Return why compiled loops cannot be kept, empty if they can."""
    root = loop_store.destinations[-1] if loop_store.destinations else loop_store.user_folder()
    if root is None:
        return "there is no home folder"
    try:
        root.mkdir(mode=0o700, parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=root).close()
    except OSError as error:
        return f"{root} cannot be written ({error.strerror or type(error).__name__})"
    return ""


def _keep_for_now() -> bool:
    """Have loops handed on through a folder for this run alone; return whether there is a place for one at all."""
    try:
        folder = tempfile.mkdtemp(prefix="ownhand-loops-")
    except OSError:
        return False
    owner = os.getpid()
    # not by processes forked off this one
    atexit.register(lambda: shutil.rmtree(folder, ignore_errors=True) if os.getpid() == owner else None)
    os.environ[FOLDER_VARIABLE] = folder
    return True


def _callees(loop: str) -> set[str]:
    """Return the loops that a loop calls; one that only shares the name of an attribute is taken for one as well."""
    function = jit.LOOPS[loop].py_func
    found = (function.__globals__.get(name) for name in function.__code__.co_names)
    return {
        f"{f.py_func.__module__}.{f.py_func.__qualname__}" for f in found if getattr(f, "py_func", None) is not None
    }


def _compile(missing: list[Version], progress: Progress, processes: int) -> None:
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


def _serve(into: Path) -> None:
    """Compile what standard input asks for, a line each, and answer with a line."""
    loop_store.destinations.append(into)
    with rarely_collected():
        versions()
        for line in sys.stdin:
            try:
                _make_ready(Version(*json.loads(line)))
                answer = "done"
            except Exception as error:  # told to who asked: compiled again when called, and then its fault shows
                answer = f"failed: {type(error).__name__}"
            sys.stdout.write(answer + "\n")
            sys.stdout.flush()


def compile_into(folder: Path) -> int:
    """Compile all loops that Python calls into a folder, as a wheel holds them; return how many files it holds."""
    loop_store.aside.extend(f for f in [loop_store.user_folder()] if f is not None)
    with tempfile.TemporaryDirectory(prefix="ownhand-loops-") as beside:
        loop_store.destinations.append(Path(beside))
        prepare()
        loop_store.destinations.pop()
        loop_store.aside.append(Path(beside))
        count = 0
        for version in versions():
            kept = loop_store.find(_file(version))
            if kept is None or jit.LOOPS[version.loop].targetoptions.get("no_cpython_wrapper"):
                continue
            target = folder / kept.parent.name / kept.name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(kept.read_bytes())
            count += 1
    return count


def record(work: Callable[[], None]) -> list[Version]:
    """Return the versions of loops that some work calls, callees first; in a process that has compiled none yet."""
    from numba.core import event

    from skeleton.loop_types import written

    found: dict[str, Version] = {}

    class Listener(event.Listener):
        def on_start(self, told: Any) -> None:
            pass

        def on_end(self, told: Any) -> None:
            function = told.data["dispatcher"].py_func
            loop = f"{function.__module__}.{function.__qualname__}"
            if loop in jit.LOOPS:
                types = None if hasattr(jit.LOOPS[loop], "signature") else [written(t) for t in told.data["args"]]
                found.setdefault(json.dumps([loop, types]), Version(loop, types))

    with tempfile.TemporaryDirectory() as empty:
        loop_store.destinations.append(Path(empty))
        with event.install_listener("numba:compile", Listener()):
            work()
        loop_store.destinations.pop()
    return list(found.values())


def write_list(found: list[Version]) -> None:
    """Write `compiled_loops.json`, a version on a line."""
    lines = ",\n".join(json.dumps([v.loop, v.types]) for v in found)
    LIST.write_text(f"[\n{lines}\n]\n", encoding="utf-8")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--serve"]:
        # under its own name, so that there is one of it
        import_module("skeleton.precompile")._serve(Path(sys.argv[2]))
    elif sys.argv[1:2] == ["--into"]:
        sys.exit(0 if import_module("skeleton.precompile").compile_into(Path(sys.argv[2])) else 1)
