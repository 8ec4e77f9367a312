"""Characters that a hand lacks because the only words with them did not suit their ink."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence
from pathlib import Path

from ownhand.composer.text.characters import characters
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import Hand


def lost_characters(left_out: Iterable[str], hand: Hand) -> tuple[str, ...]:
    """Return the characters of words left out ('line 3: lamp') that the hand has nowhere else."""
    wanted = {char for word in left_out for char in characters(word.partition(": ")[2])}
    if not wanted:
        return ()
    had = {a.char for capture in load_captures(hand) for a in capture.attempts if a.strokes}
    return tuple(sorted(wanted - had))


def told_of_lost(lost: Sequence[str], folder: Path) -> str:
    """Return what to tell of them, with what to do."""
    command = f"ownhand sheet {shlex.quote(str(folder))} --characters {shlex.quote(''.join(lost))}"
    return f"Only in words left out, and missing in the hand: {' '.join(lost)}. Add them: {command}"
