"""What a page may ask for, checked, and made of it: an attempt and its decision in, the new decision out."""

from __future__ import annotations

import dataclasses
import unicodedata
from collections.abc import Callable

import numpy as np

from capture.limits import BASELINE_MM, BEARING_MM, MOST_POINTS, MOST_STROKES
from capture.units import Points
from ownhand.hands.decisions import KEPT, SET_ASIDE, Decision, seen
from ownhand.hands.decisions_file import refused
from ownhand.review.edits import operations
from ownhand.review.edits.operations import OperationError, Strokes
from ownhand.validation import FaultsError, Place, raise_faults
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke

Change = tuple[Decision, str]
"""The new decision, and the mend in words."""


def current(attempt: Attempt, decision: Decision) -> Strokes:
    """Return the attempt's strokes as they stand, in the cell's frame as read."""
    return attempt.strokes if decision.strokes is None else decision.strokes


def as_stored(strokes: Strokes) -> Strokes:
    """Return the strokes as the file will give them back, to the micrometre: what is shown is what is kept."""
    return tuple(Stroke(np.round(s.points_mm, 3), round(s.width_mm, 3), closed=s.closed) for s in strokes)


def with_strokes(attempt: Attempt, decision: Decision, strokes: Strokes, words: str) -> Decision:
    """Return `decision` with the strokes replaced; remembers what had been read when that happened first."""
    return dataclasses.replace(
        decision,
        strokes=as_stored(strokes),
        done=(*decision.done, words),
        seen_mm=decision.seen_mm if decision.strokes is not None else seen(attempt.strokes),
    )


def _number(place: Place, name: str) -> int:
    if not place.of(name).present:
        place.of(name).fault("is missing")
    return place.of(name).whole(0, MOST_STROKES - 1)


def _mm(place: Place, name: str) -> float:
    if not place.of(name).present:
        place.of(name).fault("is missing")
    return place.of(name).number(0.0, -BASELINE_MM, BASELINE_MM) or 0.0


def _pair(place: Place, name: str) -> Points:
    points = Place([place.of(name).value], place.of(name).path, place.faults).points(most=1)
    return np.zeros(2) if points is None else points[0]


def _turn(place: Place, strokes: Strokes) -> tuple[Strokes, str]:
    k = _number(place, "stroke")
    return operations.turn(strokes, k), f"stroke {k + 1} turned round"


def _place(place: Place, strokes: Strokes) -> tuple[Strokes, str]:
    k, to = _number(place, "stroke"), _number(place, "to")
    return operations.place(strokes, k, to), f"stroke {k + 1} written as number {to + 1}"


def _join(place: Place, strokes: Strokes) -> tuple[Strokes, str]:
    k, other = _number(place, "stroke"), _number(place, "other")
    return operations.join(strokes, k, other), f"strokes {k + 1} and {other + 1} joined"


def _split(place: Place, strokes: Strokes) -> tuple[Strokes, str]:
    k = _number(place, "stroke")
    return operations.split(strokes, k, _pair(place, "at")), f"stroke {k + 1} split"


def _delete(place: Place, strokes: Strokes) -> tuple[Strokes, str]:
    k = _number(place, "stroke")
    return operations.delete(strokes, k), f"stroke {k + 1} deleted"


def _move(place: Place, strokes: Strokes) -> tuple[Strokes, str]:
    k = _number(place, "stroke")
    return operations.move(strokes, k, _pair(place, "by")), f"stroke {k + 1} moved"


def _bend(place: Place, strokes: Strokes) -> tuple[Strokes, str]:
    k, point = _number(place, "stroke"), place.of("point").whole(0, MOST_POINTS - 1)
    return operations.bend(strokes, k, point, _pair(place, "to")), f"a point of stroke {k + 1} moved"


def _redraw(place: Place, strokes: Strokes) -> tuple[Strokes, str]:
    k = _number(place, "stroke") if place.of("stroke").present else None
    samples = place.of("samples").points(most=MOST_POINTS)
    if samples is None:
        return strokes, ""
    return operations.redraw(strokes, k, samples), "a stroke added" if k is None else f"stroke {k + 1} redrawn"


