"""Where programs put a mark that is typed after a letter: as the hand does, gap and all (OpenType GPOS mark, mkmk).

In the UFO an anchor lies on the ink. What a shaper does is to lay the mark's anchor on the letter's; so here the mark's
anchor lies as far below the mark as the hand leaves free, and marks have anchors for a second mark on top of them.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from fontbuild.accents import mark_offset
from fontbuild.anchors import anchor_name, base_anchor
from fontbuild.font import Font
from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.habits import TALL, habits_of

APART = ("top", "bottom")
"""Anchors of marks that stand away from their letter."""

Anchors = dict[str, tuple[float, float]]


def mark_positions(font: Font) -> dict[str, Anchors]:
    """Return the anchors of each glyph that has any, by its name; font units, y up."""
    habits, m = habits_of(font.glyphs, font.metrics), font.metrics
    marks = {
        c: v for c, v in font.glyphs.items() if len(c) == 1 and unicodedata.combining(c) and any(g.strokes for g in v)
    }
    small, tall = _model("o", m.x_height), _model("l", m.ascender)

    def way(mark: str, name: str, base: Glyph, height: float) -> tuple[float, float]:
        return mark_offset(mark, name, (0.0, height), base, m, habits)

    ways = {c: way(c, name, small, m.x_height) for c in marks if (name := anchor_name(c)) in APART}
    more: dict[str, tuple[float, float]] = {}
    for name in APART:
        steps = [
            np.subtract(way(c, name, tall, m.ascender), ways[c]) for c in marks if c in ways and anchor_name(c) == name
        ]
        x, y = np.median(steps, axis=0) if steps else (0.0, 0.0)
        more[name] = (float(x), float(y))
    out: dict[str, Anchors] = {}
    for char, variants in font.glyphs.items():
        for glyph in variants:
            found = _on_mark(glyph, ways[char], font) if char in ways else _on_letter(glyph, more, m.x_height)
            if found:
                out[glyph.name] = found
    return out


def _model(char: str, height: float) -> Glyph:
    """Return an upright of a height, to ask where a mark would stand over it."""
    return Glyph(char, char, (np.array([[0.0, 0.0], [0.0, height / 3], [0.0, 2 * height / 3], [0.0, height]]),), 0.0)


def _on_mark(glyph: Glyph, way: tuple[float, float], font: Font) -> Anchors:
    """Return the anchors of a mark: what is laid on the letter's, and where a second mark goes."""
    name = anchor_name(glyph.char)
    at = glyph.anchors.get("_" + name)
    if at is None:
        return dict(glyph.anchors)
    m = font.metrics
    top = base_anchor(sample_glyph(glyph), name, x_height=m.x_height, slant_deg=m.slant_deg)
    return {"_" + name: (at[0] - way[0], at[1] - way[1]), name: top}


def _on_letter(glyph: Glyph, more: Mapping[str, tuple[float, float]], x_height: float) -> Anchors:
    """Return the anchors of a letter; over tall ones marks stand nearer or further, as the hand has it."""
    anchors = dict(glyph.anchors)
    if "top" in anchors and anchors["top"][1] > TALL * x_height:
        (x, y), (dx, dy) = anchors["top"], more["top"]
        anchors["top"] = (x + dx, y + dy)
    return anchors


def with_positions(font: Font) -> Font:
    """Return the font with the anchors that a shaper needs."""
    found = mark_positions(font)
    glyphs = {
        char: tuple(replace(g, anchors=found.get(g.name, {})) for g in variants)
        for char, variants in font.glyphs.items()
    }
    return replace(font, glyphs=glyphs)
