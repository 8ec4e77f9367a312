"""SVG 1.1 fonts (w3.org/TR/SVG11/fonts.html) with open centre-line paths, for programs that read single-line fonts.

The standard has no alternates, so each set of variants is a file of its own. y grows upwards, unlike in the rest of
SVG. Kerning is in whole units and in groups (`hkern`). A dot is a line of one unit.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

from capture.files import page_file, write_text
from capture.units import Points
from fontbuild.font import UNITS_PER_EM, Font
from fontbuild.formats.drawing import DOT, notdef
from fontbuild.formats.hkern import grouped
from fontbuild.glyph import Glyph
from fontbuild.naming import base_name

SVG = "http://www.w3.org/2000/svg"
MOST_SETS = 6
"""Files written at most: what comes after has fewer and fewer new shapes."""

APART = 0.01
"""Font units that are left between the two ends of a closed stroke."""

HEAD = 20_000
"""Characters at the start of a file within which its <font-face> stands."""


def path_data(strokes: tuple[Points, ...]) -> str:
    """Return strokes as SVG path data of open subpaths, rounded to hundredths.

    Examples
    --------
    >>> import numpy as np
    >>> path_data((np.array([[1.0, 2.0]]), np.array([[0, 0], [1, 0.5], [2, 0.5], [3, 0]])))
    'M1 2h1M0 0C1 0.5 2 0.5 3 0'
    """
    parts = []
    for stroke in strokes:
        pairs = [f"{number(x)} {number(y)}" for x, y in stroke]
        if len(pairs) > 1 and pairs[0] == pairs[-1]:
            # Some programs close a path whose ends meet; the pen's way has a beginning and an end.
            pairs[-1] = f"{number(stroke[-1][0] + APART)} {number(stroke[-1][1])}"
        tail = f"h{number(DOT)}" if len(pairs) == 1 else "C" + " ".join(pairs[1:])
        parts.append(f"M{pairs[0]}{tail}")
    return "".join(parts)


def number(value: float) -> str:
    """Return a number in hundredths, without needless zeros."""
    return f"{round(float(value), 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def sets(font: Font) -> int:
    """Return how many files the variants of `font` fill."""
    return max(1, min(MOST_SETS, max((len(v) for v in font.glyphs.values()), default=1)))


def svg_font(font: Font, *, variants: int = 1, kerns: Sequence[Mapping[str, str]] | None = None) -> str:
    """Return the SVG document of one set of variants (from 1); characters with fewer begin again.

    kerns: what `kerning_of` gives, where it is there already; it is the same for all sets.

    Raises
    ------
    ValueError
        If there is no such set.
    """
    if not 1 <= variants <= sets(font):
        raise ValueError(f"variants must be 1 to {sets(font)}, got {variants}")
    chosen = {char: v[(variants - 1) % len(v)] for char, v in font.glyphs.items() if v}
    family = font.record.family + (f" {variants}" if variants > 1 else "")
    m = font.metrics
    root = ET.Element("svg", {"xmlns": SVG, "version": "1.1"})
    if about := _about(font):
        ET.SubElement(root, "metadata").text = about
    defs = ET.SubElement(root, "defs")
    space = chosen[" "].advance if " " in chosen else m.x_height
    identity = "".join(c for c in family if c.isalnum() or c in "-_") or "font"
    out = ET.SubElement(defs, "font", {"id": f"f-{identity}", "horiz-adv-x": number(space)})
    ET.SubElement(
        out,
        "font-face",
        {
            "font-family": family,
            "units-per-em": str(UNITS_PER_EM),
            "ascent": number(m.ascender),
            "descent": number(m.descender),
            "cap-height": number(m.cap_height),
            "x-height": number(m.x_height),
            "slope": number(-m.slant_deg),
        },
    )
    empty = notdef(m)
    ET.SubElement(out, "missing-glyph", {"horiz-adv-x": number(empty.advance), "d": path_data(empty.strokes)})
    # The first glyph that matches the text is used (20.4), so the longer sequences come first.
    for char, glyph in sorted(chosen.items(), key=lambda item: -len(item[0])):
        out.append(glyph_element(char, glyph))
    for kern in kerning_of(font) if kerns is None else kerns:
        ET.SubElement(out, "hkern", dict(kern))
    ET.indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def kerning_of(font: Font) -> list[dict[str, str]]:
    """Return the attributes of the <hkern> elements, by the names of the glyphs."""
    there = {char for char, variants in font.glyphs.items() if variants}
    return [
        {
            "g1": ",".join(map(base_name, kern.first)),
            "g2": ",".join(map(base_name, kern.second)),
            "k": number(-kern.k),
        }
        for kern in grouped({pair: k for pair, k in font.kerning.items() if there.issuperset(pair)})
    ]


def glyph_element(char: str, glyph: Glyph) -> ET.Element:
    """Return the <glyph> of a character."""
    attributes: Mapping[str, str] = {
        "unicode": char,
        "glyph-name": base_name(char),
        "horiz-adv-x": number(max(glyph.advance, 0.0)),
    }
    drawn = {"d": path_data(glyph.strokes)} if glyph.strokes else {}
    return ET.Element("glyph", {**attributes, **drawn})


def _about(font: Font) -> str:
    r = font.record
    said = (
        f"Handwriting of {r.writer}{f', {r.year}' if r.year else ''}." if r.writer else "",
        f"Consent: {r.consent}" if r.consent else "",
        f"Use: {r.use}" if r.use else "",
    )
    return " ".join(s for s in said if s)


def save_svg_fonts(font: Font, path: Path) -> list[Path]:
    """Write every set of variants: `path` for the first, then `<stem>-2.svg` and so on; return what was written.

    Files of further sets that an earlier build of the same font with more variants left there are removed.

    Raises
    ------
    OutputError
        If the place cannot be written to.
    """
    path = Path(path)
    written, kerns = [], kerning_of(font)
    for n in range(1, sets(font) + 1):
        written.append(write_text(page_file(path, n), svg_font(font, variants=n, kerns=kerns)))
    for n in range(sets(font) + 1, MOST_SETS + 1):
        if _is_ours(old := page_file(path, n), f"{font.record.family} {n}"):
            old.unlink(missing_ok=True)
    return written


def _is_ours(file: Path, family: str) -> bool:
    """Return whether a file is a set of variants of the family: one that only has such a name is somebody's own."""
    try:
        with file.open(encoding="utf-8") as stream:
            head = stream.read(HEAD)
    except (OSError, UnicodeDecodeError):
        return False
    quoted = escape(family, {'"': "&quot;"})
    return f'<font-face font-family="{quoted}" units-per-em="{UNITS_PER_EM}"' in head
