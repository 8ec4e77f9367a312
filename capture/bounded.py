"""Reading done by a process of its own, with an end to its memory and time: what it asks for costs nobody else.

Decoders of others meet files of others. 632 bytes of PDF can ask for a million pages or 11 GB; the process that meets
them is stopped by the system, and the file is refused.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

MEMORY_BYTES = 3 << 30
"""Beyond what the program has already; an A4 page in colour at 1200 dpi takes 0.42 GB, and decoding it twice that."""

SECONDS = 90.0
"""For one picture; an A4 page at 1200 dpi takes 3 s on a slow machine."""


class StoppedError(Exception):
    """The process was ended: by its limits, by the system, or by a fault in a decoder."""


def bounded(make: Callable[..., Iterator[Any]], *given: Any) -> Iterator[Any]:
    """Yield what `make(*given)` yields, made in a process of its own.

    Parameters
    ----------
    make
        A function of a module; what it yields, and raises, must travel between processes.

    Raises
    ------
    StoppedError
        If the process asked for more than its limits, or died.
    """
    # forked where that can be done: a new interpreter would take half a second for every page
    context: Any = multiprocessing.get_context("fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_work, args=(theirs, make, given), daemon=True)
    process.start()
    theirs.close()
    try:
        while True:
            if not ours.poll(SECONDS):
                raise StoppedError
            try:
                kind, what = pickle.loads(ours.recv_bytes())
            except (EOFError, OSError, MemoryError):
                raise StoppedError from None
            if kind == "end":
                return
            if kind == "error":
                raise what
            yield what
    finally:
        process.kill()
        process.join()
        ours.close()


def _work(answers: Connection, make: Callable[..., Iterator[Any]], given: tuple[Any, ...]) -> None:
    _limit()
    try:
        for item in make(*given):
            answers.send_bytes(pickle.dumps(("item", item), pickle.HIGHEST_PROTOCOL))
        answers.send_bytes(pickle.dumps(("end", None)))
    except MemoryError:
        return  # the pipe ends, which says it
    except BaseException as error:
        with suppress(Exception):
            answers.send_bytes(pickle.dumps(("error", error)))


def _limit() -> None:
    """Set the limits, where the system has any (POSIX setrlimit)."""
    if sys.platform == "win32":
        return
    import resource

    with suppress(OSError, ValueError):
        used = _address_space() or (4 << 30)
        resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY_BYTES, resource.RLIM_INFINITY))
    with suppress(OSError, ValueError):
        spent = resource.getrusage(resource.RUSAGE_SELF)
        seconds = int(spent.ru_utime + spent.ru_stime + SECONDS)
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 5))
    with suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _address_space() -> int:
    """Return the size of the program's address space in bytes, 0 where the system does not tell."""
    with suppress(OSError, ValueError):
        return int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    return 0
