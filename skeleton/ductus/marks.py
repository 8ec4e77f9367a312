"""Where accents go: combining marks placed on a base by their combining class.

Classes after the Unicode Character Database (Unicode Standard, section 4.3 and UAX #44, Canonical_Combining_Class):
202 attached below, 216 attached above right, 220 below, 230 above, 240 iota subscript, 1 overlay. Soft-dotted letters
(UAX #44, Soft_Dotted) lose their dot under a mark above.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

import numpy as np

from capture.units import Points
from skeleton.ductus.drawing import Drawing, after

_DOTLESS = {"i": "ı", "j": "ȷ", "і": "ı", "ј": "ȷ"}
_GAP = 0.22
"""Clear space between a base and a mark above or below, in x-heights."""

_BETWEEN = 0.14
"""Clear space between two marks."""

_OGONEK = "\u0328"
_GREEK_CAPITALS = range(0x0391, 0x03AA)


def dotless(base: str, above_and_below: Sequence[str]) -> str:
    r"""Return the base to draw: without its dot if a mark goes above it.

    Examples
    --------
    >>> dotless("i", ["\u0301"]), dotless("i", ["\u0328"])
    ('ı', 'i')
    """
    above = any(unicodedata.combining(m) == 230 for m in above_and_below)
    return _DOTLESS.get(base, base) if above else base


def placed(base_char: str, base: Drawing, written: Sequence[tuple[str, Drawing]]) -> Drawing:
    """Return `base` with each mark set in its place, written after it in the order given.

    Marks are drawn around x = 0, those above from y = 0 upwards, those below from y = 0 downwards.
    """
    whole = base
    above = below = 0.0
    for char, mark in written:
        kind = unicodedata.combining(char)
        low, high = mark.points[:, 1].min(), mark.points[:, 1].max()
        left, bottom, right, top = _box(base.points)
        if kind == 230 and ord(base_char) in _GREEK_CAPITALS and char not in "\u0304\u0306\u0308":
            x, y = left - 0.3, top - high
        elif kind == 230:
            x, y = _middle_of(base.points, at_top=True), top + _GAP + above
            above += high + _BETWEEN
        elif kind == 202:
            x = _right_foot(base.points) if char == _OGONEK else _middle_of(base.points, at_top=False)
            y = _height_at(base.points, x)
        elif kind in (220, 240):
            x, y = _middle_of(base.points, at_top=False), bottom - _GAP - below
            below += _BETWEEN - low
        elif kind == 216:
            x, y = _right_shoulder(base.points)
        elif kind == 1:
            x, y = (left + right) / 2, (bottom + top) / 2
        else:
            x, y = right + 0.15, top
        whole = after(whole, mark.moved(float(x), float(y)))
    return whole


def _box(points: Points) -> tuple[float, float, float, float]:
    return (*points.min(0), *points.max(0))


def _middle_of(points: Points, *, at_top: bool) -> float:
    """Middle of what stands in the uppermost (or lowest) third of the character."""
    _, bottom, _, top = _box(points)
    y = points[:, 1]
    third = (top - bottom) / 3
    near = points[y >= top - third] if at_top else points[y <= bottom + third]
    return float(near[:, 0].min() + near[:, 0].max()) / 2


def _right_foot(points: Points) -> float:
    """Where an ogonek hangs: at the right of what stands on the line."""
    low = points[points[:, 1] <= points[:, 1].min() + 0.3]
    return float(low[:, 0].max()) - 0.08


def _height_at(points: Points, x: float) -> float:
    """Lowest point of the character near `x`."""
    near = points[np.abs(points[:, 0] - x) < 0.15]
    return float(near[:, 1].min() if len(near) else points[:, 1].min())


def _right_shoulder(points: Points) -> tuple[float, float]:
    """Where a horn sits: on the right of the character, near its top."""
    top = points[:, 1].max()
    high = points[points[:, 1] >= top - 0.3]
    return float(high[:, 0].max()), float(top) - 0.12
