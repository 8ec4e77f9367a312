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
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import asdict
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import ufoLib2
from fontTools.ufoLib import UFOFileStructure
from fontTools.ufoLib.errors import UFOLibError
from ufoLib2.objects import Anchor, Contour, Guideline, Point

from capture.errors import FontFileError, OutputError
from capture.files import make_folder
from capture.units import Points
from fontbuild.font import UNITS_PER_EM, Font, Metrics, Record
from fontbuild.formats.features import rotation
from fontbuild.glyph import Glyph
from fontbuild.naming import base_name, char_of

KEY = "org.ownhand."
DOT = 1.0
"""Length of the line that stands for a dot, font units."""

DECIMALS = 3


# ---------------------------------------------------------------------------------------------- writing


def save_ufo(font: Font, path: Path, *, zipped: bool = False) -> Path:
    """Write `font` as UFO 3, a folder or (`zipped`) one .ufoz file; a font that stood there is replaced whole.

    Raises
    ------
    OutputError
        If the place cannot be written to, or holds something that is not a UFO.
    """
    return write_ufo(ufo_of(font), Path(path), zipped=zipped)


def write_ufo(ufo: ufoLib2.Font, path: Path, *, zipped: bool = False) -> Path:
    """Write a ufoLib2 font beside `path` and move it into place."""
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
    ufo.lib["public.glyphOrder"] = [".notdef", *order] if ".notdef" not in order else order
    _fill_kerning(ufo, font)
    ufo.features.text = rotation(names, sequences=sequences)
    ufo.lib[KEY + "mmPerUnit"] = font.mm_per_unit
    ufo.lib[KEY + "record"] = asdict(font.record)
    ufo.lib[KEY + "metrics"] = asdict(font.metrics)
    ufo.lib[KEY + "rhythm"] = dict(font.rhythm)
    return ufo


def notdef(metrics: Metrics) -> Glyph:
    """Return the glyph shown for what the font lacks: an empty box of the x-height."""
    x = metrics.x_height
    corners = x * np.array([[0.2, 0.0], [0.2, 1.0], [0.8, 1.0], [0.8, 0.0], [0.2, 0.0]])
    stroke = np.vstack([corners[:1], *(_straight(a, b) for a, b in pairwise(corners))])
    return Glyph(".notdef", "", (stroke,), advance=x)


def _straight(a: Points, b: Points) -> Points:
    return np.array([a + (b - a) / 3, a + (b - a) * 2 / 3, b])


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
    out.width = round(glyph.advance, DECIMALS)
    for stroke in glyph.strokes:
        out.contours.append(contour(stroke))
    for name, (x, y) in glyph.anchors.items():
        out.anchors.append(Anchor(round(x, DECIMALS), round(y, DECIMALS), name))
    for key, value in (("char", glyph.char), ("ductus", glyph.ductus), ("source", glyph.source)):
        if value:
            out.lib[KEY + key] = value
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
            names = [g.name for char in sorted(group) for g in font.glyphs[char]]
            ufo.groups[f"public.kern{side}.{base_name(min(group))}"] = names
        leaders.append(leader)
    first, second = leaders
    for (a, b), k in sorted(font.kerning.items()):
        if first[a] == a and second[b] == b:
            ufo.kerning[f"public.kern1.{base_name(a)}", f"public.kern2.{base_name(b)}"] = round(k, DECIMALS)


# ---------------------------------------------------------------------------------------------- reading


def open_ufo(path: Path) -> ufoLib2.Font:
    """Return the ufoLib2 font at `path`, folder or .ufoz.

    Raises
    ------
    FontFileError
        If it is not a UFO, or one with a fault.
    """
    if not path.exists():
        raise FontFileError(str(path), "there is no such font", "Build it first, or correct the name.")
    if path.is_dir() and not (path / "metainfo.plist").is_file():
        raise FontFileError(
            str(path), "is a folder without metainfo.plist, so not a UFO", "Give the .ufo folder itself."
        )
    try:
        ufo = ufoLib2.Font.open(path, lazy=False, validate=True)
    except (UFOLibError, OSError, ValueError, KeyError, TypeError, AttributeError, EOFError) as error:
        said = " ".join(str(error).split()) or type(error).__name__
        raise FontFileError(str(path), f"is not a UFO that can be read ({said})", "Restore or rebuild it.") from None
    return ufo


def load_ufo(path: Path) -> Font:
    """Return the font that `save_ufo` wrote; of other people's UFO files, what can be read as strokes.

    Straight and quadratic pieces become cubic ones, components their outlines. Without our own keys in `lib`, metrics
    come from the font's own figures, and one font unit is 3 mm / x-height.

    Raises
    ------
    FontFileError
        If it is not a UFO, one with a fault, or one without glyphs.
    """
    path = Path(path)
    ufo = open_ufo(path)
    try:
        return font_of(ufo)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        said = " ".join(str(error).split()) or type(error).__name__
        raise FontFileError(str(path), f"does not hold together ({said})", "Restore or rebuild it.") from None


