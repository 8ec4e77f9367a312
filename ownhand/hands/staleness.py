"""What in a hand's folder is older than what it was made from."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from ownhand.hands.hand import Hand


@dataclass(frozen=True)
class Stale:
    """One thing that is not up to date."""

    kind: str
    """'not built', 'read since', 'decided since' or 'record changed'."""

    words: str
    """What to tell the person, one sentence."""

    remedy: str
    """The command that brings it up to date."""


def stale_font(hand: Hand) -> tuple[Stale, ...]:
    """Return why the hand's font is not what a build would make now; () where it is, or nothing was read yet.

    By the times of the files: what was read, decided or agreed after the font was written is not in it.
    """
    captures = sorted(hand.captures_folder.glob("*/page-*.json"))
    if not captures:
        return ()
    remedy = f"ownhand build {hand.path}"
    built = newest([hand.ufo / "metainfo.plist"])
    if not built:
        return (Stale("not built", "The font was not built yet.", remedy),)
    out = []
    if newest(captures) > built:
        out.append(Stale("read since", "Pages were read since the font was built.", remedy))
    if newest([hand.decisions_file]) > built:
        out.append(Stale("decided since", "Letters were mended since the font was built.", remedy))
    if newest([hand.path / "hand.json"]) > built:
        out.append(Stale("record changed", "Whose hand it is was changed since the font was built.", remedy))
    return tuple(out)


def newest(files: Iterable[Path]) -> int:
    """Return when the newest of the files was written, in ns; 0 where none is there."""
    times = [0]
    for file in files:
        with contextlib.suppress(OSError):
            times.append(file.stat().st_mtime_ns)
    return max(times)
