"""Decisions written down: `HAND/decisions.json`.

| place                        | what it is                                                                    |
| ---------------------------- | ----------------------------------------------------------------------------- |
| `format`                     | number of this format: 1                                                      |
| `version`                    | counts the writes; a page that writes on an older one is checked first        |
| `step`                       | number of the last undoable step in effect, see `HAND/steps/`                 |
| `attempts.<attempt id>`      | what was decided on one attempt; all of the following may be left out         |
| `.changed`                   | the version of its last change                                                |
| `.verdict`, `.reason`        | `kept` or `set aside`, and why                                                |
| `.char`                      | the character it really is                                                    |
| `.strokes`                   | the mended strokes: `points_mm` (cell frame, y up), `width_mm`, `closed`      |
| `.baseline_mm`               | how far over the printed baseline this attempt stands                         |
| `.left_mm`, `.right_mm`      | side bearings: from the edge of the advance to the outermost point of a stroke |
| `.done`                      | the mends in words, oldest first                                              |
| `.seen_mm`                   | bounds (x0, y0, x1, y1) and length of what had been read when it was mended   |
| `characters.<character>`     | this hand's own way of writing it: `attempt` (its id), `x_height_mm`, `strokes` |
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from capture.errors import HandFolderError
from capture.files import write_text
from capture.limits import BASELINE_MM, BEARING_MM, MOST_CODE_POINTS, SIZE_MM, is_character
from ownhand import validation
from ownhand.hands.attempt_reading import strokes_from
from ownhand.hands.decisions import KEPT, SET_ASIDE, Decision, Decisions, KnownWay
from skeleton.geometry.stroke import Stroke

FORMAT = 1

MOST_WORDS = 200
"""Characters of a reason, or of a mend in words."""

MOST_DONE = 100_000
"""Mends of one attempt that are remembered in words."""

Item = TypeVar("Item")


def _stroke_to_json(stroke: Stroke) -> dict[str, Any]:
    data: dict[str, Any] = {"points_mm": np.round(stroke.points_mm, 3).tolist()}
    if stroke.width_mm:
        data["width_mm"] = round(stroke.width_mm, 3)
    return data | ({"closed": True} if stroke.closed else {})


def decision_to_json(decision: Decision) -> dict[str, Any]:
    """Return `decision` as plain JSON data, without what was not decided."""
    data: dict[str, Any] = {"changed": decision.changed}
    for name in ("verdict", "reason", "char", "baseline_mm"):
        if getattr(decision, name):
            data[name] = getattr(decision, name)
    for name in ("left_mm", "right_mm"):
        if getattr(decision, name) is not None:
            data[name] = getattr(decision, name)
    if decision.strokes is not None:
        data["strokes"] = [_stroke_to_json(s) for s in decision.strokes]
    for name in ("done", "seen_mm"):
        if getattr(decision, name):
            data[name] = list(getattr(decision, name))
    return data


def way_to_json(way: KnownWay) -> dict[str, Any]:
    """Return `way` as plain JSON data."""
    return {
        "changed": way.changed,
        "attempt": way.attempt,
        "x_height_mm": way.x_height_mm,
        "strokes": [_stroke_to_json(s) for s in way.strokes],
    }


def to_json(decisions: Decisions) -> dict[str, Any]:
    """Return `decisions` as plain JSON data; what could not be read stands in it as it was found."""
    attempts = {key: decision_to_json(d) for key, d in decisions.attempts.items()}
    characters = {char: way_to_json(w) for char, w in decisions.characters.items()}
    return {
        "format": FORMAT,
        "version": decisions.version,
        "step": decisions.step,
        "attempts": dict(sorted({**decisions.unread.get("attempts", {}), **attempts}.items())),
        "characters": dict(sorted({**decisions.unread.get("characters", {}), **characters}.items())),
    }


def decision_from(check: validation.Place) -> Decision:
    """Return the decision at a place in checked data."""
    char = check.of("char").text("", MOST_CODE_POINTS)
    if char and not is_character(char):
        check.of("char").fault("expected one character, composed (NFC), without control characters")
    return Decision(
        verdict=check.of("verdict").choice("", ("", KEPT, SET_ASIDE)),
        reason=check.of("reason").text("", MOST_WORDS),
        char=char,
        strokes=strokes_from(check.of("strokes")) if check.of("strokes").present else None,
        baseline_mm=check.of("baseline_mm").number(0.0, -BASELINE_MM, BASELINE_MM) or 0.0,
        left_mm=check.of("left_mm").number(None, -BEARING_MM, BEARING_MM),
        right_mm=check.of("right_mm").number(None, -BEARING_MM, BEARING_MM),
        done=tuple(item.text("", MOST_WORDS) for item in check.of("done").items(most=MOST_DONE)),
        seen_mm=tuple(item.number(0.0, -1e6, 1e6) or 0.0 for item in check.of("seen_mm").items(most=5)),
        changed=check.of("changed").whole(0),
    )


def way_from(check: validation.Place) -> KnownWay:
    """Return the known way at a place in checked data."""
    return KnownWay(
        attempt=check.of("attempt").text(None, 200),
        x_height_mm=check.of("x_height_mm").number(1.0, *SIZE_MM) or 1.0,
        strokes=strokes_from(check.of("strokes")),
        changed=check.of("changed").whole(0),
    )


def refused(item: Decision | KnownWay) -> tuple[str, ...]:
    """Return why this file's own reader would refuse it; nothing is stored that is not read again."""
    faults: list[str] = []
    if isinstance(item, Decision):
        decision_from(validation.Place(decision_to_json(item), "", faults))
    else:
        way_from(validation.Place(way_to_json(item), "", faults))
    return tuple(faults)


