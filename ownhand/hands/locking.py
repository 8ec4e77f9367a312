"""One command at a time writes into a hand: a second one is told so at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from capture.errors import OutputError
from capture.files import HELD, check_folder, is_vacant, make_folder


@contextmanager
def locked(path: Path, *, what: str = "another ownhand command is writing into this hand") -> Iterator[None]:
    """Hold a folder, which need not exist yet, for writing; what stays empty is taken away again.

    The operating system keeps the lock (`flock` and its like), so it ends with the process that holds it, however that
    ends; the file `.held` tells nothing by being there.

    Raises
    ------
    OutputError
        If another process or thread holds it, or the folder cannot be written to.
    """
    from filelock import FileLock, Timeout  # here, because a hand is read far more often than written into

    check_folder(path)
    new = not path.exists()
    make_folder(path)
    lock = FileLock(path / HELD)
    try:
        lock.acquire(blocking=False)
    except Timeout:
        raise OutputError(str(path), what, "Let it finish, then run this again.") from None
    except NotImplementedError:  # a file system without locks, some network drives: as good as it gets
        pass
    except OSError as error:
        raise OutputError(
            str(path), f"cannot be written ({error.strerror})", "Choose a folder you may write to."
        ) from None
    try:
        yield
    finally:
        if new and is_vacant(path):
            with suppress(OSError):
                (path / HELD).unlink(missing_ok=True)
                path.rmdir()
        lock.release()
