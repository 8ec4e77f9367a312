"""Where marks meet letters: anchors on bases and marks, read off the strokes in the hand's slant.

| anchor | on the letter | marks |
| --- | --- | --- |
| top | over the middle of its highest ink | acute, grave, ring, dots ... |
| bottom | under the middle of its lowest ink | dot below, comma below ... |
| cedilla | the lowest ink near the middle of the foot | cedilla |
| ogonek | the rightmost ink of the foot | ogonek |
| horn | the rightmost ink of the shoulder | horn |

A mark's anchor has the same name after an underscore. Frame: em.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from capture.units import Points
from fontbuild.font import Metrics
from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph

Point = tuple[float, float]

CEDILLA, OGONEK, HORN = "\u0327", "\u0328", "\u031b"
ATTACHED = {CEDILLA: "cedilla", OGONEK: "ogonek", HORN: "horn"}
"""Marks that touch their letter."""

ZONE = 0.3
"""x-heights: how deep the ink reaches that counts as the top or foot of a letter."""


def anchor_name(mark: str) -> str:
    """Return the name of the anchor at which a combining mark joins; '' for marks laid over the letter.

    Above and below come from the canonical combining class (Unicode Standard, 4.3: 230 above, 220 below).
    """
    if mark in ATTACHED:
        return ATTACHED[mark]
    return {230: "top", 220: "bottom", 202: "bottom", 232: "top"}.get(unicodedata.combining(mark), "")


def base_anchor(strokes: Sequence[Points], name: str, *, x_height: float, slant_deg: float) -> Point:
    """Return the anchor of a letter given as sampled strokes."""
    points = np.vstack(list(strokes))
    lean = float(np.tan(np.radians(slant_deg)))
    upright = points[:, 0] - lean * points[:, 1]
    y = points[:, 1]
    zone = ZONE * x_height
    if name in ("top", "horn"):
        high = y > y.max() - (zone if name == "top" else 0.8 * zone)
        if name == "horn":
            i = int(np.flatnonzero(high)[np.argmax(upright[high])])
            return float(points[i, 0]), float(y[i])
        x = (upright[high].min() + upright[high].max()) / 2
        return float(x + lean * y.max()), float(y.max())
    low = y < y.min() + (zone if name == "bottom" else 0.4 * zone)
    if name == "ogonek":
        i = int(np.flatnonzero(low)[np.argmax(upright[low])])
        return float(points[i, 0]), float(y[i])
    x = (upright[low].min() + upright[low].max()) / 2
    if name == "cedilla":
        i = int(np.flatnonzero(low)[np.argmin(np.abs(upright[low] - x))])
        return float(points[i, 0]), float(y[i])
    return float(x + lean * y.min()), float(y.min())


def mark_anchor(strokes: Sequence[Points], name: str, *, slant_deg: float) -> Point:
    """Return the point of a mark, given as sampled strokes, that is put on the letter's anchor `name`.

    Marks above stand on it with the middle of their foot, marks below hang from it, attached ones begin in it.
    """
    points = np.vstack(list(strokes))
    lean = float(np.tan(np.radians(slant_deg)))
    upright = points[:, 0] - lean * points[:, 1]
    middle = (upright.min() + upright.max()) / 2
    low, high = float(points[:, 1].min()), float(points[:, 1].max())
    if name == "top":
        return float(middle + lean * low), low
    if name == "bottom":
        return float(middle + lean * high), high
    if name == "horn":
        i = int(np.argmin(points[:, 1] + 0.3 * points[:, 0]))
    else:
        i = int(np.argmax(points[:, 1] - 0.3 * np.abs(upright - middle)))
    return float(points[i, 0]), float(points[i, 1])


def with_anchors(glyph: Glyph, metrics: Metrics) -> Glyph:
    """Return a letter or mark with its anchors; other signs as they are."""
    if not glyph.strokes or not glyph.char:
        return glyph
    drawn = sample_glyph(glyph)
    if all(unicodedata.combining(c) for c in glyph.char):
        name = anchor_name(glyph.char[-1])
        if not name:
            return glyph
        at = {"_" + name: mark_anchor(drawn, name, slant_deg=metrics.slant_deg)}
        return replace(glyph, anchors={n: _rounded(p) for n, p in at.items()})
    if not unicodedata.category(glyph.char[0]).startswith("L"):
        return glyph
    at = {
        name: base_anchor(drawn, name, x_height=metrics.x_height, slant_deg=metrics.slant_deg)
        for name in ("top", "bottom", "cedilla", "ogonek", "horn")
    }
    return replace(glyph, anchors={n: _rounded(p) for n, p in at.items()})


def _rounded(p: Point) -> Point:
    return round(p[0], 2), round(p[1], 2)
