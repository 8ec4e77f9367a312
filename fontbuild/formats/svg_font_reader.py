"""Reading single-line SVG 1.1 fonts that others made, and adding letters to them without touching what is there."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element, ParseError, tostring
from xml.sax.saxutils import quoteattr

import defusedxml.ElementTree as SafeET
from defusedxml.common import DefusedXmlException
from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import parse_path

from capture.errors import FontFileError
from fontbuild.font import UNITS_PER_EM, Font, Metrics, Record
from fontbuild.formats.drawing import FARTHEST, cubic_strokes, sane
from fontbuild.formats.figures import MOST_PAIRS, PairsError, possible
from fontbuild.formats.hkern import grouped, listed, unlisted
from fontbuild.formats.svg_font import glyph_element
from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.metrics import measure
from fontbuild.naming import base_name

MOST_BYTES = 50_000_000


@dataclass(frozen=True, eq=False)
class SvgFont:
    """An SVG font as it stands in its file."""

    path: Path
    text: str
    encoding: str
    font: Font
    """What it draws, in its own units."""

    kerning_by_char: Mapping[tuple[str, str], float]


def load_svg_font(path: Path) -> SvgFont:
    """Return the first font in an SVG file.

    Entities that are defined in the file and references to other files are refused.

    Raises
    ------
    FontFileError
        If it cannot be read, is no SVG with a font, or a glyph's path is faulty.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise FontFileError(str(path), f"cannot be read ({error.strerror})", "Correct the name.") from None
    if len(data) > MOST_BYTES:
        raise FontFileError(str(path), f"is {len(data) // 1_000_000} MB, fonts have up to 50", "Give a font.")
    try:
        root = SafeET.fromstring(data, forbid_dtd=False, forbid_entities=True, forbid_external=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError) as error:
        said = "entities of its own" if isinstance(error, DefusedXmlException) else str(error)
        raise FontFileError(str(path), f"is not an SVG font that can be read ({said})", "Give an SVG font.") from None
    found = [e for e in root.iter() if _local(e) == "font"]
    if not found:
        raise FontFileError(str(path), "is XML without a <font> element", "Give an SVG 1.1 font.")
    declared = re.match(rb"<\?xml[^>]*encoding=[\"']([\w.-]+)", data.lstrip(b"\xef\xbb\xbf"))
    encoding = declared[1].decode("ascii") if declared else "utf-8"
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encoding = "utf-16"  # XML 1.0, 4.3.3: such a file begins with a byte order mark
    try:
        text = data.decode("utf-8-sig" if encoding.lower() in ("utf-8", "utf8") else encoding)
    except (UnicodeError, LookupError):
        raise FontFileError(str(path), f"is not text in {encoding}, as it says", "Save it in UTF-8.") from None
    glyphs = _glyphs(found[0], path)
    if not glyphs:
        raise FontFileError(str(path), "has a font without glyphs", "Give a font with letters in it.")
    face = next((e for e in found[0].iter() if _local(e) == "font-face"), None)
    attributes = dict(face.attrib) if face is not None else {}
    record = Record(attributes.get("font-family") or found[0].get("id") or path.stem)
    try:
        kerning = _kerning(found[0], {g.name: c for c, (g,) in glyphs.items()})
        metrics = _metrics(attributes, glyphs)
        font = possible(Font(record, metrics, 3.0 / metrics.x_height, glyphs, kerning))
    except ZeroDivisionError:
        what = "does not hold together (its letters are 0 high: see units-per-em, x-height)"
        raise FontFileError(str(path), what, "Mend the font.") from None
    except ValueError as error:
        raise FontFileError(str(path), f"does not hold together ({error})", "Mend the font.") from None
    return SvgFont(path, text, encoding, font, kerning)


