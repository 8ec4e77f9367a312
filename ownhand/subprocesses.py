"""Processes of our own: started without the current folder on their path, so that nothing lying there is executed.

Workers end with the process that started them.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from capture.errors import OwnhandError

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor


def own_command(call: str) -> list[str]:
    """Return the command that runs a function of ours, 'package.module:function', in a process of its own.

    `-P` (Python 3.11) keeps the current folder off the path.
    """
    module, _, function = call.partition(":")
    return [sys.executable, "-P", "-c", f"from {module} import {function}; {function}()"]


def own_environment() -> dict[str, str]:
    """Return the environment for it: our own path, but for the current folder unless it is where our packages lie."""
    home = Path(__file__).resolve().parents[1]
    paths = [p for p in sys.path if p and Path(p).is_absolute() and Path(p).resolve() != Path.cwd().resolve()]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(dict.fromkeys([str(home), *paths])), "PYTHONSAFEPATH": "1"}


def end_with_parent() -> None:
    """Make a worker end when its parent is killed: it would wait for work for ever, and hold the hand.

    Ctrl-C reaches it too, and ends it at once, without a word and without beginning what waits for it: what is to be
    said the parent says, and files are whole or absent.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    signal.signal(signal.SIGINT, lambda *_: os._exit(130))

    def wait_and_end() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait_and_end, daemon=True).start()


@contextmanager
def processes(count: int = 0, begin: Callable[..., None] | None = None, *given: Any) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of processes that end with this one.

    Where it is left by a fault or Ctrl-C, what has not begun is not begun any more.

    Parameters
    ----------
    count
        0: one for each core.
    begin, given
        What each process calls first, and with what.

    Raises
    ------
    OwnhandError
        If one of them is killed while the pool is at work, mostly for want of memory.
    """
    # here, because most of what imports this starts none
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    pool = ProcessPoolExecutor(count or os.cpu_count() or 1, initializer=_begun, initargs=(begin, given))
    try:
        yield pool
    except BaseException as error:
        with _uninterrupted():
            pool.shutdown(cancel_futures=True)
        if isinstance(error, BrokenProcessPool):
            what = "a process of it was ended from outside, mostly for want of memory"
            remedy = "What was finished is kept. Close other programs, or take less at once, and do it again."
            raise OwnhandError("the work", what, remedy) from error
        raise
    with _uninterrupted():
        pool.shutdown()


def _begun(begin: Callable[..., None] | None, given: tuple[Any, ...]) -> None:
    end_with_parent()
    if begin is not None:
        begin(*given)


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """Let Ctrl-C wait.

    A thread that is interrupted while it waits for another takes that one for ended (CPython 3.11, `threading`). This
    process would then close the queue over which its workers are told to end, and wait for them for ever.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
