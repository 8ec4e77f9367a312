"""Marks taken off accented letters that the writer wrote, and letters without their marks."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.units import Points
from fontbuild.anchors import ATTACHED, anchor_name, base_anchor, mark_anchor
from fontbuild.variants import AttemptStrokes

SOFT_DOTTED = frozenset("ij\u012f\u1ecb\u1e2d")
"""Letters whose dot gives way to a mark above (Unicode PropList, Soft_Dotted; the Latin letters in everyday use)."""

DOTLESS = {"i": "\u0131", "j": "\u0237"}


@dataclass(frozen=True, eq=False)
class Lifted:
    """An accented letter taken apart; cell frame, mm."""

    base: AttemptStrokes
    mark: AttemptStrokes
    offset: tuple[float, float]
    """From the base's anchor to the mark's, mm, as the writer placed it."""


def parts_of(char: str) -> tuple[str, str] | None:
    """Return the base and the mark of a precomposed letter with one mark more than its base (UAX #15), or None.

    Examples
    --------
    >>> [unicodedata.name(p).lower() for p in parts_of("ế")]
    ['latin small letter e with circumflex', 'combining acute accent']
    >>> parts_of("o") is None
    True
    """
    if len(char) != 1:
        return None
    decomposed = unicodedata.decomposition(char)
    if not decomposed or decomposed.startswith("<"):
        return None
    parts = [chr(int(code, 16)) for code in decomposed.split()]
    if len(parts) != 2 or not unicodedata.combining(parts[1]):
        return None
    return parts[0], parts[1]


def lift(written: AttemptStrokes, *, x_height_mm: float, slant_deg: float) -> Lifted | None:
    """Return base and mark of an accented letter, or None where strokes do not tell them apart.

    The mark is all strokes that lie clear above (or below) the others; an attached mark is a stroke of its own that
    begins at the foot and goes below the line.
    """
    parts = parts_of(written.char)
    chosen = mark_strokes(written.char, written.strokes, x_height=x_height_mm)
    if parts is None or not chosen:
        return None
    base_char, mark_char = parts
    name = anchor_name(mark_char)
    base = [s for k, s in enumerate(written.strokes) if k not in chosen]
    mark = [s for k, s in enumerate(written.strokes) if k in chosen]
    at = base_anchor(base, name, x_height=x_height_mm, slant_deg=slant_deg)
    on = mark_anchor(mark, name, slant_deg=slant_deg)
    lone = DOTLESS.get(base_char, base_char) if name == "top" else base_char
    return Lifted(
        base=replace(written, char=lone, strokes=tuple(base), allograph=""),
        mark=replace(written, char=mark_char, strokes=tuple(mark), allograph=""),
        offset=(on[0] - at[0], on[1] - at[1]),
    )


def mark_strokes(char: str, strokes: Sequence[Points], *, x_height: float) -> set[int]:
    """Return which of an accented letter's strokes are its mark; empty where that cannot be told.

    strokes: each of shape (n, 2), y up from the baseline, in the unit of `x_height`. Returned: indices.
    """
    parts = parts_of(char)
    name = anchor_name(parts[1]) if parts else ""
    if not name or len(strokes) < 2:
        return set()
    below = parts_of(parts[0]) if parts else None
    fewest = below is not None and anchor_name(below[1]) == name
    chosen = _standing_apart(strokes, name, x_height, fewest=fewest)
    return chosen if len(chosen) < len(strokes) else set()


def _standing_apart(strokes: Sequence[Points], name: str, x_height: float, *, fewest: bool) -> set[int]:
    """Return the strokes of the mark; `fewest` where the letter below it bears such a mark itself."""
    low = np.array([s[:, 1].min() for s in strokes])
    high = np.array([s[:, 1].max() for s in strokes])
    ranks = range(len(strokes))
    if name == "top":
        # From the top down, as long as what is above stands clear of all that is below: where the gap is widest, for
        # the bar on an E's top stands above its stem as well.
        order = sorted(ranks, key=lambda k: -low[k])
        highest_left = np.maximum.accumulate(high[order][::-1])[::-1]
        found: list[tuple[float, int]] = []
        for count in range(1, len(strokes)):
            foot = low[order[count - 1]]
            gap = float(foot - highest_left[count])
            if gap > -0.12 * x_height and foot > 0.75 * x_height:
                found.append((gap, count))
        if not found:
            return set()
        return set(order[: min(c for _, c in found) if fewest else max(found)[1]])
    if name == "bottom":
        order = sorted(ranks, key=lambda k: high[k])
        lowest_left = np.minimum.accumulate(low[order][::-1])[::-1]
        for count in range(len(strokes) - 1, 0, -1):
            head = high[order[count - 1]]
            if head < lowest_left[count] + 0.15 * x_height and head < 0.1 * x_height:
                return set(order[:count])
        return set()
    if name == "horn":
        return {len(strokes) - 1} if low[-1] > 0.6 * x_height else set()
    return {k for k in ranks if high[k] < 0.35 * x_height and low[k] < -0.12 * x_height}


def undotted(strokes: Sequence[Points], *, x_height: float) -> list[int]:
    """Return the strokes of an i or j that are not its dot; empty where the dot cannot be told.

    strokes: each of shape (n, 2), y up from the baseline, in the unit of `x_height`. Returned: indices.
    """
    low = [float(s[:, 1].min()) for s in strokes]
    high = [float(s[:, 1].max()) for s in strokes]
    rest = [k for k in range(len(strokes)) if low[k] < 0.75 * x_height]
    if not rest or len(rest) == len(strokes):
        return []
    top = max(high[k] for k in rest)
    dots = [k for k in range(len(strokes)) if k not in rest]
    return rest if all(low[k] > top - 0.25 * x_height for k in dots) else []


def lift_all(
    letters: Mapping[str, Sequence[AttemptStrokes]], *, x_height_mm: float, slant_deg: float
) -> dict[str, list[Lifted]]:
    """Return what could be taken apart, by mark."""
    out: dict[str, list[Lifted]] = {}
    for group in letters.values():
        for written in group:
            lifted = lift(written, x_height_mm=x_height_mm, slant_deg=slant_deg)
            if lifted is not None:
                out.setdefault(lifted.mark.char, []).append(lifted)
    return out


def dots_of(letters: Mapping[str, Sequence[AttemptStrokes]], *, x_height_mm: float) -> list[AttemptStrokes]:
    """Return the dots of i and j as marks of their own."""
    out = []
    for char in "ij":
        for w in letters.get(char, ()):
            stem = undotted(w.strokes, x_height=x_height_mm)
            if stem:
                dot = tuple(s for k, s in enumerate(w.strokes) if k not in stem)
                out.append(replace(w, char="\u0307", strokes=dot, allograph=""))
    return out


def is_attached(mark: str) -> bool:
    """Return whether the mark touches its letter."""
    return mark in ATTACHED
