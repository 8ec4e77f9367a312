"""What is decided on one attempt taken over to others: mended alike, or remembered as the hand's own way."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Protocol

import numpy as np

from ownhand.hands.decisions import Decision, KnownWay
from ownhand.review.edits.edit_requests import as_stored, current
from ownhand.review.edits.propagate import Propagated, carry
from ownhand.review.session.base_letters import relatives
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke


class Letters(Protocol):
    """The session, as far as carrying over needs it."""

    attempts: dict[str, Attempt]

    def attempt(self, key: str) -> Attempt:
        """Return the attempt as it was read."""
        ...

    def decision(self, key: str) -> Decision:
        """Return what was decided on it."""
        ...

    def char(self, key: str) -> str:
        """Return the character it is."""
        ...


def carried(book: Letters, source: str, target: str) -> Propagated:
    """Return what the structure of attempt `source` makes of attempt `target`; strokes in its frame as read."""
    model = standing(book.attempt(source), book.decision(source))
    attempt, decision = book.attempt(target), book.decision(target)
    ratio = attempt.x_height_mm / book.attempt(source).x_height_mm
    scaled = tuple(Stroke(s.points_mm * ratio, s.width_mm) for s in model)
    accented = book.char(source) != book.char(target)
    moved = standing(attempt, decision)
    result = carry(scaled, moved, x_height_mm=attempt.x_height_mm, accented=accented)
    shift = np.array([0.0, decision.baseline_mm])
    back = tuple(dataclasses.replace(s, points_mm=s.points_mm + shift) for s in result.strokes)
    return dataclasses.replace(result, strokes=back)


def others(book: Letters, source: str) -> Mapping[str, Propagated]:
    """Return, by attempt id, what would become of the other attempts of that character and its accented forms."""
    char = book.char(source)
    forms = relatives(char, {book.char(key) for key in book.attempts})
    return {
        key: carried(book, source, key)
        for key, a in book.attempts.items()
        if key != source and book.char(key) in forms and a.status == "written"
        if book.decision(key).verdict != "set aside" and current(a, book.decision(key))
    }


def standing(attempt: Attempt, decision: Decision) -> tuple[Stroke, ...]:
    """Return the strokes as decided, the attempt's own baseline at y = 0."""
    shift = np.array([0.0, decision.baseline_mm])
    return tuple(dataclasses.replace(s, points_mm=s.points_mm - shift) for s in current(attempt, decision))


def known_way(attempt: Attempt, decision: Decision) -> KnownWay:
    """Return the hand's own way of writing a character, as this attempt shows it."""
    return KnownWay(attempt.id, attempt.x_height_mm, as_stored(standing(attempt, decision)))
