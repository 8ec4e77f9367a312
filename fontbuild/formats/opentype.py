"""OpenType fonts whose outlines are the strokes at the width of the pen: the same hand in an ordinary word processor.

Each stroke is expanded with round ends and joins and the overlaps are removed (Skia's stroker and path operations, by
way of `skia-pathops`). ufo2ft and fontTools compile the outlines, kerning (GPOS kern), mark positions (GPOS mark) and
the features that turn the variants over (GSUB calt, salt).
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

import pathops
import ufo2ft
import ufoLib2
from fontTools.feaLib.builder import addOpenTypeFeaturesFromString
from fontTools.misc.timeTools import epoch_diff
from fontTools.ttLib import TTFont
from ufo2ft import featureWriters

from capture.files import write_bytes
from capture.units import Points
from fontbuild.font import UNITS_PER_EM, Font
from fontbuild.formats.code_pages import code_pages
from fontbuild.formats.drawing import notdef
from fontbuild.formats.features import near_turns, without_turns
from fontbuild.formats.mark_positions import with_positions
from fontbuild.formats.sight import look_far
from fontbuild.formats.spelling import spelt
from fontbuild.formats.ufo import ufo_of
from fontbuild.glyph import Glyph
from fontbuild.joins import ENTRY, EXIT

Progress = Callable[[str, int, int], None]

NUDGES = (0.0, 1e-4, -1e-4, 1e-3, -1e-3)
"""Shares by which the pen's width is changed in turn where Skia finds no way through the overlaps of an outline, as it
does not always where lines lie nearly on each other; a ten-thousandth of a pen is four thousandths of a unit."""

FACTS = "Not for signatures or cheques."
"""Stands in every licence field: a hand is not to be used to deceive."""


def outline(strokes: Sequence[Points], *, pen_width: float) -> pathops.Path:
    """Return the outline of strokes drawn with a round pen, overlaps removed.

    Parameters
    ----------
    strokes : sequence of ndarray of shape (3 k + 1, 2)
        Cubic strokes, font units; a dot becomes a disc.
    """
    for nudge in NUDGES:
        drawn = _stroked(strokes, pen_width * (1.0 + nudge))
        try:
            drawn.simplify(fix_winding=True, keep_starting_points=False)
        except pathops.PathOpsError:
            continue
        return drawn
    # overlaps that nothing removes are inked once all the same: outlines are filled by the nonzero rule
    return _stroked(strokes, pen_width)


def _stroked(strokes: Sequence[Points], pen_width: float) -> pathops.Path:
    """Return the outline with its overlaps."""
    drawn = pathops.Path()
    for stroke in strokes:
        one = pathops.Path()
        pen = one.getPen()
        points = [(float(x), float(y)) for x, y in stroke]
        pen.moveTo(points[0])
        if len(points) == 1:
            pen.lineTo((points[0][0] + 0.01, points[0][1]))
        for i in range(1, len(points), 3):
            pen.curveTo(*points[i : i + 3])
        pen.endPath()
        one.stroke(pen_width, pathops.LineCap.ROUND_CAP, pathops.LineJoin.ROUND_JOIN, 4.0)
        drawn.addPath(one)
    drawn.convertConicsToQuads(0.25)
    return drawn


def _inked(font: Font, *, progress: Progress | None) -> ufoLib2.Font:
    """Return the UFO with outlines in the place of strokes."""
    font, spelling = spelt(with_positions(font))
    ufo = ufo_of(font)
    if spelling:
        rules = "\n".join(f"    sub {name} by {' '.join(parts)};" for name, parts in spelling.items())
        ufo.features.text += f"\nfeature ccmp {{\n{rules}\n}} ccmp;\n"
    ufo.info.openTypeOS2CodePageRanges = code_pages(font)
    pen_width = max(font.metrics.pen_width, 5.0)
    glyphs: list[Glyph] = [g for variants in font.glyphs.values() for g in variants]
    for done, g in enumerate([*glyphs, notdef(font.metrics)]):
        if progress:
            progress("ink outlines", done, len(glyphs))
        out = ufo[g.name]
        out.clearContours()
        out.width = round(max(g.advance, 0.0))
        for anchor in out.anchors:
            anchor.x, anchor.y = round(anchor.x), round(anchor.y)
        if g.strokes:
            outline(g.strokes, pen_width=pen_width).draw(out.getPen())
    _fill_names(ufo, font)
    _fill_heights(ufo, font)
    return ufo


def _fill_heights(ufo: ufoLib2.Font, font: Font) -> None:
    """Fill the vertical metrics that programs ask for, from the ink itself so that nothing is cut off."""
    half = font.metrics.pen_width / 2
    points = [s for v in font.glyphs.values() for g in v for s in g.strokes]
    tops = [float(s[:, 1].max()) for s in points] or [font.metrics.ascender]
    feet = [float(s[:, 1].min()) for s in points] or [font.metrics.descender]
    high, low = round(max(tops) + half), round(min(feet) - half)
    info, m = ufo.info, font.metrics
    ascender, descender = round(max(m.ascender, m.cap_height) + half), round(m.descender - half)
    info.ascender, info.descender = ascender, descender
    info.xHeight, info.capHeight = round(m.x_height), round(m.cap_height)
    info.openTypeOS2TypoAscender, info.openTypeOS2TypoDescender = ascender, descender
    info.openTypeOS2TypoLineGap = max(0, round(1.35 * UNITS_PER_EM) - ascender + descender)
    info.openTypeHheaAscender, info.openTypeHheaDescender = max(high, ascender), min(low, descender)
    info.openTypeHheaLineGap = 0
    info.openTypeOS2WinAscent, info.openTypeOS2WinDescent = max(high, ascender), max(-low, -descender)
    info.postscriptUnderlinePosition = round(0.5 * m.descender)
    info.postscriptUnderlineThickness = max(1, round(m.pen_width))
    info.openTypeOS2Type = [2]  # preview and print embedding: what a letter to a guest needs, no more


def _fill_names(ufo: ufoLib2.Font, font: Font) -> None:
    r, info = font.record, ufo.info
    info.openTypeNameVersion = "Version 1.000"
    info.openTypeNameUniqueID = f"{r.family} Regular; {r.writer}; {r.year}".strip("; ")
    ascii_name = unicodedata.normalize("NFKD", r.family).encode("ascii", "ignore").decode()
    info.postscriptFontName = ("".join(c for c in ascii_name if c.isalnum()) or "Hand")[:50] + "-Regular"
    info.openTypeNameLicense = " ".join(t for t in (r.use, FACTS) if t)
    info.openTypeOS2VendorID = "NONE"


def compile_font(font: Font, *, flavour: str = "ttf", progress: Progress | None = None) -> TTFont:
    """Return the OpenType font of a hand: quadratic outlines ('ttf') or cubic ones ('otf').

    Raises
    ------
    ValueError
        If `flavour` is neither.
    """
    if flavour not in ("ttf", "otf"):
        raise ValueError(f"flavour must be 'ttf' or 'otf', got {flavour!r}")
    ufo = _inked(font, progress=progress)
    writers = [featureWriters.KernFeatureWriter, featureWriters.MarkFeatureWriter, featureWriters.GdefFeatureWriter]
    if any({ENTRY, EXIT} & g.anchors.keys() for group in font.glyphs.values() for g in group):
        # only then: this writer compiles all features once more to find out
        writers.append(featureWriters.CursFeatureWriter)
    common = {"removeOverlaps": False, "featureWriters": writers, "inplace": True}
    # ufo2ft compiles all rules twice, once only to know which glyphs stand for which; those that turn over take long
    rules = ufo.features.text
    ufo.features.text, turns = without_turns(rules)
    if flavour == "otf":
        made = ufo2ft.compileOTF(ufo, **common, optimizeCFF=ufo2ft.CFFOptimization.SPECIALIZE)
    else:
        made = ufo2ft.compileTTF(ufo, **common, convertCubics=False)  # Skia strokes in quadratic curves
    if turns:
        addOpenTypeFeaturesFromString(made, near_turns(rules), tables=["GSUB"])
        look_far(made, {c: [g.name for g in v] for c, v in font.glyphs.items()})
    return made


def save_opentype(font: Font, path: Path, *, progress: Progress | None = None) -> Path:
    """Write `font` as OpenType; the suffix says whether .ttf or .otf.

    Raises
    ------
    OutputError
        If the place cannot be written to.
    """
    path = Path(path)
    data = io.BytesIO()
    flavour = "otf" if path.suffix.lower() == ".otf" else "ttf"
    made = compile_font(font, flavour=flavour, progress=progress)
    # the same letters give the same file: no time of day in it
    made.recalcTimestamp = False
    made["head"].created = made["head"].modified = _new_year(font.record.year)
    made.save(data)
    return write_bytes(path, data.getvalue())


def _new_year(year: int) -> int:
    """Return the first moment of a year in seconds since 1904 (OpenType, head); of 2000 where none is known."""
    moment = datetime(year if 1904 <= year <= 2100 else 2000, 1, 1, tzinfo=UTC)
    return int(moment.timestamp()) - int(epoch_diff)
