"""The typeface of the printed words: an open font (SIL OFL 1.1), shipped with its licence in `capture/fonts`.

It covers Latin with the Vietnamese letters, Greek and Cyrillic. Words are set glyph by glyph from the character map,
with plain advances, so that the PDF, which embeds the font, and the SVG, which draws its outlines, are the same.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from capture.labels import code_points, shown_form

_FOLDER = Path(__file__).with_name("fonts")


def font_path(*, bold: bool = False) -> Path:
    """Return where the font file lies."""
    return _FOLDER / ("labels-semibold.ttf" if bold else "labels-regular.ttf")


class LabelFont:
    """Widths and outlines of one weight. Outlines have y up, in font units."""

    def __init__(self, path: Path) -> None:
        from fontTools.ttLib import TTFont

        font = TTFont(path, lazy=True)
        self.units_per_em = int(font["head"].unitsPerEm)
        self._glyphs: Any = font.getGlyphSet()
        self._names: dict[int, str] = font.getBestCmap()

    def covers(self, text: str) -> bool:
        """Return whether all characters of `text` are in the font."""
        return all(ord(c) in self._names for c in text)

    def glyph_name(self, char: str) -> str:
        """Return the name of the glyph of one code point; '.notdef' where there is none."""
        return self._names.get(ord(char), ".notdef")

    def advance(self, char: str) -> float:
        """Return the advance of one code point, in ems."""
        return float(self._glyphs[self.glyph_name(char)].width) / self.units_per_em

    def width_mm(self, text: str, size_mm: float) -> float:
        """Return the width of `text` set at `size_mm` to the em."""
        return sum(self.advance(c) for c in text) * size_mm

    def outline(self, char: str) -> str:
        """Return the outline of one code point as SVG path data."""
        return _outline(self, char)


@cache
def _outline(font: LabelFont, char: str) -> str:
    from fontTools.pens.svgPathPen import SVGPathPen

    pen = SVGPathPen(font._glyphs)
    font._glyphs[font.glyph_name(char)].draw(pen)
    return str(pen.getCommands())


@cache
def label_font(*, bold: bool = False) -> LabelFont:
    """Return the font of the printed words."""
    return LabelFont(font_path(bold=bold))


def has_label(char: str) -> bool:
    """Return whether the font can print a character."""
    return label_font().covers(shown_form(char))


def printed_form(char: str) -> str:
    """Return a character as the font can print it, else its number: never a box.

    Examples
    --------
    >>> printed_form("e"), printed_form("\U0001d4b6")
    ('e', 'U+1D4B6')
    """
    return shown_form(char) if has_label(char) else code_points(char)