ON_STROKES: dict[str, Callable[[Place, Strokes], tuple[Strokes, str]]] = {
    "turn": _turn,
    "place": _place,
    "join": _join,
    "split": _split,
    "delete": _delete,
    "move": _move,
    "bend": _bend,
    "redraw": _redraw,
}


def _keep(place: Place, attempt: Attempt, decision: Decision) -> Change:
    return dataclasses.replace(decision, verdict=KEPT, reason=""), "kept"


def _set_aside(place: Place, attempt: Attempt, decision: Decision) -> Change:
    reason = place.of("reason").text("", 200).strip()
    return dataclasses.replace(decision, verdict=SET_ASIDE, reason=reason), "set aside"


def _undecide(place: Place, attempt: Attempt, decision: Decision) -> Change:
    return dataclasses.replace(decision, verdict="", reason=""), "neither kept nor set aside"


def _label(place: Place, attempt: Attempt, decision: Decision) -> Change:
    char = unicodedata.normalize("NFC", place.of("char").text(None, 16).strip())
    raise_faults(place.faults)
    if not char or sum(not unicodedata.combining(c) for c in char) > 1 or unicodedata.category(char[0])[0] == "C":
        raise OperationError("a label is one character, with its accents")
    return dataclasses.replace(decision, char="" if char == attempt.char else char), f"label corrected to {char}"


def _baseline(place: Place, attempt: Attempt, decision: Decision) -> Change:
    value = round(_mm(place, "mm"), 3)
    return dataclasses.replace(decision, baseline_mm=value), "baseline moved"


def _bearings(place: Place, attempt: Attempt, decision: Decision) -> Change:
    left = _bearing(place.of("left_mm"), decision.left_mm)
    right = _bearing(place.of("right_mm"), decision.right_mm)
    return dataclasses.replace(decision, left_mm=left, right_mm=right), "side bearings moved"


def _bearing(place: Place, now: float | None) -> float | None:
    if not place.present or place.value is None:
        return None if place.present else now
    return round(place.number(0.0, -BEARING_MM, BEARING_MM) or 0.0, 3)


def _as_read(place: Place, attempt: Attempt, decision: Decision) -> Change:
    new = dataclasses.replace(decision, strokes=None, seen_mm=(), done=(*decision.done, "strokes as they were read"))
    return new, "strokes as they were read"


ON_ATTEMPT: dict[str, Callable[[Place, Attempt, Decision], Change]] = {
    "keep": _keep,
    "set aside": _set_aside,
    "undecide": _undecide,
    "label": _label,
    "baseline": _baseline,
    "bearings": _bearings,
    "as read": _as_read,
}


def mend(place: Place, attempt: Attempt, decision: Decision) -> Change:
    """Return what the operation at `place` makes of `decision` on `attempt`, and the mend in words.

    `place` holds `do`, the operation's name, and what it needs: see `ON_STROKES` and `ON_ATTEMPT`.

    Raises
    ------
    FaultsError
        If the operation does not hold together; with a path to every fault.
    OperationError
        If it makes no sense on these strokes.
    """
    do = place.of("do").choice("", (*ON_STROKES, *ON_ATTEMPT))
    before = len(place.faults)
    if do in ON_STROKES:
        strokes, words = ON_STROKES[do](place, current(attempt, decision))
        new = with_strokes(attempt, decision, strokes, words)
    elif do in ON_ATTEMPT:
        new, words = ON_ATTEMPT[do](place, attempt, decision)
    else:
        new, words = decision, ""
        if not place.of("do").present:
            place.of("do").fault("is missing")
    if len(place.faults) > before or not words:
        raise FaultsError(place.faults)
    return new, words


def storable(decision: Decision) -> Decision:
    """Return `decision`, which its file's own reader will read again.

    Raises
    ------
    OperationError
        If it would not: a step too far is refused, not stored.
    """
    faults = refused(decision)
    if faults:
        raise OperationError(f"that would go beyond what is stored ({faults[0]})")
    return decision
