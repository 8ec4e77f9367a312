"""A letter whose marks stand apart in the ink, taken apart: the letter's ink, and its marks'.

How people write an e is known from many; of an e with an acute little is. The letter under its marks is the same, so
each is read by itself where the ink shows which is which. Marks that touch their letter, or hang on it as an ogonek
does, stay with it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.ductus.marks import dotless
from skeleton.ink.ink_map import InkMap
from skeleton.matching.detached_marks import ABOVE, BELOW, detached_in_template
from skeleton.matching.template_matching import Model

COMBINING_CLASSES = {ABOVE: (230,), BELOW: (202, 220)}
"""Of marks that may stand above and below a letter (Unicode Character Database, Canonical_Combining_Class)."""

MIN_MARK_PEN_WIDTHS = 0.5
"""Side of a square, in pen widths, from whose area on ink is a mark; less is a speck. A dot of the pen has 0.9."""


@dataclass(frozen=True, eq=False)
class MarkedLetter:
    """Ink of a letter and of the marks that stand apart from it, in one frame, and how the marks may be written."""

    letter: str
    ink: InkMap
    """The letter's."""

    marks_ink: InkMap
    marks: tuple[Model, ...]
    """Forms of the marks."""

    side: int
    """Where they stand: `detached_marks.ABOVE` or `BELOW`."""


def taken_apart(
    char: str, ink: InkMap, forms: Sequence[Model], known_letters: Callable[[str], bool]
) -> MarkedLetter | None:
    """Return a letter and its marks, None where they cannot be told apart, or nothing is known of the letter alone.

    Parameters
    ----------
    char
        What was written, one character in NFC.
    ink
        Its ink.
    forms
        The forms in which it may be written, each whole.
    known_letters
        Tells whether more is known of a letter than its forms.
    """
    for side in (ABOVE, BELOW):
        letter = without_marks(char, side)
        if letter is None or not known_letters(letter):
            continue
        marks = _forms_of_marks(forms, side)
        inks = _inks(ink, side) if marks else None
        if inks is not None:
            return MarkedLetter(letter, *inks, marks, side)
    return None


def without_marks(char: str, side: int) -> str | None:
    """Return a letter without the marks on one side, None if it has none there; an i that had its dot is dotless.

    Examples
    --------
    >>> without_marks("\u00e9", ABOVE), without_marks("\u00e7", ABOVE), without_marks("\u1ed9", BELOW)
    ('e', None, '\u00f4')
    """
    base, *marks = list(unicodedata.normalize("NFD", char))
    off = [m for m in marks if unicodedata.combining(m) in COMBINING_CLASSES[side]]
    if not off:
        return None
    return unicodedata.normalize("NFC", dotless(base, marks) + "".join(m for m in marks if m not in off))


def parted(strokes: Sequence[Points], side: int) -> tuple[list[Points], list[Points]] | None:
    """Return strokes, y down, of a letter and of its marks on one side, None where they do not stand apart."""
    first, where = detached_in_template(strokes)
    return (list(strokes[:first]), list(strokes[first:])) if where == side else None


def _forms_of_marks(forms: Sequence[Model], side: int) -> tuple[Model, ...]:
    """Return the forms of the marks alone, priors that sum to one."""
    found: dict[bytes, Model] = {}
    for form in forms:
        first, where = form.apart
        if where != side:
            continue
        strokes = form.strokes[first:]
        # wherever the mark stands over its letter it is the same form
        corner = np.concatenate(strokes).min(axis=0)
        key = b"|".join(np.round(s - corner, 6).tobytes() for s in strokes)
        prior = form.prior + (found[key].prior if key in found else 0.0)
        found[key] = Model(form.name.rpartition(" + ")[2], strokes, prior)
    total = sum(m.prior for m in found.values())
    return tuple(replace(m, prior=m.prior / total) for m in found.values())


def _inks(ink: InkMap, side: int) -> tuple[InkMap, InkMap] | None:
    """Return the ink of the letter, and that of marks on one side of it; None where nothing stands there."""
    count, part, stats, _ = cv2.connectedComponentsWithStats(ink.mask, connectivity=8)
    if count < 3:
        return None
    area, top = stats[1:, cv2.CC_STAT_AREA], stats[1:, cv2.CC_STAT_TOP]
    bottom = top + stats[1:, cv2.CC_STAT_HEIGHT]
    main, middle = int(area.argmax()), (top + bottom) / 2
    there = middle < top[main] if side == ABOVE else middle > bottom[main]
    there &= area >= (MIN_MARK_PEN_WIDTHS * ink.pen_px) ** 2
    if not there.any():
        return None
    marks = np.isin(part, 1 + np.flatnonzero(there))
    rest = (part > 0) & ~marks
    # the pale edge of ink goes with the ink that is nearest
    nearer = _distance_to(marks) < _distance_to(rest)
    return _some(ink, rest, ~nearer), _some(ink, marks, nearer)


def _distance_to(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    return np.asarray(cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5), np.float32)


def _some(ink: InkMap, mask: NDArray[np.bool_], around: NDArray[np.bool_]) -> InkMap:
    """Return a part of some ink, paper elsewhere; around: where its edges may reach."""
    return replace(
        ink,
        darkness=np.where(around, ink.darkness, np.float32(0)),
        mask=mask.astype(np.uint8),
        radius=np.where(mask, ink.radius, np.float32(0)),
    )
