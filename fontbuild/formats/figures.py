"""The figures that a font file of others gives, within what a hand's can be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import astuple

import numpy as np
from numpy.typing import NDArray

from capture.limits import SIZE_MM, is_plain
from fontbuild.font import Font
from fontbuild.formats.drawing import FARTHEST

LONGEST_FAMILY = 300
"""Characters; a licence may be as long as it likes, in many lines."""

STEEPEST_DEG = 80.0

MOST_PAIRS = 4_000_000
"""Pairs of characters that a font kerns: 2,000 letters with each other. Lists of letters name as many in a line."""


def possible(font: Font) -> Font:
    """Return a font of others.

    Raises
    ------
    ValueError
        If a figure of it is none, or one that no hand has: what is set in it would be nowhere. Points and kerning are
        checked where they are read (`near`).
    """
    if fault := next(_faults(font), ""):
        raise ValueError(fault)
    return font


def _faults(font: Font) -> Iterator[str]:
    metrics, (least, most) = font.metrics, SIZE_MM
    if not near(astuple(metrics)) or metrics.pen_width < 0 or abs(metrics.slant_deg) > STEEPEST_DEG:
        yield "its heights, its pen or its slant are none"
    elif metrics.x_height > 0 and not least <= metrics.x_height * font.mm_per_unit <= most:
        yield f"its x-height is not between {least:g} and {most:g} mm"
    glyphs = [g for some in (font.glyphs, font.in_words) for group in some.values() for g in group]
    if not near([glyph.advance for glyph in glyphs]) or not near([glyph.width for glyph in glyphs]):
        yield "an advance is none"
    if not near([value for glyph in glyphs for place in glyph.anchors.values() for value in place]):
        yield "an anchor lies nowhere on a letter"
    if not near(list(font.rhythm.values())):
        yield "its rhythm holds what is no number"
    if not isinstance(font.record.family, str) or not is_plain(font.record.family, LONGEST_FAMILY):
        yield f"its family has more than {LONGEST_FAMILY} characters, or holds control characters"
    if not all(
        isinstance(text, str) for glyph in glyphs for text in (glyph.name, glyph.char, glyph.ductus, glyph.source)
    ):
        yield "a glyph has no name"


class PairsError(ValueError):
    """A font kerns more pairs than are read."""

    def __init__(self) -> None:
        super().__init__(f"it kerns more than {MOST_PAIRS // 1_000_000} million pairs")


def near(values: Iterable[float] | NDArray[np.float64]) -> bool:
    """Return whether all values are numbers of font units that a letter has."""
    found = np.asarray(values if isinstance(values, np.ndarray) else list(values), float)
    return bool(np.all(np.abs(found) <= FARTHEST))  # not so for what is no number
