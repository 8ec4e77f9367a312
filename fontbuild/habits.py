"""Where a hand puts its marks, read off the accented letters of a finished font."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from fontbuild.accents import Habits
from fontbuild.anchors import anchor_name, base_anchor, mark_anchor
from fontbuild.font import Metrics
from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.marks import mark_strokes, parts_of

TALL = 1.25
"""x-heights over which a letter counts as tall."""


def habits_of(glyphs: Mapping[str, Sequence[Glyph]], metrics: Metrics) -> Habits:
    """Return the median way from a letter's anchor to its mark's, by mark, on small and on tall letters.

    Letters that were written count before letters that were built.

    Parameters
    ----------
    glyphs
        Variants by character, em frame (font units, y up).
    """
    found: dict[tuple[bool, str], list[tuple[bool, tuple[float, float]]]] = {}
    for char, variants in glyphs.items():
        parts = parts_of(char)
        name = anchor_name(parts[1]) if parts else ""
        if parts is None or not name:
            continue
        for glyph in (g for g in variants if g.strokes):
            drawn = sample_glyph(glyph)
            chosen = mark_strokes(char, drawn, x_height=metrics.x_height)
            if not chosen:
                continue
            base = [s for k, s in enumerate(drawn) if k not in chosen]
            mark = [s for k, s in enumerate(drawn) if k in chosen]
            at = base_anchor(base, name, x_height=metrics.x_height, slant_deg=metrics.slant_deg)
            on = mark_anchor(mark, name, slant_deg=metrics.slant_deg)
            tall = bool(at[1] > TALL * metrics.x_height)
            way = (on[0] - at[0], on[1] - at[1])
            found.setdefault((tall, parts[1]), []).append((glyph.source.startswith("built"), way))
    small: dict[str, tuple[float, float]] = {}
    high: dict[str, tuple[float, float]] = {}
    for (tall, mark_char), ways in found.items():
        least = min(built for built, _ in ways)
        x, y = np.median([way for built, way in ways if built == least], axis=0)
        (high if tall else small)[mark_char] = (float(x), float(y))
    return Habits(small, high)
