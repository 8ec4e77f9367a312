"""All loops compiled before they are needed: once, two side by side, and found again by every process.

`prepare` loads what is kept of the loops that `loop_versions` lists, and has the rest compiled. What the list lacks is
compiled when it is called.

    python -m skeleton.precompile --into FOLDER    compiles all loops into a folder (for a wheel)
"""

from __future__ import annotations

import atexit
import os
import shutil
import sys
import tempfile
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

from capture.user_cache import FOLDER_VARIABLE
from skeleton.geometry import jit, loop_store
from skeleton.loop_compilers import SIDE_BY_SIDE, Progress, compile_side_by_side, serve
from skeleton.loop_versions import Version, kept_name, make_ready, versions


@dataclass(frozen=True)
class Prepared:
    """What `prepare` did."""

    compiled: int
    """Versions of loops that had to be compiled."""

    unkept: str = ""
    """Why they could not be kept for the next time; empty if they were."""


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
        compile_side_by_side(missing, tell, processes or min(os.cpu_count() or 1, SIDE_BY_SIDE))
        loop_store.prune()
        missing_here = []
    else:
        missing_here = missing
    for done, version in enumerate(missing_here):
        tell("compile", done, len(missing_here))
        make_ready(version)
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
    missing = [v for v in wanted if loop_store.find(kept_name(v)) is None]
    if all(jit.LOOPS[v.loop].targetoptions.get("no_cpython_wrapper") for v in missing):
        return []  # those that only loops call are within those that Python calls; a wheel holds only the latter
    return missing


def _load(wanted: list[Version]) -> None:
    """Make ready what Python calls."""
    for version in wanted:
        if not jit.LOOPS[version.loop].targetoptions.get("no_cpython_wrapper"):
            make_ready(version)


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
            kept = loop_store.find(kept_name(version))
            if kept is None or jit.LOOPS[version.loop].targetoptions.get("no_cpython_wrapper"):
                continue
            target = folder / kept.parent.name / kept.name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(kept.read_bytes())
            count += 1
    return count


if __name__ == "__main__":
    if sys.argv[1:2] == ["--serve"]:
        serve(Path(sys.argv[2]))
    elif sys.argv[1:2] == ["--into"]:
        # under its own name, so that there is one of it
        sys.exit(0 if import_module("skeleton.precompile").compile_into(Path(sys.argv[2])) else 1)
