"""The tracer's other readings of the same ink, made when somebody asks for them."""

from __future__ import annotations

import dataclasses
from collections import OrderedDict
from typing import Protocol

import cv2
import numpy as np

from capture.errors import HandFolderError
from capture.units import MM_PER_INCH, cell_from_image
from ownhand.hands.decisions import Decisions, known_ways
from ownhand.review.edits.operations import OperationError
from ownhand.review.images.ink_images import InkSource, on_white, picture_file
from ownhand.tracing_faults import DEFEATED
from skeleton.geometry.stroke import Stroke

REMEMBERED = 64
"""Readings of so many attempts are kept: a person compares a few letters at a time."""


class TracedSource(InkSource, Protocol):
    """What is traced again: the session, as far as the tracer needs it."""

    decisions: Decisions

    def char(self, key: str) -> str:
        """Return the character an attempt is said to be."""
        ...


@dataclasses.dataclass(frozen=True, eq=False)
class OtherReading:
    """One way in which the pen may have made the ink."""

    strokes: tuple[Stroke, ...]
    """Cell frame: mm, y up."""

    words: str


class Readings:
    """Remembers the last readings, so that choosing one does not trace again."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[str, str], tuple[OtherReading, ...]] = OrderedDict()

    def forget(self) -> None:
        """Forget all: the ink may have changed."""
        self._kept.clear()

    def of(self, source: TracedSource, key: str, char: str = "") -> tuple[OtherReading, ...]:
        """Return the tracer's readings of an attempt as `char`, or what it is said to be now; the likeliest first."""
        char = char or source.char(key)
        if (key, char) not in self._kept:
            self._kept[key, char] = trace_again(source, key, char)
            while len(self._kept) > REMEMBERED:
                self._kept.popitem(last=False)
        return self._kept[key, char]


def trace_again(source: TracedSource, key: str, char: str) -> tuple[OtherReading, ...]:
    """Return all readings of an attempt's ink picture as `char`, in the cell's frame.

    Raises
    ------
    HandFolderError
        If the ink picture is missing.
    OperationError
        If the tracer cannot read the ink.
    """
    import skeleton

    file = picture_file(source, key)
    picture = cv2.imread(str(file), cv2.IMREAD_UNCHANGED) if file else None
    if picture is None:
        raise HandFolderError(str(file or key), "the ink picture is missing", "Read the page's scan again.")
    _, place = source.ink[key]
    grey = on_white(np.asarray(picture, np.uint8))
    hand = source.hand.record.handedness
    ways = known_ways(source.decisions)
    known = (ways[char],) if char in ways else ()
    try:
        best = skeleton.read_character(grey, place.px_per_mm * MM_PER_INCH, char, handedness=hand, known=known)
    except DEFEATED as error:
        # Ink that defeats the tracer costs only itself; the person can still draw the strokes.
        raise OperationError(f"the tracer cannot read this ink ({type(error).__name__}); draw the strokes") from error
    found = [r for r in (best, *best.candidates) if r.strokes]
    out = []
    for number, candidate in enumerate(found, 1):
        strokes = tuple(
            dataclasses.replace(
                s, points_mm=cell_from_image(s.points_mm, left_mm=-place.left_mm, baseline_mm=place.top_mm)
            )
            for s in candidate.strokes
        )
        plural = "s" if len(strokes) > 1 else ""
        form = f", {candidate.allograph}" if candidate.allograph else ""
        out.append(OtherReading(strokes, f"reading {number}: {len(strokes)} stroke{plural}{form}"))
    return tuple(out)
