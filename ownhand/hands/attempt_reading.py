"""Attempts and ink pictures in a captures file, checked as they are read: within the limits that hold for writing."""

from __future__ import annotations

from capture.limits import MOST_ATTEMPTS, MOST_POINTS, MOST_STROKES, SIZE_MM, is_character
from capture.report import Finding
from ownhand.validation import Place
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke

STATUSES = ("written", "blank", "spoiled")
MOST_FINDINGS = 100


def attempt_from(place: Place) -> Attempt:
    """Return the attempt at a place in checked data; its faults are noted there."""
    place.only(*_FIELDS)
    for name in _FIELDS[:10]:
        if not place.of(name).present:
            place.of(name).fault("is missing")
    char = place.of("char").text(None, 16)
    if not is_character(char):
        place.of("char").fault("expected one character, composed (NFC), without control characters")
    least, most = SIZE_MM
    return Attempt(
        id=place.of("id").text(None, 200),
        char=char,
        attempt=place.of("attempt").whole(1, MOST_ATTEMPTS),
        status=place.of("status").choice("written", STATUSES),
        strokes=strokes_from(place.of("strokes")),
        x_height_mm=place.of("x_height_mm").number(1.0, least, most) or 1.0,
        ascender_mm=place.of("ascender_mm").number(2.0, least, most) or 2.0,
        descender_mm=place.of("descender_mm").number(-1.0, -most, 0.0) or 0.0,
        width_mm=place.of("width_mm").number(5.0, 0.0, most) or 0.0,
        pen_mm=place.of("pen_mm").number(0.4, 0.0, 20.0) or 0.0,
        confidence=place.of("confidence").number(1.0, 0.0, 1.0) or 0.0,
        allograph=place.of("allograph").text("", 200),
        findings=tuple(_finding(item) for item in place.of("findings").items(most=MOST_FINDINGS)),
    )


_FIELDS = (
    "id", "char", "attempt", "status", "strokes", "x_height_mm", "ascender_mm", "descender_mm", "width_mm", "pen_mm",
    "confidence", "allograph", "findings",
)  # fmt: skip


def _finding(place: Place) -> Finding:
    place.only("kind", "char", "page", "row", "column", "detail")
    row, column = (place.of(name).whole(0, MOST_ATTEMPTS) for name in ("row", "column"))
    return Finding(
        place.of("kind").text(None, 300),
        place.of("char").text("", 16),
        place.of("page").whole(0, MOST_ATTEMPTS),
        row,
        column,
        place.of("detail").text("", 1000),
    )


def strokes_from(place: Place) -> tuple[Stroke, ...]:
    """Return the strokes in a list; its faults are noted there."""
    strokes = []
    for item in place.items(most=MOST_STROKES):
        points = item.of("points_mm").points(most=MOST_POINTS)
        widths = None
        if item.of("widths_mm").value is not None:
            widths = item.of("widths_mm").numbers(most=MOST_POINTS, low=0.0, high=50.0)
            if points is not None and widths is not None and len(widths) != len(points):
                item.of("widths_mm").fault("expected one number for each point")
                widths = None
        width = item.of("width_mm").number(0.0, 0.0, 20.0) or 0.0
        closed = item.of("closed").truth()
        if points is not None:
            strokes.append(Stroke(points, width, widths, closed=closed))
    return tuple(strokes)