def _local(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _glyphs(font: Element, path: Path) -> dict[str, tuple[Glyph]]:
    default = _number(font.get("horiz-adv-x"), 0.0)
    out: dict[str, tuple[Glyph]] = {}
    for element in font:
        if _local(element) != "glyph" or not element.get("unicode"):
            continue
        char = unicodedata.normalize("NFC", str(element.get("unicode")))
        if char in out:
            continue
        pen = RecordingPen()
        try:
            parse_path(element.get("d") or "", pen)
            strokes = sane(cubic_strokes(pen.value))
        except (OverflowError, ZeroDivisionError, ValueError, IndexError, TypeError, AttributeError) as error:
            said = " ".join(str(error).split()) or type(error).__name__
            raise FontFileError(str(path), f"glyph {char!r} has a faulty path ({said})", "Mend the font.") from None
        advance = _number(element.get("horiz-adv-x"), default)
        out[char] = (Glyph(element.get("glyph-name") or base_name(char), char, strokes, advance),)
    return out


def _number(text: str | None, default: float) -> float:
    try:
        value = float(text) if text else default
    except ValueError:
        return default
    return value if abs(value) <= FARTHEST else default


def _metrics(face: Mapping[str, str], glyphs: Mapping[str, Sequence[Glyph]]) -> Metrics:
    em = _number(face.get("units-per-em"), UNITS_PER_EM)
    ascender, descender = _number(face.get("ascent"), 0.75 * em), _number(face.get("descent"), -0.25 * em)
    x_height = _number(face.get("x-height"), 0.6 * ascender)
    letters = {c: [sample_glyph(g) for g in v if g.strokes] for c, v in glyphs.items()}
    return measure(letters, pen_width=0.03 * em, guides=(x_height, ascender, -abs(descender)))


def _kerning(font: Element, chars: Mapping[str, str]) -> dict[tuple[str, str], float]:
    out: dict[tuple[str, str], float] = {}
    known = set(chars.values())
    pairs = 0
    for element in font:
        if _local(element) != "hkern":
            continue
        sides = []
        for n in ("1", "2"):
            names = [g.strip() for g in (element.get("g" + n) or "").split(",")]
            sides.append(unlisted(element.get("u" + n) or "", known) + [chars[g] for g in names if g in chars])
        pairs += len(sides[0]) * len(sides[1])
        if pairs > MOST_PAIRS:
            raise PairsError
        for a in sides[0]:
            for b in sides[1]:
                out.setdefault((a, b), -_number(element.get("k"), 0.0))
    return out


def with_glyphs(source: SvgFont, added: Mapping[str, Glyph], kerning: Mapping[tuple[str, str], float]) -> str:
    """Return the text of the file with glyphs and kerning put in before the font's end; every other byte stays.

    Raises
    ------
    FontFileError
        If the file has a font without an end.
    """
    bare = re.sub(r"<!--.*?-->|<!\[CDATA\[.*?\]\]>", lambda m: " " * len(m[0]), source.text, flags=re.DOTALL)
    start = re.search(r"<(?P<prefix>[\w.-]+:)?font[\s>]", bare)
    prefix = (start["prefix"] or "") if start else ""
    end = re.search(rf"</{re.escape(prefix)}font\s*>", bare[start.end() :]) if start else None
    if start is None or end is None:
        raise FontFileError(str(source.path), "has a font without an end", "Mend the font.")
    at = start.end() + end.start()
    at = len(source.text[:at].rstrip(" \t"))  # not by the pattern, which would try every space of a long row
    newline = "\r\n" if "\r\n" in source.text else "\n"
    lines = []
    for char, glyph in added.items():
        element = glyph_element(char, glyph)
        element.tag = prefix + element.tag
        lines.append(tostring(element, encoding="unicode"))
    for kern in grouped(kerning, digits=2):
        first, second = (quoteattr(listed(chars)) for chars in (kern.first, kern.second))
        lines.append(f"<{prefix}hkern u1={first} u2={second} k={quoteattr(f'{-kern.k:g}')}/>")
    return source.text[:at].rstrip(" \t") + "".join(f"{line}{newline}" for line in lines) + source.text[at:]
