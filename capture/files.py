"""Writing files so that nothing is ever half written or lost."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import time
from pathlib import Path
from typing import Any

from capture.errors import OutputError

SCRAP = ".part"
"""Ending of the names of files and folders that are still being written; they also begin with a dot."""

SCRAP_NAME = 40
"""Characters of a file's name that the name of its scrap holds."""

HELD = ".held"
"""Name of the file in a hand's folder by which it is locked."""


def _refused(path: Path, error: OSError) -> OutputError:
    reason = error.strerror or type(error).__name__
    return OutputError(str(path), f"cannot be written ({reason})", "Choose a place you may write to, with room on it.")


def make_folder(path: Path) -> Path:
    """Return `path`, made with its parents where it did not exist.

    Raises
    ------
    OutputError
        If it cannot be made or is a file.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _refused(path, error) from None
    return path


def write_bytes(path: Path, data: bytes) -> Path:
    """Write `data` beside `path` and rename it into place: readers see the old file or the new one, never a part.

    Raises
    ------
    OutputError
        If the place cannot be written to.
    """
    make_folder(path.parent)
    try:
        handle, scrap = new_scrap(path.parent, path.name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            scrap.replace(path)
        except BaseException:
            scrap.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise _refused(path, error) from None
    return path


def sweep(folder: Path, *, older_than_s: float = 600.0) -> None:
    """Remove what runs that were killed left half written in `folder` and below; nothing else bears such names."""
    for scrap in list(folder.rglob(f".*{SCRAP}")):
        with contextlib.suppress(OSError):
            if time.time() - scrap.stat().st_mtime > older_than_s:
                shutil.rmtree(scrap) if scrap.is_dir() else scrap.unlink()


def is_vacant(folder: Path) -> bool:
    """Return whether a folder holds nothing, scraps of killed runs left out; a file is none."""
    if not folder.is_dir():
        return False
    return all(p.name == HELD or (p.name.startswith(".") and p.name.endswith(SCRAP)) for p in folder.iterdir())


def new_scrap(folder: Path, name: str) -> tuple[int, Path]:
    """Return an open file to write what `name` is to become, and where it is; its permissions are those of new files.

    The system gives it these by the person's own setting (POSIX umask). To ask for that setting is to change it for a
    moment, in which another thread's files would be open to everybody; `tempfile` gives other permissions.
    """
    # a name as long as names may be leaves no room for more
    path = folder / f".{name[:SCRAP_NAME]}.{os.urandom(8).hex()}{SCRAP}"
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    return os.open(path, flags, 0o666), path


def write_text(path: Path, text: str) -> Path:
    """Write `text` as UTF-8; see `write_bytes`."""
    return write_bytes(path, text.encode("utf-8"))


def write_json(path: Path, data: Any) -> Path:
    """Write `data` as JSON, readable by people; see `write_bytes`."""
    return write_text(path, json.dumps(data, ensure_ascii=False, indent=1) + "\n")


def page_file(output: Path, number: int) -> Path:
    """Return the file of page, or of set, `number`: `output` itself for the first, then `<stem>-2` and so on.

    Examples
    --------
    >>> page_file(Path("card.svg"), 2).name
    'card-2.svg'
    """
    return output if number == 1 else output.with_name(f"{output.stem}-{number}{output.suffix}")


def check_writable(path: Path, *, force: bool) -> None:
    """Raise OutputError unless `path` may be written: it does not exist, or `force` says to replace it.

    Called before any work is done, so that nobody waits for a result that cannot be kept.
    """
    if path.is_dir():
        raise OutputError(str(path), "is a folder, a file was expected", "Give a file name.")
    if path.exists() and not force:
        raise OutputError(str(path), "exists already", "Choose another name, or add --force to replace it.")
    check_folder(path.absolute().parent)


def check_folder(path: Path) -> None:
    """Raise OutputError unless files can be made in the folder `path`, which need not exist yet."""
    there = path.absolute()
    while not there.exists() and there != there.parent:  # a drive that is not there has no parent
        there = there.parent
    if not there.exists():
        raise OutputError(str(path), f"cannot be written (there is no {there})", "Choose another folder.")
    if not there.is_dir():
        raise OutputError(str(path), f"cannot be written ({there} is a file)", "Choose another folder.")
    if not os.access(there, os.W_OK | os.X_OK):
        raise OutputError(str(path), "cannot be written (no permission)", "Choose a folder you may write to.")
