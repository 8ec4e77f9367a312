"""The figures that a font file of others gives, within what a hand's can be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import astuple
from itertools import product
from typing import Any

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

FIGURES = ("height", "width", "slant")
NEVER_NEGATIVE = ("_sd", "_sd_deg", "_error", "_seen", "gap_share")
"""Ends of the names of what is counted, or is a deviation, in a font's rhythm."""

TOLD_TOGETHER = {
    **{share: (f"{share}_error",) for share in map("{0[0]}_{0[1]}_share".format, product(("word", "line"), FIGURES))},
    "step": ("step_share", "step_sd"),
}
"""What of a font's rhythm says nothing without others."""

MOST_SCATTER = {"height_sd": 3.0, "width_sd": 3.0, "slant_sd": 90.0, "line_slope_sd_deg": 90.0, "letter_gap_share": 1.0}


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
    yield from _rhythm_faults(font.rhythm)
    if not isinstance(font.record.family, str) or not is_plain(font.record.family, LONGEST_FAMILY):
        yield f"its family has more than {LONGEST_FAMILY} characters, or holds control characters"
    if not all(
        isinstance(text, str) for glyph in glyphs for text in (glyph.name, glyph.char, glyph.ductus, glyph.source)
    ):
        yield "a glyph has no name"


def _rhythm_faults(rhythm: Mapping[Any, Any]) -> Iterator[str]:
    numbers = all(isinstance(k, str) and isinstance(v, int | float) for k, v in rhythm.items())
    if not (numbers and near(list(rhythm.values()))):
        yield "its rhythm holds what is no number"
    elif below := sorted(k for k, v in rhythm.items() if k.endswith(NEVER_NEGATIVE) and v < 0):
        yield f"its rhythm has a {below[0]} below 0"
    elif above := sorted(k for k, v in rhythm.items() if v > MOST_SCATTER.get(k, FARTHEST)):
        yield f"its rhythm has a {above[0]} above {MOST_SCATTER[above[0]]:g}"
    elif alone := sorted(k for k in rhythm if not set(TOLD_TOGETHER.get(k, ())) <= rhythm.keys()):
        yield f"its rhythm has {alone[0]} without {' and '.join(TOLD_TOGETHER[alone[0]])}"


class PairsError(ValueError):
    """A font kerns more pairs than are read."""

    def __init__(self) -> None:
        super().__init__(f"it kerns more than {MOST_PAIRS // 1_000_000} million pairs")


def near(values: Iterable[float] | NDArray[np.float64]) -> bool:
    """Return whether all values are numbers of font units that a letter has."""
    found = np.asarray(values if isinstance(values, np.ndarray) else list(values), float)
    return bool(np.all(np.abs(found) <= FARTHEST))  # not so for what is no number