def font_of(ufo: ufoLib2.Font) -> Font:
    """Return a ufoLib2 font as ours; see `load_ufo`."""
    listed = [n for n in ufo.lib.get("public.glyphOrder", []) if n in ufo]
    order = listed + [n for n in ufo.keys() if n not in set(listed)]  # noqa: SIM118, a Font is not a dict
    glyphs: dict[str, list[Glyph]] = {}
    for name in order:
        char = _char(ufo[name])
        if char and name != ".notdef":
            glyphs.setdefault(char, []).append(_read_glyph(ufo, name, char))
    if not glyphs:
        raise ValueError("it has no glyphs with characters")
    lib = ufo.lib
    metrics = Metrics(**lib[KEY + "metrics"]) if KEY + "metrics" in lib else _metrics(ufo, glyphs)
    record = Record(**lib[KEY + "record"]) if KEY + "record" in lib else _record(ufo)
    return Font(
        record=record,
        metrics=metrics,
        mm_per_unit=float(lib.get(KEY + "mmPerUnit", 3.0 / metrics.x_height)),
        glyphs={c: tuple(v) for c, v in glyphs.items()},
        kerning=_kerning(ufo, {g.name: c for c, v in glyphs.items() for g in v}),
        rhythm=dict(lib.get(KEY + "rhythm", {})),
    )


def _char(glyph: Any) -> str:
    if KEY + "char" in glyph.lib:
        return str(glyph.lib[KEY + "char"])
    if glyph.unicodes:
        return chr(glyph.unicodes[0])
    stem, dot, tail = str(glyph.name).rpartition(".v")
    return char_of(stem) if dot and tail.isdigit() else ""


def _read_glyph(ufo: ufoLib2.Font, name: str, char: str) -> Glyph:
    glyph = ufo[name]
    lib = glyph.lib
    return Glyph(
        name=name,
        char=char,
        strokes=strokes_of(ufo, name),
        advance=float(glyph.width),
        ductus=str(lib.get(KEY + "ductus", "")),
        anchors={a.name: (float(a.x), float(a.y)) for a in glyph.anchors if a.name},
        source=str(lib.get(KEY + "source", "")),
        width=float(lib.get(KEY + "inkWidth", 0.0)),
    )


def strokes_of(ufo: ufoLib2.Font, name: str) -> tuple[Points, ...]:
    """Return the contours of a glyph, components resolved, as cubic strokes; anything closed ends where it began."""
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    pen = DecomposingRecordingPen(ufo)
    ufo[name].draw(pen)
    return cubic_strokes(pen.value)


def cubic_strokes(drawing: list[tuple[str, tuple[Any, ...]]]) -> tuple[Points, ...]:
    """Return a recorded drawing (fontTools pen calls) as cubic strokes."""
    from fontTools.pens.basePen import decomposeQuadraticSegment, decomposeSuperBezierSegment

    strokes: list[list[tuple[float, float]]] = []
    for call, points in drawing:
        if call == "moveTo":
            strokes.append([points[0]])
        elif call == "lineTo":
            a, b = np.array(strokes[-1][-1], float), np.array(points[0], float)
            strokes[-1] += [tuple(p) for p in _straight(a, b)]
        elif call == "curveTo":
            for c1, c2, p in decomposeSuperBezierSegment(points) if len(points) > 3 else [points]:
                strokes[-1] += [c1, c2, p]
        elif call == "qCurveTo":
            if points[-1] is None:  # closed, without a point on the curve
                start = tuple((np.array(points[-2]) + np.array(points[0])) / 2)
                strokes.append([start])
                points = (*points[:-1], start)
            for q, p in decomposeQuadraticSegment(points):
                a, b, c = (np.array(v, float) for v in (strokes[-1][-1], q, p))
                strokes[-1] += [tuple(a + (b - a) * 2 / 3), tuple(c + (b - c) * 2 / 3), tuple(c)]
        elif call == "closePath" and strokes and strokes[-1][0] != strokes[-1][-1]:
            a, b = np.array(strokes[-1][-1], float), np.array(strokes[-1][0], float)
            strokes[-1] += [tuple(p) for p in _straight(a, b)]
    out = [np.array(s, float) for s in strokes]
    return tuple(s[:1] if len(s) == 4 and np.ptp(s, axis=0).max() <= DOT + 1e-6 else s for s in out)


def _kerning(ufo: ufoLib2.Font, char_of_glyph: Mapping[str, str]) -> dict[tuple[str, str], float]:
    """Return the kerning by characters: groups first, so that exceptions for single glyphs win (UFO 3, kerning)."""

    def chars(member: str) -> list[str]:
        names = ufo.groups.get(member, []) if member.startswith("public.kern") else [member]
        return list(dict.fromkeys(char_of_glyph[n] for n in names if n in char_of_glyph))

    def precedence(item: tuple[tuple[str, str], float]) -> int:
        return sum(not member.startswith("public.kern") for member in item[0])

    out: dict[tuple[str, str], float] = {}
    for (first, second), k in sorted(ufo.kerning.items(), key=precedence):
        for a in chars(first):
            for b in chars(second):
                out[a, b] = float(k)
    return out


def _metrics(ufo: ufoLib2.Font, glyphs: Mapping[str, list[Glyph]]) -> Metrics:
    from fontbuild.geometry import sample_glyph
    from fontbuild.metrics import measure

    info = ufo.info
    em = float(info.unitsPerEm or UNITS_PER_EM)
    ascender, descender = float(info.ascender or 0.75 * em), float(info.descender or -0.25 * em)
    x_height = float(info.xHeight or 0.5 * ascender)
    letters = {c: [sample_glyph(g) for g in v if g.strokes] for c, v in glyphs.items()}
    return measure(letters, pen_width=0.04 * em, guides=(x_height, ascender, descender))


def _record(ufo: ufoLib2.Font) -> Record:
    info = ufo.info
    return Record(
        family=str(info.familyName or "Unnamed"),
        writer=str(info.openTypeNameDesigner or ""),
        use=str(info.openTypeNameLicense or ""),
    )
