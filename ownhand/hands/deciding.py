"""Several pages, of several programs, that decide on one hand: each looks at what the others wrote before it writes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from capture.errors import OutputError
from ownhand.hands.hand import Hand

DECIDING = ".deciding.held"
"""Held for as long as one decision is written, while a command may hold the hand for minutes."""

WAIT_S = 30.0


@contextmanager
def one_writer(hand: Hand) -> Iterator[None]:
    """Keep other programs from writing decisions of the hand: look again, decide and write inside this.

    Raises
    ------
    OutputError
        If another one does not let go, or the folder cannot be written to.
    """
    lock = FileLock(hand.path / DECIDING)
    try:
        lock.acquire(timeout=WAIT_S, poll_interval=0.01)
    except Timeout:
        what = f"another program has been writing decisions for {WAIT_S:g} s"
        raise OutputError(str(hand.path), what, "Close it, then do this again.") from None
    except NotImplementedError:  # a file system without locks, some network drives: as good as it gets
        pass
    except OSError as error:
        why = f"cannot be written ({error.strerror})"
        raise OutputError(str(hand.path), why, "Choose a folder you may write to.") from None
    try:
        yield
    finally:
        lock.release()


def stamp_of(file: Path) -> tuple[int, int, int]:
    """Return what tells a file from the one that takes its place; times alone are too coarse for that."""
    try:
        found = file.stat()
    except OSError:
        return 0, 0, 0
    return found.st_mtime_ns, found.st_size, found.st_ino
