"""Whether a hand's font is still that of what was read, decided and agreed.

`build` leaves a digest of what it built from beside the font; whoever uses the font compares it. Digests, not dates:
a hand that was copied to another machine is as fresh as it was.
"""

from __future__ import annotations

import hashlib
import json
import shlex
from pathlib import Path

from capture.files import write_json
from ownhand.hands.hand import Hand, open_hand
from ownhand.validation import FaultsError, read_json

BUILT = "built.json"
FORMAT = 1
CHANGED = {
    "captures": "more was read since",
    "decisions": "letters were mended or set aside in review since",
    "record": "the hand's record (name, writer, consent, use) was changed since",
}


def sources_of(hand: Hand) -> dict[str, str]:
    """Return a digest of each thing that a font is made of."""
    captures = hashlib.sha256()
    for file in sorted(hand.captures_folder.glob("*/page-*.json")):
        captures.update(f"{file.parent.name}/{file.name}".encode())
        captures.update(file.read_bytes())
    return {
        "captures": captures.hexdigest()[:32],
        "decisions": _decided(hand.decisions_file),
        "record": hashlib.sha256(repr(hand.record).encode()).hexdigest()[:32],
    }


def _decided(file: Path) -> str:
    """Return a digest of what was decided on attempts; the same for nothing decided and all of it undone."""
    try:
        attempts = (read_json(file).get("attempts") or {}) if file.exists() else {}
    except (FaultsError, AttributeError):
        attempts = {"unreadable": True}
    return hashlib.sha256(json.dumps(attempts, sort_keys=True).encode()).hexdigest()[:32]


def note_built(hand: Hand) -> None:
    """Write down what the font was built from."""
    write_json(hand.font_folder / BUILT, {"format": FORMAT, **sources_of(hand)})


def staleness(path: Path) -> tuple[str, ...]:
    """Return what to tell about a font that is older than its hand, with the command that mends it; () if it is not.

    A path that is no hand folder (a UFO) is never stale.
    """
    if not (path / "hand.json").is_file():
        return ()
    told = [CHANGED[key] for key in changed_since(open_hand(path))]
    if not told:
        return ()
    return (f"The font is older than the hand: {'; '.join(told)}. Build it anew: {build_command(path)}",)


def changed_since(hand: Hand) -> tuple[str, ...]:
    """Return which of the things that a font is made of (keys of `CHANGED`) were changed since it was built."""
    try:
        built = read_json(hand.font_folder / BUILT)
        return tuple(key for key, digest in sources_of(hand).items() if built.get(key) != digest)
    except (FaultsError, OSError, AttributeError):
        return ()


def build_command(path: Path) -> str:
    """Return the command that builds a hand's font, for the shell."""
    return f"ownhand build {shlex.quote(str(path))}"
