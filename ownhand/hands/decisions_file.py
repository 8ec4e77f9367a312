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
from pathlib import Path
from typing import Any

import numpy as np

from capture.errors import HandFolderError
from capture.files import write_text
from ownhand import validation
from ownhand.hands.decisions import KEPT, SET_ASIDE, Decision, Decisions, KnownWay
from skeleton.geometry.stroke import Stroke

FORMAT = 1


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
    """Return `decisions` as plain JSON data."""
    return {
        "format": FORMAT,
        "version": decisions.version,
        "step": decisions.step,
        "attempts": {key: decision_to_json(d) for key, d in sorted(decisions.attempts.items())},
        "characters": {char: way_to_json(w) for char, w in sorted(decisions.characters.items())},
    }


def _strokes(check: validation.Place) -> tuple[Stroke, ...]:
    strokes = []
    for item in check.items(most=64):
        points = item.of("points_mm").points(most=4000)
        if points is not None:
            closed = item.of("closed").truth()
            strokes.append(Stroke(points, item.of("width_mm").number(0.0, 0.0, 20.0) or 0.0, closed=closed))
    return tuple(strokes)


def decision_from(check: validation.Place) -> Decision:
    """Return the decision at a place in checked data."""
    char = check.of("char").text("", 16)
    if char != unicodedata.normalize("NFC", char):
        check.of("char").fault("expected composed characters (NFC)")
    return Decision(
        verdict=check.of("verdict").choice("", ("", KEPT, SET_ASIDE)),
        reason=check.of("reason").text("", 200),
        char=char,
        strokes=_strokes(check.of("strokes")) if check.of("strokes").present else None,
        baseline_mm=check.of("baseline_mm").number(0.0, -100.0, 100.0) or 0.0,
        left_mm=check.of("left_mm").number(None, -100.0, 100.0),
        right_mm=check.of("right_mm").number(None, -100.0, 100.0),
        done=tuple(item.text("", 200) for item in check.of("done").items(most=100_000)),
        seen_mm=tuple(item.number(0.0, -1e6, 1e6) or 0.0 for item in check.of("seen_mm").items(most=5)),
        changed=check.of("changed").whole(0),
    )


def way_from(check: validation.Place) -> KnownWay:
    """Return the known way at a place in checked data."""
    return KnownWay(
        attempt=check.of("attempt").text(None, 200),
        x_height_mm=check.of("x_height_mm").number(1.0, 0.01, 200.0) or 1.0,
        strokes=_strokes(check.of("strokes")),
        changed=check.of("changed").whole(0),
    )


def from_json(data: Any) -> Decisions:
    """Return the decisions that `to_json` wrote.

    Raises
    ------
    validation.FaultsError
        With a path to every fault: 'attempts.S1/1/2.3.strokes[0].points_mm: expected pairs of numbers'.
    """
    faults: list[str] = []
    root = validation.Place(data, "", faults)
    if root.of("format").whole(-1) != FORMAT:
        root.of("format").fault(f"expected {FORMAT}")
    decisions = Decisions(
        version=root.of("version").whole(0),
        step=root.of("step").whole(0),
        attempts={key: decision_from(item) for key, item in root.of("attempts").entries()},
        characters={unicodedata.normalize("NFC", key): way_from(item) for key, item in root.of("characters").entries()},
    )
    validation.raise_faults(faults)
    return decisions


def load_decisions(path: Path) -> Decisions:
    """Return the decisions kept in `path`; none are kept where there is no such file.

    Raises
    ------
    HandFolderError
        If the file cannot be read or does not hold together; it names every fault with its place.
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


def readable(data: Any) -> str:
    """Return `data` as indented JSON in which a list of numbers, or of pairs of numbers, stands on one line."""
    text = json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    # A JSON string holds no raw newline, so these patterns never touch text.
    text = re.sub(r"\[\n([-+\d.eE,\s]+?)\n\s*\]", lambda m: "[" + ", ".join(m[1].replace(",", " ").split()) + "]", text)
    return re.sub(r"\[\n((?:\s*\[[^\]\n\"]*\],?\n)+)\s*\]", lambda m: "[" + " ".join(m[1].split()) + "]", text)
