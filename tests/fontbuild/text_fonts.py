"""Fonts that others drew, as glyphs of ours: outlines instead of strokes, to compare spacing and shapes with."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import uharfbuzz as hb
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont

from fontbuild.font import Metrics
from fontbuild.formats.drawing import cubic_strokes
from fontbuild.geometry import glyph_bounds
from fontbuild.glyph import Glyph


@dataclass(frozen=True, eq=False)
class TextFont:
    glyphs: dict[str, Glyph]
    metrics: Metrics
    shaper: hb.Font
    scale: float

    def advance(self, text: str) -> float:
        """Return the advance of the first glyph of `text`, kerned by HarfBuzz, font units of 1/1000 em."""
        buffer = hb.Buffer()
        buffer.add_str(text)
        buffer.guess_segment_properties()
        hb.shape(self.shaper, buffer, {"kern": True, "liga": False, "calt": False})
        return float(buffer.glyph_positions[0].x_advance * self.scale)

    def distance(self, a: str, b: str) -> float:
        """Return how far the outermost inks of two neighbours are apart in the font's own spacing."""
        return self.advance(a + b) - glyph_bounds(self.glyphs[a])[2] + glyph_bounds(self.glyphs[b])[0]


def load_text_font(path: Path) -> TextFont:
    """Return the letters, figures and points of a TrueType font."""
    font = TTFont(path)
    drawn, names = font.getGlyphSet(), font.getBestCmap()
    scale = 1000 / font["head"].unitsPerEm
    glyphs = {}
    for code in [*range(0x21, 0x7F)]:
        if code not in names:
            continue
        pen = DecomposingRecordingPen(drawn)
        drawn[names[code]].draw(pen)
        strokes = tuple(s * scale for s in cubic_strokes(pen.value))
        glyphs[chr(code)] = Glyph(chr(code), chr(code), strokes, drawn[names[code]].width * scale)
    box = {c: glyph_bounds(glyphs[c]) for c in "xHdp"}
    metrics = Metrics(box["x"][3], box["H"][3], box["d"][3], box["p"][1], 0.0, 1.0)
    return TextFont(glyphs, metrics, hb.Font(hb.Face(hb.Blob.from_file_path(str(path)))), scale)
