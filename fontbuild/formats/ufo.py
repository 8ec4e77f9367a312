"""UFO 3 (unifiedfontobject.org/versions/ufo3): the source of a hand's font.

Open contours are the strokes, in writing order, each beginning where the pen lands; a dot is an open line one unit
long. Variants are further glyphs, 'a.v2' beside 'a'. Kerning is by groups that hold all variants of a character. What
UFO has no place for is in `lib`, under `org.ownhand.`:

| key in the font's lib | value |
| --- | --- |
| org.ownhand.mmPerUnit | millimetres in a font unit, to draw the font in the size in which it was written |
| org.ownhand.record | family, writer, consent, use, year |
| org.ownhand.metrics | x_height, cap_height, ascender, descender, slant_deg, pen_width |
| org.ownhand.rhythm | habits of running text, see `fontbuild.metrics` |

| key in a glyph's lib | value |
| --- | --- |
| org.ownhand.char | the character or sequence that the glyph stands for |
| org.ownhand.ductus | variants with the same one can be blended |
| org.ownhand.source | the attempt it was written in, or what it was built from |
| org.ownhand.inkWidth | median width of the ink, font units |

The layer `org.ownhand.words` holds letters cut out of joined words that are no variants (`Font.in_words`).

Size, metrics and ductus stand once more in the notes of font and glyphs, as a line 'ownhand {...}' of JSON: font
editors keep notes and may drop a lib. Kerning is in whole units, which some editors ask for.
"""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Any

import ufoLib2
from fontTools.ufoLib import UFOFileStructure
from ufoLib2.objects import Anchor, Contour, Guideline, Point

from capture.errors import OutputError
from capture.files import make_folder
from capture.units import Points
from fontbuild.font import UNITS_PER_EM, Font
from fontbuild.formats.drawing import DOT, notdef
from fontbuild.formats.features import feature_code
from fontbuild.formats.packed import pack
from fontbuild.formats.ufo_reader import KEY, WORDS, font_of, load_ufo, note_of
from fontbuild.glyph import Glyph
from fontbuild.naming import base_name

__all__ = ["contour", "load_ufo", "save_ufo", "ufo_of", "write_ufo"]

DECIMALS = 3


def save_ufo(font: Font, path: Path, *, zipped: bool = False) -> Path:
    """Write `font` as UFO 3, a folder or (`zipped`) one .ufoz file; a font that stood there is replaced whole.

    Raises
    ------
    OutputError
        If the place cannot be written to, or holds something that is not a UFO.
    """
    return write_ufo(ufo_of(font), Path(path), zipped=zipped, packed=not zipped)


def write_ufo(ufo: ufoLib2.Font, path: Path, *, zipped: bool = False, packed: bool = False) -> Path:
    """Write a ufoLib2 font beside `path` and move it into place; `packed`: with its letters packed for fast loading.

    Raises
    ------
    OutputError
        If something other than a UFO is there already, or it cannot be written.
    """
    is_font = (path / "metainfo.plist").is_file() or (path.is_file() and path.suffix.lower() == ".ufoz")
    if path.exists() and not is_font and not (path.is_dir() and not any(path.iterdir())):
        raise OutputError(str(path), "is there already and is not a UFO", "Choose another name for the font.")
    make_folder(path.absolute().parent)
    try:
        room = Path(tempfile.mkdtemp(prefix=f".{path.name}.", suffix=".part", dir=path.absolute().parent))
    except OSError as error:
        raise _refused(path, error) from None
    try:
        fresh = room / path.name
        structure = UFOFileStructure.ZIP if zipped else UFOFileStructure.PACKAGE
        ufo.save(fresh, structure=structure, validate=True)
        if packed:
            pack(font_of(ufo), fresh)
        if path.exists():
            path.rename(room / "old")
        try:
            fresh.rename(path)
        except OSError:
            if (room / "old").exists():
                (room / "old").rename(path)
            raise
    except OSError as error:
        raise _refused(path, error) from None
    finally:
        shutil.rmtree(room, ignore_errors=True)
    return path


def _refused(path: Path, error: OSError) -> OutputError:
    reason = error.strerror or type(error).__name__
    return OutputError(str(path), f"cannot be written ({reason})", "Choose a place you may write to, with room on it.")


