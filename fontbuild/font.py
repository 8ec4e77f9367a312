"""A stroke font in memory: what the builder makes, the file formats hold and the composer sets text with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fontbuild.glyph import Glyph

UNITS_PER_EM = 1000


@dataclass(frozen=True)
class Metrics:
    """Measured heights and habits of the hand, in font units (y up) and degrees."""

    x_height: float
    cap_height: float
    ascender: float
    descender: float
    """Negative."""

    slant_deg: float
    """Lean of the stems from the vertical, positive to the right."""

    pen_width: float


@dataclass(frozen=True)
class Record:
    """Whose hand it is and what may be done with it; fills the fonts' name and licence fields."""

    family: str
    writer: str = ""
    consent: str = ""
    use: str = ""
    """Agreed use, also the licence text of the fonts."""

    year: int = 0


@dataclass(frozen=True, eq=False)
class Font:
    """All letters of one hand.

    `mm_per_unit` draws the font at exactly the size in which it was written.
    """

    record: Record
    metrics: Metrics
    mm_per_unit: float
    glyphs: Mapping[str, tuple[Glyph, ...]]
    """By character (NFC): its variants, the best first. 'space' is the character ' ', with no strokes."""

    kerning: Mapping[tuple[str, str], float] = field(default_factory=dict)
    """By pair of characters: what is added to the advance of the first, font units."""

    rhythm: Mapping[str, float] = field(default_factory=dict)
    """Measured habits of running text (see `fontbuild.metrics`), empty where no ruled page was written."""

    in_words: Mapping[str, tuple[Glyph, ...]] = field(default_factory=dict)
    """By character: letters cut out of joined words that do not become variants. Beside the letters that they were
    written beside they are what the hand wrote, wherever the cut between two was made; by themselves they may not be
    letters."""
