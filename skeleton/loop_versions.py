"""The list of compiled loops: each with the argument types it is called with, callees first.

`compiled_loops.json` holds it; `python -m tests.bench loops --write` writes it anew.
"""

from __future__ import annotations

import contextlib
import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from skeleton.geometry import jit, loop_store

LIST = Path(__file__).with_name("compiled_loops.json")


@dataclass(frozen=True)
class Version:
    """A loop with the types of its arguments."""

    loop: str
    """Module and name."""

    types: Any
    """As `skeleton.loop_types.written`; None for a loop whose signature stands in the code."""


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


def kept_name(version: Version) -> str:
    """Return the name under which a version is kept, as `loop_store.find` takes it."""
    return str(jit.LOOPS[version.loop]._cache.file_name(_signature(version)))


def make_ready(version: Version) -> None:
    """Load a version of a loop, or compile and keep it."""
    dispatcher = jit.LOOPS[version.loop]
    if version.types is not None:
        dispatcher.compile(_signature(version))
    elif "settle" in dispatcher.__dict__:
        dispatcher.settle()


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
