"""Markers and page codes as shapes."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from capture.errors import UsageError
from capture.shapes import BLACK, Fill
from capture.sheet import MARK_DICTIONARY, Box, Mark

LEAST_MODULE_MM = 0.25
"""Smaller modules of the code are lost at 300 dpi: three pixels each."""


@cache
def _mark_modules(mark_id: int) -> tuple[Box, ...]:
    """Return the dark modules of a marker as boxes in units of one module, from its top left corner."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARK_DICTIONARY))
    side = dictionary.markerSize + 2
    image = cv2.aruco.generateImageMarker(dictionary, mark_id, side)
    return tuple(_runs_of_dark([[value == 0 for value in row] for row in image.tolist()]))


def _runs_of_dark(rows: list[list[bool]]) -> Iterator[Box]:
    for y, row in enumerate(rows):
        start = None
        for x, dark in enumerate([*row, False]):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                yield float(start), float(y), float(x - start), 1.0
                start = None


def draw_mark(mark: Mark) -> Fill:
    """Return a marker."""
    modules = _mark_modules(mark.id)
    side = max(y + 1 for _, y, _, _ in modules)
    unit = mark.size_mm / side
    left, top = mark.x_mm - mark.size_mm / 2, mark.y_mm - mark.size_mm / 2
    return Fill(tuple((left + x * unit, top + y * unit, w * unit, h * unit) for x, y, w, h in modules), BLACK)


def draw_code(payload: bytes, box: Box) -> Fill:
    """Return the QR code of `payload`, as large as `box`.

    Error correction is Q (a quarter of the code may be lost) where this keeps the modules 0.4 mm wide, so that they
    can be read at 150 dpi, and less where it does not: there is a second copy.

    Raises
    ------
    UsageError
        If the modules would be too small to be read at all.
    """
    import segno
    from segno.encoder import DataOverflowError

    rows: list[list[bool]] = [[False]] * 1000
    for level in "QML":
        try:
            code = segno.make_qr(payload, error=level, mode="byte", boost_error=True)
        except DataOverflowError:
            continue
        rows = [[bool(value) for value in row] for row in code.matrix]
        if box[2] / len(rows) >= 0.4:
            break
    unit = box[2] / len(rows)
    if unit < LEAST_MODULE_MM:
        raise UsageError(
            "sheet", "a page holds more than its code can say", "Choose a smaller paper or larger writing."
        )
    dark = _runs_of_dark(rows)
    return Fill(tuple((box[0] + x * unit, box[1] + y * unit, w * unit, h * unit) for x, y, w, h in dark), BLACK)
