"""Work on letters that is done again only where a letter, or the program, has changed since the font was last built."""

from __future__ import annotations

import dataclasses
import hashlib
import pickle
from collections.abc import Callable, Iterable, Iterator
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from capture.errors import OutputError
from capture.files import write_bytes
from capture.user_cache import sealed, unsealed
from fontbuild.letterwise import Letterwise

FILE = "letters.kept"
"""Its name, beside the font."""

_HASHED = (".py", ".json", ".npz", ".npy", ".txt", ".csv", ".toml")
_ROOMS = ("capture", "skeleton", "fontbuild")


class KeptLetters:
    """A `fontbuild.letterwise.Letterwise` that finds again what it made of the same attempts.

    This is most of the work of a build, and a mend changes one character: the next build takes a moment.

    What earlier programs made lies in one file, sealed (`capture.user_cache`): a file that came with a hand from
    elsewhere is not believed, and all is done anew, as it is where no seal can be made.

    Parameters
    ----------
    beneath
        How work is done that was not done before.
    file
        Where it lies; None where all is to be done at least once.
    """

    def __init__(self, beneath: Letterwise, file: Path | None = None) -> None:
        self._beneath, self._file = beneath, file
        self._kept = {} if file is None else _loaded(file)
        self._made: dict[bytes, bytes] = {}
        self._used: dict[bytes, bytes] = {}

    def __call__(self, function: Callable[..., Any], jobs: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Return what the function makes of each job, in their order."""
        listed = list(jobs)
        keys = [digest((function, *job)) for job in listed]
        known = {key: found for key in keys if (found := self._kept.get(key) or self._made.get(key))}
        fresh = iter(self._beneath(function, [job for key, job in zip(keys, listed, strict=True) if key not in known]))

        def results() -> Iterator[Any]:
            for key in keys:
                if key in known:
                    self._used[key] = known[key]
                    yield pickle.loads(known[key])
                else:
                    result = next(fresh)
                    self._made[key] = self._used[key] = pickle.dumps(result)
                    yield result

        return results()

    def forget_unused(self) -> None:
        """Forget what the last build made no use of, except for what the file holds: for a process that builds on."""
        self._made, self._used = self._used, {}

    def save(self) -> None:
        """Keep what this build used; where that cannot be done nothing is lost but time."""
        if self._file is None or self._used.keys() == self._kept.keys():
            return
        data = sealed(pickle.dumps(self._used))
        if data is not None:
            try:
                write_bytes(self._file, data)
            except OutputError:
                return
            self._kept = dict(self._used)


def _loaded(file: Path) -> dict[bytes, bytes]:
    try:
        data = unsealed(file.read_bytes())
    except OSError:
        return {}
    # only what this user's own programs sealed is unpickled
    return {} if data is None else dict(pickle.loads(data))


def digest(value: object) -> bytes:
    """Return a digest of a function with its arguments, and of the code and the tables that it may use.

    Raises
    ------
    TypeError
        If something is not made of numbers, texts, arrays, functions and dataclasses.
    """
    into = hashlib.sha256(_of_program())
    _feed(value, into)
    return into.digest()


def _feed(value: Any, into: Any) -> None:
    if isinstance(value, np.ndarray) and not value.dtype.hasobject:
        into.update(f"array {value.dtype.str} {value.shape} ".encode())
        into.update(np.ascontiguousarray(value).tobytes())
    elif value is None or isinstance(value, bool | int | float | str | bytes):
        told = repr(value).encode()
        into.update(f"{type(value).__name__} {len(told)} ".encode() + told)
    elif isinstance(value, list | tuple):
        into.update(f"{type(value).__name__} {len(value)} ".encode())
        for part in value:
            _feed(part, into)
    elif isinstance(value, set | frozenset):
        _feed(sorted(value), into)
    elif isinstance(value, dict):
        _feed(list(value.items()), into)
    elif isinstance(value, partial):
        _feed(["partial", value.func, value.args, sorted(value.keywords.items())], into)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        _feed([type(value).__qualname__, *(getattr(value, f.name) for f in dataclasses.fields(value))], into)
    elif callable(value) and hasattr(value, "__qualname__"):
        _feed(["function", value.__module__, value.__qualname__], into)
    else:
        raise TypeError(f"no digest of {type(value).__name__}")


@cache
def _of_program() -> bytes:
    """Return a digest of all that letters are made with: an edited program finds nothing of what was kept."""
    into = hashlib.sha256("\n".join(f"{name} {version(name)}" for name in ("numpy", "scipy")).encode())
    home = Path(__file__).resolve().parents[2]
    for room in _ROOMS:
        for file in sorted((home / room).rglob("*")):
            if file.suffix in _HASHED and file.is_file():
                into.update(f"{file.relative_to(home)} ".encode() + hashlib.sha256(file.read_bytes()).digest())
    return into.digest()
