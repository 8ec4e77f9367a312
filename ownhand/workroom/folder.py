"""The folder with all hands: which there are, and a new one in it."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from capture.errors import OutputError, UsageError
from ownhand.composer.merge.run_plan import safe_name
from ownhand.hands.freshness import changed_since
from ownhand.hands.hand import HANDEDNESS, Hand, open_hand, open_or_create
from ownhand.hands.locking import locked
from ownhand.validation import Place, raise_faults

_PLAIN = re.compile(r"[A-Za-z0-9_-]{1,60}")

STALE = {
    "captures": "Pages were read since the font was built.",
    "decisions": "Letters were mended or set aside since the font was built.",
    "record": "Whose hand it is was changed since the font was built.",
}
"""By what `hands.freshness` found to be newer than the font."""

LONGEST = 300
"""Characters of a field of a hand's record."""


@dataclass(frozen=True)
class Folder:
    """A folder, and the hands in it."""

    root: Path

    def hands(self) -> dict[str, Path]:
        """Return the hands' folders by what stands for them in an address, by name."""
        try:
            found = sorted(p for p in self.root.iterdir() if (p / "hand.json").is_file())
        except OSError:
            return {}
        return {address_of(p): p for p in found}

    def begin(self, place: Place) -> Hand:
        """Return a new hand, begun as `place` says: `family`, `writer`, `consent`, `use`, `handedness`.

        Raises
        ------
        UsageError
            If something is not said that must be, or the name gives no folder.
        OutputError
            If a folder of that name is there already.
        """
        record = record_from(place)
        raise_faults(place.faults)
        if not record.get("family"):
            raise UsageError("the hand's name", "is not given", "Give one: the font will bear it.")
        if not record.get("consent"):
            raise UsageError(
                "consent", "is not given", "Say how the hand's owner agreed: 'my own hand', or when and how."
            )
        name = safe_name(str(record["family"]).lower())
        if not name:
            raise UsageError("the hand's name", "has no letter or figure in it", "Choose another.")
        path = self.root / name
        if path.exists():
            raise OutputError(name, "is there already", "Choose another name for the hand.")
        with locked(path):
            if (path / "hand.json").exists():  # another page was as quick
                raise OutputError(name, "is there already", "Choose another name for the hand.")
            return open_or_create(path, **{"year": date.today().year, **record})


def address_of(path: Path) -> str:
    """Return what stands for a hand in an address: its folder's name where that is plain, else a digest of it."""
    name = path.name
    return (
        name if _PLAIN.fullmatch(name) else f"hand-{hashlib.sha256(name.encode('utf-8', 'replace')).hexdigest()[:12]}"
    )


def record_from(place: Place) -> dict[str, Any]:
    """Return what a request says of a hand's owner; only what it says."""
    out: dict[str, Any] = {}
    for name in ("family", "writer", "consent", "use"):
        if place.of(name).present:
            out[name] = " ".join(place.of(name).text("", LONGEST).split())
    if place.of("handedness").present:
        out["handedness"] = place.of("handedness").choice(HANDEDNESS[0], HANDEDNESS)
    if place.of("year").present:
        out["year"] = place.of("year").whole(0, 9999)
    return out


def hands_view(folder: Folder) -> dict[str, Any]:
    """Return the hands with how far each is: sheets printed, pages read, the font."""
    return {"folder": str(folder.root), "hands": [_hand_view(key, path) for key, path in folder.hands().items()]}


def _hand_view(key: str, path: Path) -> dict[str, Any]:
    try:
        hand = open_hand(path)
    except Exception as error:
        return {"id": key, "family": path.name, "broken": str(error)}
    return {"id": key, **progress_view(hand)}


def progress_view(hand: Hand) -> dict[str, Any]:
    """Return whose hand it is and how far the work on it is."""
    record = hand.record
    pages = len(list(hand.captures_folder.glob("*/page-*.json")))
    built = hand.ufo.is_dir()
    stale = [{"kind": key, "words": STALE[key]} for key in changed_since(hand)] if built else []
    if pages and not built:
        stale = [{"kind": "not built", "words": "The font was not built yet."}]
    return {
        "family": record.family,
        "writer": record.writer,
        "consent": record.consent,
        "use": record.use,
        "year": record.year,
        "handedness": record.handedness,
        "folder": str(hand.path),
        "sheets": len(list(hand.sheets_folder.glob("*/sheet.json"))),
        "pages_read": pages,
        "built": built,
        "stale": stale,
    }
