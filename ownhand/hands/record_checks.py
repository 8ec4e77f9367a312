"""What may stand in a hand's record: the family is a file's name, all of it is shown and goes into fonts."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from capture.errors import UsageError
from capture.limits import MOST_NAME, MOST_NAME_BYTES, is_plain

MOST_SAID = 1000
"""Characters of what a record says of the writer, the consent, the use."""


def is_family(name: str) -> bool:
    """Return whether a font can be called so, and its files."""
    return (
        bool(name.strip())
        and is_plain(name, MOST_NAME)
        and len(name.encode()) <= MOST_NAME_BYTES
        and not any(c in name for c in "/\\")
        and not name.startswith(".")
    )


def check_record(changes: Mapping[str, Any]) -> None:
    """Refuse `changes` of a record that `open_hand` would not read again.

    Raises
    ------
    UsageError
        If an entry cannot be kept.
    """
    if "family" in changes and not is_family(changes["family"]):
        raise UsageError("--family", f"'{changes['family']}' cannot be a file's name", "Use letters and spaces.")
    for name, value in changes.items():
        if isinstance(value, str) and not is_plain(value, MOST_SAID):
            what = f"is longer than {MOST_SAID} characters, or holds control characters"
            raise UsageError(f"--{name}", what, "Say it in a line.")


def family_of(folder: Path) -> str:
    """Return the name of a hand's folder as a family's, as far as it can be one."""
    name = "".join(c for c in folder.resolve().name if c not in "/\\" and is_plain(c, 1)).lstrip(".").strip()
    while len(name) > MOST_NAME or len(name.encode()) > MOST_NAME_BYTES:
        name = name[:-1]
    return name or "Hand"