def ufo_of(font: Font) -> ufoLib2.Font:
    """Return `font` as a ufoLib2 font."""
    ufo = ufoLib2.Font()
    _fill_info(ufo, font)
    order = []
    names: dict[str, list[str]] = {}
    sequences: dict[str, list[str]] = {}
    for char, variants in font.glyphs.items():
        for number, glyph in enumerate(variants):
            out = ufo.newGlyph(glyph.name)
            _draw(out, glyph)
            if number == 0 and len(char) == 1:
                out.unicodes = [ord(char)]
            order.append(glyph.name)
        names[char] = [g.name for g in variants]
        parts = [base_name(c) for c in char]
        if len(char) > 1 and variants and all(c in font.glyphs for c in char):
            sequences[variants[0].name] = parts
    if ".notdef" not in ufo:
        _draw(ufo.newGlyph(".notdef"), notdef(font.metrics))
    if font.in_words:
        layer = ufo.newLayer(WORDS)
        for glyph in (g for group in font.in_words.values() for g in group):
            _draw(layer.newGlyph(glyph.name), glyph)
    ufo.lib["public.glyphOrder"] = [".notdef", *order] if ".notdef" not in order else order
    _fill_kerning(ufo, font)
    ufo.features.text = feature_code(names, sequences=sequences)
    # font editors drop what they do not know out of `lib`, notes they keep
    ufo.info.note = note_of({"mmPerUnit": font.mm_per_unit, "metrics": asdict(font.metrics)})
    ufo.lib[KEY + "mmPerUnit"] = font.mm_per_unit
    ufo.lib[KEY + "record"] = asdict(font.record)
    ufo.lib[KEY + "metrics"] = asdict(font.metrics)
    ufo.lib[KEY + "rhythm"] = dict(font.rhythm)
    return ufo


def _fill_info(ufo: ufoLib2.Font, font: Font) -> None:
    m, r, info = font.metrics, font.record, ufo.info
    info.familyName = r.family
    info.styleName = "Regular"
    info.versionMajor, info.versionMinor = 1, 0
    info.unitsPerEm = UNITS_PER_EM
    info.xHeight, info.capHeight = round(m.x_height, DECIMALS), round(m.cap_height, DECIMALS)
    info.ascender, info.descender = round(m.ascender, DECIMALS), round(m.descender, DECIMALS)
    info.italicAngle = round(-m.slant_deg, 2) + 0.0
    if r.writer:
        info.openTypeNameDesigner = r.writer
        info.copyright = f"Handwriting of {r.writer}" + (f", {r.year}" if r.year else "")
    if r.use:
        info.openTypeNameLicense = r.use
    if r.consent:
        info.openTypeNameDescription = r.consent
    lines = (("baseline", 0), ("x-height", m.x_height), ("capital height", m.cap_height), ("ascender", m.ascender))
    ufo.guidelines = [Guideline(y=round(y, DECIMALS), name=n) for n, y in (*lines, ("descender", m.descender))]


def _draw(out: Any, glyph: Glyph) -> None:
    out.width = round(float(glyph.advance), DECIMALS)
    for stroke in glyph.strokes:
        out.contours.append(contour(stroke))
    for name, (x, y) in glyph.anchors.items():
        out.anchors.append(Anchor(round(float(x), DECIMALS), round(float(y), DECIMALS), name))
    for key, value in (("char", glyph.char), ("ductus", glyph.ductus), ("source", glyph.source)):
        if value:
            out.lib[KEY + key] = value
    if glyph.ductus:
        out.note = note_of({"ductus": glyph.ductus})
    if glyph.width:
        out.lib[KEY + "inkWidth"] = round(glyph.width, DECIMALS)


def contour(stroke: Points) -> Contour:
    """Return a stroke as an open contour."""
    at = [(round(float(x), DECIMALS), round(float(y), DECIMALS)) for x, y in stroke]
    if len(at) == 1:
        (x, y) = at[0]
        return Contour([Point(x, y, "move"), Point(round(x + DOT, DECIMALS), y, "line")])
    points = [Point(*at[0], "move")]
    for i in range(1, len(at), 3):
        points += [Point(*at[i]), Point(*at[i + 1]), Point(*at[i + 2], "curve")]
    return Contour(points)


def _fill_kerning(ufo: ufoLib2.Font, font: Font) -> None:
    """Write the kerning between groups: characters that are kerned alike on a side share one."""
    rows: dict[str, dict[str, float]] = {}
    columns: dict[str, dict[str, float]] = {}
    for (a, b), k in font.kerning.items():
        rows.setdefault(a, {})[b] = k
        columns.setdefault(b, {})[a] = k
    leaders = []
    for side, table in enumerate((rows, columns), 1):
        alike: dict[frozenset[tuple[str, float]], list[str]] = {}
        for char, row in table.items():
            alike.setdefault(frozenset(row.items()), []).append(char)
        leader = {char: min(group) for group in alike.values() for char in group}
        for group in alike.values():
            names = [g.name for char in sorted(group) for g in font.glyphs.get(char, ())]
            ufo.groups[f"public.kern{side}.{base_name(min(group))}"] = names
        leaders.append(leader)
    first, second = leaders
    for (a, b), k in sorted(font.kerning.items()):
        if first[a] == a and second[b] == b:
            ufo.kerning[f"public.kern1.{base_name(a)}", f"public.kern2.{base_name(b)}"] = round(k)
