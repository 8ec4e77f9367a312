"""Letters written on a sheet, brought to the size and the spacing of a font that is not ours.

Small letters are scaled by the x-heights, capitals and figures by the cap heights: the sheet's guides need not have
the font's proportions. White is left beside a letter as the font leaves it beside the same letter without its mark.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fontbuild.build import SetAside, build_font
from fontbuild.font import Font, Metrics, Record
from fontbuild.geometry import bounds, moved, sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.guide_size import reference_size
from fontbuild.marks import mark_strokes
from fontbuild.metrics import is_mark, measure
from fontbuild.stroked_letters import BARRED
from fontbuild.usable_attempts import BuildingRules
from skeleton.attempt import Attempt


@dataclass(frozen=True, eq=False)
class Adopted:
    """What a sheet gives to a font, in the font's units."""

    letters: Mapping[str, tuple[Glyph, ...]] = field(default_factory=dict)
    """The characters that the font lacks, with all their variants."""

    marks: Mapping[str, tuple[Glyph, ...]] = field(default_factory=dict)
    """Combining marks, written as such or taken off letters."""

    set_aside: tuple[SetAside, ...] = ()


def adopt(attempts: Iterable[Attempt], font: Font, *, decisions: BuildingRules | None = None) -> Adopted:
    """Return the letters and marks of a sheet that `font` has not got.

    Attempts that are spoiled or stand out are set aside as in any build.

    Raises
    ------
    InputError
        If no attempt can be used.
    """
    written = list(attempts)
    result = build_font(written, Record(""), decisions=decisions, accents=False)
    theirs = result.font
    asked = {a.char for a in written}
    size = reference_size([a for a in written if a.strokes])
    guides = tuple(v / size.mm_per_unit for v in (size.x_height_mm, size.ascender_mm, size.descender_mm))
    drawn = {c: [sample_glyph(g) for g in v] for c, v in theirs.glyphs.items() if v and v[0].strokes}
    measured = measure(drawn, pen_width=theirs.metrics.pen_width, guides=(guides[0], guides[1], guides[2]))
    beside = _Bearings(font)
    letters: dict[str, tuple[Glyph, ...]] = {}
    marks: dict[str, tuple[Glyph, ...]] = {}
    for char, variants in theirs.glyphs.items():
        if char in font.glyphs or not variants or not variants[0].strokes:
            continue
        factor = _factor(char, measured, font.metrics)
        scaled = tuple(_scaled(g, factor) for g in variants)
        if is_mark(char):
            marks[char] = scaled
        elif char in asked:
            letters[char] = tuple(beside.spaced(g) for g in scaled)
    return Adopted(letters, marks, result.set_aside)


def _factor(char: str, sheet: Metrics, font: Metrics) -> float:
    """Return the scale from the sheet's letters to the font's."""
    tall = unicodedata.normalize("NFD", char)[0].isupper() or char[0].isdigit()
    return font.cap_height / sheet.cap_height if tall else font.x_height / sheet.x_height


def _scaled(glyph: Glyph, factor: float) -> Glyph:
    strokes = tuple(np.round(s * factor, 2) for s in glyph.strokes)
    return replace(glyph, strokes=strokes, width=glyph.width * factor, anchors={}, ductus="")


class _Bearings:
    """The white that a font leaves on both sides of its letters."""

    def __init__(self, font: Font) -> None:
        self.x_height = font.metrics.x_height
        self.known = {c: self._sides(v[0]) for c, v in font.glyphs.items() if v and v[0].strokes}

    def _sides(self, glyph: Glyph) -> tuple[float, float]:
        x0, x1 = self._reach(glyph)
        return x0, glyph.advance - x1

    def _reach(self, glyph: Glyph) -> tuple[float, float]:
        """Return the left and right end of a letter without its mark."""
        lines = sample_glyph(glyph)
        over = mark_strokes(glyph.char, lines, x_height=self.x_height)
        x0, _, x1, _ = bounds([line for k, line in enumerate(lines) if k not in over])
        return x0, x1

    def _wanted(self, char: str) -> tuple[float, float]:
        base = BARRED[char].base if char in BARRED else unicodedata.normalize("NFD", char)[0]
        if base in self.known:
            return self.known[base]
        kind = unicodedata.category(char[0])
        like: Sequence[tuple[float, float]] = [s for c, s in self.known.items() if unicodedata.category(c[0]) == kind]
        left, right = np.median(like or list(self.known.values()) or [(0.15 * self.x_height,) * 2], axis=0)
        return float(left), float(right)

    def spaced(self, glyph: Glyph) -> Glyph:
        """Return `glyph` with the white beside it that the font would leave."""
        left, right = self._wanted(glyph.char)
        x0, x1 = self._reach(glyph)
        return replace(moved(glyph, round(left - x0, 2)), advance=round(max(left + x1 - x0 + right, 0.0), 1))