def from_json(data: Any) -> Decisions:
    """Return the decisions that `to_json` wrote; data: as JSON gives them.

    A decision with a fault is left out, kept as it stands in `unread`, and spoken of in `faults`: it costs itself,
    never the hand.

    Raises
    ------
    validation.FaultsError
        If the whole is not a file of decisions; with a path to every fault.
    """
    faults: list[str] = []
    root = validation.Place(data, "", faults)
    if root.of("format").whole(-1) != FORMAT:
        root.of("format").fault(f"expected {FORMAT}")
    version, step = root.of("version").whole(0), root.of("step").whole(0)
    said: list[str] = []
    attempts, bad_attempts = _each(root.of("attempts"), decision_from, said)
    ways, bad_ways = _each(root.of("characters"), way_from, said)
    validation.raise_faults(faults)
    unread = {name: bad for name, bad in (("attempts", bad_attempts), ("characters", bad_ways)) if bad}
    characters = {unicodedata.normalize("NFC", key): way for key, way in ways.items()}
    return Decisions(version, step, attempts, characters, unread, tuple(said))


def _each(
    place: validation.Place, read: Callable[[validation.Place], Item], said: list[str]
) -> tuple[dict[str, Item], dict[str, Any]]:
    """Return the entries that can be read and, as they stand, those that cannot; their faults go to `said`."""
    good: dict[str, Item] = {}
    bad: dict[str, Any] = {}
    for key, item in place.entries():
        own: list[str] = []
        made = read(validation.Place(item.value, item.path, own))
        if own:
            said += own[: validation.MOST_SHOWN]
            bad[key] = item.value
        else:
            good[key] = made
    return good, bad


def load_decisions(path: Path) -> Decisions:
    """Return the decisions kept in `path`; none are kept where there is no such file.

    Raises
    ------
    HandFolderError
        If the file is no file of decisions at all. One decision in it that cannot be read is left out: see `from_json`.
    """
    if not path.exists():
        return Decisions()
    remedy = "Mend it, or move it away to begin without decisions; nothing was changed."
    try:
        return from_json(validation.read_json(path))
    except validation.FaultsError as error:
        raise HandFolderError(str(path), str(error), remedy) from None


def save_decisions(path: Path, decisions: Decisions) -> Path:
    """Write `decisions` to `path`, atomically; a list of numbers stands on one line."""
    return write_text(path, readable(to_json(decisions)))


def told(path: Path, decisions: Decisions) -> list[str]:
    """Return what to tell of decisions that cannot be read; nothing where all can."""
    if not decisions.faults:
        return []
    count = sum(len(entries) for entries in decisions.unread.values())
    shown = "; ".join(decisions.faults[:3])
    return [f"{path}: {count} decision(s) cannot be read and count for nothing, the others do: {shown}"]


def readable(data: Any) -> str:
    """Return `data` as indented JSON in which a list of numbers, or of pairs of numbers, stands on one line."""
    text = json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    # A JSON string holds no raw newline, so these patterns never touch text.
    text = re.sub(r"\[\n([-+\d.eE,\s]+?)\n\s*\]", lambda m: "[" + ", ".join(m[1].replace(",", " ").split()) + "]", text)
    return re.sub(r"\[\n((?:\s*\[[^\]\n\"]*\],?\n)+)\s*\]", lambda m: "[" + " ".join(m[1].split()) + "]", text)
