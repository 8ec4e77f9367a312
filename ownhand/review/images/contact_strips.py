"""All attempts at a character in one small picture: the overview asks for some hundred of these, not for thousands.

The picture is twice as large as it is shown, for fine screens. Sizes here are px as shown, 1/96 inch (CSS 2.1, 4.3.2).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import cv2
import numpy as np

from ownhand.hands.decisions import seen
from ownhand.review.images.ink_images import InkSource, on_white, png, size_mm
from skeleton.attempt import Attempt

X_HEIGHT = 15.0
"""An x-height is shown so tall."""

UP, DOWN = 40, 18
"""Above and below the baseline."""

FINE = 2
GAP = 3
ROOM_MM = 0.5
"""Left free beside the strokes, for their ink's width and what the tracer missed."""


class AttemptSource(InkSource, Protocol):
    """What a strip is made from: the session, as far as it needs it."""

    attempts: dict[str, Attempt]
    asked: dict[str, dict[str, Attempt]]
    """By the character that was asked for: the attempts by id."""


@dataclass(frozen=True)
class Slot:
    """Where an attempt stands in the strip of the character that was asked for."""

    x: int
    width: int
    from_mm: float
    """x of the slot's left edge in the cell's frame."""


def slots(source: AttemptSource, char: str) -> dict[str, Slot]:
    """Return by attempt id where each attempt asked for as `char` stands; made from the strokes as they were read."""
    out, x = {}, 0
    for key, attempt in source.asked.get(char, {}).items():
        low, high = _extent(source, attempt)
        width = max(8, round((high - low) * X_HEIGHT / attempt.x_height_mm))
        out[key] = Slot(x, width, low)
        x += width + GAP
    return out


def _extent(source: AttemptSource, attempt: Attempt) -> tuple[float, float]:
    bounds = seen(attempt.strokes)
    if bounds:
        return bounds[0] - ROOM_MM, min(bounds[2] + ROOM_MM, bounds[0] + 12 * attempt.x_height_mm)
    width, _ = size_mm(source, attempt.id)
    left = source.ink[attempt.id][1].left_mm if attempt.id in source.ink else 0.0
    return left, left + max(width, 1.0)


def strip_png(source: AttemptSource, char: str) -> bytes | None:
    """Return the strip of a character as PNG; None where it was never asked for."""
    places = slots(source, char)
    if not places:
        return None
    last = list(places.values())[-1]
    strip = np.full((FINE * (UP + DOWN), FINE * (last.x + last.width)), 255, np.uint8)
    for key, slot in places.items():
        data = png(source, key)
        picture = None if data is None else cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
        if picture is not None:
            place, k = source.ink[key][1], FINE * X_HEIGHT / source.attempts[key].x_height_mm
            scale = k / place.px_per_mm
            moved = np.array(
                [[scale, 0, (place.left_mm - slot.from_mm) * k], [0, scale, FINE * UP - place.top_mm * k]], float
            )
            # Averaged down, not sampled: thin lines stay whole.
            size = (FINE * slot.width, FINE * (UP + DOWN))
            grey = cv2.GaussianBlur(on_white(np.asarray(picture, np.uint8)), (0, 0), max(0.3, 0.4 / scale))
            drawn = cv2.warpAffine(grey, moved, size, flags=cv2.INTER_LINEAR, borderValue=255)
            strip[:, FINE * slot.x : FINE * (slot.x + slot.width)] = drawn
    return bytes(cv2.imencode(".png", strip)[1])
