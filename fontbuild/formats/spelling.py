"""Characters that a hand has not got and that are written with others: ẞ as SS, ĳ as ij, spaces of other widths.

As on our pages. Each gets a glyph of its own that looks so, and a rule that puts the letters themselves in its place,
so that they turn over like all others.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from capture.units import Points
from fontbuild.font import Font
from fontbuild.geometry import moved
from fontbuild.glyph import Glyph
from fontbuild.naming import variant_name

SPELT: Mapping[str, str] = {
    "\u1e9e": "SS",
    "\u0132": "IJ",
    "\u0133": "ij",
    "\u01c7": "LJ",
    "\u01c8": "Lj",
    "\u01c9": "lj",
    "\u01ca": "NJ",
    "\u01cb": "Nj",
    "\u01cc": "nj",
    "\ufb00": "ff",
    "\ufb01": "fi",
    "\ufb02": "fl",
    "\ufb03": "ffi",
    "\ufb04": "ffl",
    "\u2026": "...",
}
"""Compatibility decompositions (Unicode, NFKC), and ẞ where a hand has none (Duden: SS)."""

SAME: Mapping[str, tuple[str, ...]] = {"\u2011": ("\u2010", "-"), "\u2010": ("-",)}
"""Characters that look like the first one there is: hyphens that do not break look like those that do."""

SPACES: Mapping[str, float] = {"\u00a0": 1.0, "\u202f": 0.6, "\u2009": 0.6, "\u2007": 1.0}
"""Spaces in word gaps, as the composer sets them."""


def spelt(font: Font) -> tuple[Font, dict[str, list[str]]]:
    """Return the font with these characters, and by the name of each new one the glyphs that take its place."""
    glyphs = dict(font.glyphs)
    rules: dict[str, list[str]] = {}
    for char, letters in SPELT.items():
        if char in glyphs or not all(any(g.strokes for g in font.glyphs.get(c, ())) for c in letters):
            continue
        parts = [font.glyphs[c][0] for c in letters]
        name = variant_name(char, 1)
        strokes: list[Points] = []
        at = 0.0
        for part, after in zip(parts, [*parts[1:], None], strict=True):
            strokes += moved(part, at).strokes
            at += part.advance + (font.kerning.get((part.char, after.char), 0.0) if after else 0.0)
        glyphs[char] = (Glyph(name, char, tuple(strokes), at, source="built: " + " + ".join(p.name for p in parts)),)
        rules[name] = [p.name for p in parts]
    for char, likes in SAME.items():
        model = next((font.glyphs[c][0] for c in likes if font.glyphs.get(c)), None)
        if char not in glyphs and model is not None:
            glyphs[char] = (replace(model, name=variant_name(char, 1), char=char),)
    if " " in font.glyphs:
        gap = font.glyphs[" "][0].advance
        for char, share in SPACES.items():
            glyphs.setdefault(char, (Glyph(variant_name(char, 1), char, (), round(share * gap)),))
    return replace(font, glyphs=glyphs), rules
