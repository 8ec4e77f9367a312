"""Paths made from names that were read somewhere: inside their folder, or refused."""

from __future__ import annotations

from pathlib import Path

from capture.errors import InputError
from capture.limits import is_plain

LONGEST_PART = 255
"""Bytes of a file's name that common file systems take."""


def path_inside(folder: Path, *names: str, where: str = "") -> Path:
    """Return the path of `names` in `folder`.

    Every path that is made from anything read (a code on paper, sheet.json, captures, decisions, tables, fonts of
    others) is made here, and nowhere else.

    Parameters
    ----------
    folder
        May be reached by links; what lies in it may not lead out of it.
    names
        Names in it, one below the other; one may have slashes in it.
    where
        What the names were read from, for the message.

    Raises
    ------
    InputError
        If it would not lie in the folder, or cannot be a file's name.
    """
    name = "/".join(names)
    parts = name.split("/")
    plain = all(
        part not in ("", ".", "..")
        and is_plain(part, LONGEST_PART)
        and "\\" not in part
        and len(part.encode()) <= LONGEST_PART
        for part in parts
    )
    path = folder.joinpath(*parts) if plain else folder
    if not plain or not path.resolve().is_relative_to(folder.resolve()):
        shown = name if len(name) <= 80 else name[:79] + "…"
        raise InputError(
            where or str(folder), f"'{shown}' is not the name of a file inside {folder}", "Nothing was read or written."
        )
    return path
