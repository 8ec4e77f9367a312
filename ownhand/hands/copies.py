"""A second filled copy of a sheet: the same print with other writing in its cells, whose attempts are further ones.

The page's code tells the sheet, not the paper. Whether it is the same paper, scanned again, the ink tells: scanned
twice it lies on itself within a fraction of its width, written twice it does not. A second copy is kept as a sheet of
its own with a number to its id, 's1-4be2a9_2', so that nothing is mixed and nothing replaced.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial import cKDTree

from capture.errors import HandFolderError
from capture.limits import is_count
from capture.read import LineInk, PageReading
from capture.units import Points
from fontbuild.text_spacing_statistics import CopiedLine, CopiedWord, copied_words, pieces_of
from ownhand.hands.captures import PageCapture, capture_file, load_capture
from ownhand.hands.hand import Hand

MOST_COPIES = 20
NEAR_MM = 0.3
"""Ink of one paper lies within this of itself, scanned twice: registration and two scanners' blur together."""

SAME_SHARE = 0.8
"""Share of the ink that lies so near, from which a cell counts as the same; the page is the same if most cells are."""

LINE_X_HEIGHT_MM = 2.5
"""Words of ruled lines, kept in x-heights, are compared at this size, whatever the size of the print."""

LEAST_CELLS = 4
"""Cells with writing in both, from which pages can be told apart."""

MOST_POINTS = 400

Ink = Mapping[tuple[object, int], Points]
"""By row and column: places of ink, cell frame, mm. Of ruled lines, by word and which of its kind: its corners."""


def as_copies(hand: Hand, read: Sequence[tuple[PageReading, Path]]) -> tuple[list[tuple[PageReading, Path]], list[str]]:
    """Return the pages read, those of a further copy under an id of their own, and what to tell about these."""
    known: dict[tuple[str, int], Ink] = {}
    out, notices = [], []
    for reading, scan in read:
        base, number, ink = reading.sheet.id, reading.page.page, ink_of(reading)
        for copy in range(1, MOST_COPIES + 1):
            name = base if copy == 1 else f"{base}_{copy}"
            before = known.get((name, number)) or kept_ink(hand, name, number)
            if before is None or same_paper(before, ink):
                break
        known[name, number] = ink
        if copy > 1:
            reading = dataclasses.replace(reading, sheet=dataclasses.replace(reading.sheet, id=name))
            notices.append(
                f"{scan.name}: page {number} of sheet '{base}' was read before with other writing. This is taken as a "
                f"further copy of it, and its attempts are added as '{name}'."
            )
        out.append((reading, scan))
    return out, notices


def first_copy(hand: Hand, sheet: str, number: int) -> PageCapture | None:
    """Return what was read from the first copy of a page, for a sheet id that is a further copy's."""
    base, _, copy = sheet.rpartition("_")
    if not base or not is_count(copy):
        return None
    return _loaded(capture_file(hand, base, number))


def ink_of(reading: PageReading) -> Ink:
    """Return where the ink of a page lies, cell by cell."""
    out: dict[tuple[object, int], Points] = {}
    for cell in reading.cells:
        if cell.grey.size and cell.status == "written":
            left, top = cell.left_mm - cell.cell.box_mm[0], cell.cell.baseline_mm - cell.top_mm
            out[cell.row, cell.column] = _points(cell.grey, cell.px_per_mm, left, top)
    if reading.lines:
        out.update(_corners(copied_words([*map(copied_line, reading.lines)], x_height_mm=reading.sheet.x_height_mm)))
    return out


def copied_line(ink: LineInk) -> CopiedLine:
    """Return the ink of a ruled line, beside its text."""
    pieces = pieces_of(ink.grey, px_per_mm=ink.px_per_mm, baseline_mm=ink.baseline_mm - ink.top_mm)
    return CopiedLine(ink.line.text, pieces)


def _corners(words: Sequence[CopiedWord]) -> dict[tuple[object, int], Points]:
    seen: Counter[str] = Counter()
    out: dict[tuple[object, int], Points] = {}
    for word in words:
        seen[word.text] += 1
        out[word.text, seen[word.text]] = np.array(word.box).reshape(2, 2) * LINE_X_HEIGHT_MM
    return out


def kept_ink(hand: Hand, sheet: str, number: int) -> Ink | None:
    """Return where the ink of a page lies that was read before; None where it was not."""
    file = capture_file(hand, sheet, number)
    capture = _loaded(file)
    if capture is None:
        return None
    if capture.copied:
        return _corners(capture.copied)
    out: dict[tuple[object, int], Points] = {}
    for attempt in capture.attempts:
        picture = capture.ink.get(attempt.id)
        if picture is None or attempt.status != "written":
            continue
        grey = cv2.imread(str(file.parent / picture.file), cv2.IMREAD_GRAYSCALE)
        row, _, column = attempt.id.rsplit("/", 1)[-1].partition(".")
        if grey is not None and is_count(row) and is_count(column):
            out[int(row), int(column)] = _points(
                np.asarray(grey, np.uint8), picture.px_per_mm, picture.left_mm, picture.top_mm
            )
    return out


def same_paper(one: Ink, other: Ink) -> bool:
    """Return whether two pages hold the same ink; True where too few cells are written to tell."""
    both = [(one[key], other[key]) for key in one.keys() & other.keys() if len(one[key]) and len(other[key])]
    if len(both) < LEAST_CELLS:
        return True
    return float(np.median([_share(a, b) for a, b in both])) >= SAME_SHARE


def _share(a: Points, b: Points) -> float:
    """Return the share of ink that lies on the other's, of the two the less."""
    there, back = cKDTree(b).query(a)[0], cKDTree(a).query(b)[0]
    return float(min((there < NEAR_MM).mean(), (back < NEAR_MM).mean()))


def _points(grey: np.ndarray, px_per_mm: float, left_mm: float, top_mm: float) -> Points:
    rows, columns = np.nonzero(grey < 128)
    step = max(1, len(rows) // MOST_POINTS)
    return np.column_stack([left_mm + columns[::step] / px_per_mm, top_mm - rows[::step] / px_per_mm]).astype(float)


def _loaded(file: Path) -> PageCapture | None:
    try:
        return load_capture(file) if file.exists() else None
    except HandFolderError:
        return None
