"""Letters for single-line fonts that are not ours: from a sheet, or composed from the font's own parts.

Everything that is in the font stays as it is. Marks come, in this order, from its combining marks, its spacing marks,
its accented letters taken apart, and, in fonts that only know ASCII, from what has the shape (`mark_fallbacks`): a
small slash for an acute, a small v for a caron, two points for a diaeresis, a comma for a cedilla.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from capture.errors import FontFileError, UsageError
from capture.files import write_bytes
from capture.languages import characters_for
from fontbuild.accents import build_accents
from fontbuild.build import SetAside
from fontbuild.font import Font, Metrics
from fontbuild.formats.svg_font_reader import load_svg_font, with_glyphs
from fontbuild.formats.ufo import contour, write_ufo
from fontbuild.formats.ufo_reader import KEY, font_in, open_ufo
from fontbuild.geometry import bounds, sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.import_letters import Adopted, adopt
from fontbuild.marks import mark_strokes, parts_of
from fontbuild.naming import variant_name
from fontbuild.stroked_letters import build_barred
from fontbuild.usable_attempts import BuildingRules
from skeleton.attempt import Attempt

SPACING = {
    "\u0301": "\u00b4",
    "\u0302": "\u02c6",
    "\u0303": "\u02dc",
    "\u0304": "\u00af",
    "\u0306": "\u02d8",
    "\u0307": "\u02d9",
    "\u0308": "\u00a8",
    "\u030a": "\u02da",
    "\u030b": "\u02dd",
    "\u030c": "\u02c7",
    "\u0327": "\u00b8",
    "\u0328": "\u02db",
}
"""Spacing marks that stand for combining ones (Unicode's compatibility decompositions)."""


@dataclass(frozen=True)
class Extension:
    """What was added to a font, and what it still lacks."""

    path: Path
    added: tuple[str, ...]
    missing: tuple[str, ...]
    written: tuple[str, ...] = ()
    """Those of `added` that come from the sheet as they were written."""

    set_aside: tuple[SetAside, ...] = ()
    """Attempts of the sheet that were not used."""

    renamed: tuple[tuple[str, str], ...] = ()
    """Letters whose usual glyph name stands for something else in the font already, and the name they got."""


def extend_font(
    path: Path,
    languages: Iterable[str],
    *,
    out: Path,
    attempts: Sequence[Attempt] = (),
    decisions: BuildingRules | None = None,
) -> Extension:
    """Write to `out` the font at `path` with the accented letters that the languages need and it lacks.

    With the `attempts` of a sheet, all that was written and that the font lacks is added as it was written, and marks
    that the font has not got come from the sheet too; a written letter wins over a composed one.

    Parameters
    ----------
    path
        An SVG 1.1 font (.svg) or a UFO (.ufo, .ufoz); never written to, unless it is `out` too.
    languages
        As `capture.languages.characters_for` takes them.
    attempts
        What was written on a sheet for this font.
    decisions
        Which attempts the person kept or set aside.

    Raises
    ------
    FontFileError
        If the font cannot be read.
    UsageError
        If a language is unknown, or the suffixes are not those of one kind of font.
    OutputError
        If `out` cannot be written.
    InputError
        If there are attempts and none can be used.
    """
    path, out, languages = Path(path), Path(out), list(languages)
    needed = characters_for(languages) if languages else []
    kinds = [{".svg": "svg", ".ufo": "ufo", ".ufoz": "ufo"}.get(p.suffix.lower()) for p in (path, out)]
    if kinds[0] is None:
        raise FontFileError(str(path), "is neither an SVG font nor a UFO by its name", "Give a .svg, .ufo or .ufoz.")
    if kinds[0] != kinds[1]:
        raise UsageError(str(out), f"the extended font stays of its kind, {path.suffix}", f"Name it {path.suffix}.")
    return (_extend_svg if kinds[0] == "svg" else _extend_ufo)(path, needed, out, attempts, decisions)


def _extend_svg(
    path: Path, needed: Sequence[str], out: Path, attempts: Sequence[Attempt], decisions: BuildingRules | None
) -> Extension:
    source = load_svg_font(path)
    sheet = adopt(attempts, source.font, decisions=decisions) if attempts else Adopted()
    added = compose_missing(source.font, needed, sheet)
    kerning = _kerning_of(added, source.kerning_by_char)
    text = with_glyphs(source, {c: g[0] for c, g in added.items()}, kerning)
    try:
        data = text.encode(source.encoding)
    except UnicodeEncodeError:
        data = text.encode(source.encoding, "xmlcharrefreplace")
    write_bytes(out, data)
    return _told(out, source.font, added, needed, sheet)


def _extend_ufo(
    path: Path, needed: Sequence[str], out: Path, attempts: Sequence[Attempt], decisions: BuildingRules | None
) -> Extension:
    ufo = open_ufo(path)
    font = font_in(ufo, path)
    sheet = adopt(attempts, font, decisions=decisions) if attempts else Adopted()
    added = compose_missing(font, needed, sheet)
    order = list(ufo.lib.get("public.glyphOrder", []))
    added, renamed = _under_free_names(added, set(ufo.keys()))
    for char, variants in added.items():
        for number, glyph in enumerate(variants):
            new = ufo.newGlyph(glyph.name)
            new.width = round(glyph.advance, 3)
            new.contours.extend(contour(s) for s in glyph.strokes)
            new.lib[KEY + "char"], new.lib[KEY + "source"] = char, glyph.source
            if number == 0 and len(char) == 1:
                new.unicodes = [ord(char)]
            order.append(glyph.name)
    if order:
        ufo.lib["public.glyphOrder"] = order
    names = {c: v[0].name for c, v in font.glyphs.items()} | {c: v[0].name for c, v in added.items()}
    for (a, b), k in _kerning_of(added, font.kerning).items():
        ufo.kerning.setdefault((names[a], names[b]), k)
    write_ufo(ufo, out, zipped=out.suffix.lower() == ".ufoz")
    return replace(_told(out, font, added, needed, sheet), renamed=renamed)


def _under_free_names(
    added: Mapping[str, Sequence[Glyph]], taken: Set[str]
) -> tuple[dict[str, tuple[Glyph, ...]], tuple[tuple[str, str], ...]]:
    """Return new letters under names that the font does not use, and those of them that had to have another one."""
    used = set(taken)
    out: dict[str, tuple[Glyph, ...]] = {}
    renamed = []
    for char, variants in added.items():
        named = []
        for glyph in variants:
            number = 1
            name = glyph.name
            while name in used:
                number += 1
                name = variant_name(char, number)
            used.add(name)
            named.append(replace(glyph, name=name))
        if named and named[0].name != variants[0].name:
            renamed.append((char, named[0].name))
        out[char] = tuple(named)
    return out, tuple(renamed)


def _told(out: Path, font: Font, added: Mapping[str, object], needed: Sequence[str], sheet: Adopted) -> Extension:
    missing = [c for c in needed if c not in font.glyphs and c not in added and not c.isspace()]
    return Extension(out, tuple(added), tuple(missing), tuple(c for c in added if c in sheet.letters), sheet.set_aside)


def _kerning_of(added: Mapping[str, object], kerning: Mapping[tuple[str, str], float]) -> dict[tuple[str, str], float]:
    """Return the kerning of new letters: that of their bases."""
    likes: dict[str, list[str]] = {}
    for char in added:
        likes.setdefault(unicodedata.normalize("NFD", char)[0], []).append(char)
    out = {}
    for (a, b), k in kerning.items():
        for x in [a, *likes.get(a, [])]:
            for y in [b, *likes.get(b, [])]:
                if (x, y) not in kerning:
                    out[x, y] = k
    return out


def compose_missing(font: Font, needed: Iterable[str], sheet: Adopted | None = None) -> dict[str, tuple[Glyph, ...]]:
    """Return what is to be added: what was written on the sheet, and needed letters composed of the parts there are.

    Composed letters keep their base's advance.
    """
    sheet = sheet or Adopted()
    needed = list(needed)
    have = {c: tuple(v) for c, v in font.glyphs.items() if v} | dict(sheet.letters)
    wanted = [c for c in needed if c not in have and parts_of(c)]
    own = marks_in({c: v for c, v in have.items() if c not in sheet.letters}, font.metrics)
    parts = {**sheet.marks, **have, **own}
    built = build_accents(parts, font.metrics, wanted=wanted)
    barred = {c: v for c, v in build_barred(have, font.metrics).items() if c in set(needed)}
    # What was only made on the way (ê for ế, mostly ı) is left out unless it is needed itself.
    made = {c: v for c, v in built.items() if c in set(needed)} | barred
    composed = {c: tuple(replace(g, ductus="") for g in v) for c, v in made.items()}
    return {**sheet.letters, **composed}


def marks_in(have: Mapping[str, Sequence[Glyph]], metrics: Metrics) -> dict[str, tuple[Glyph, ...]]:
    """Return the combining marks that the font's own glyphs yield, where it has none itself."""
    out: dict[str, tuple[Glyph, ...]] = {}
    for mark, sign in SPACING.items():
        if mark not in have and sign in have and have[sign][0].strokes:
            out[mark] = (replace(_small(have[sign][0], metrics), char=mark),)
    for char, variants in have.items():
        parts = parts_of(char)
        if parts is None or parts[1] in have or parts[1] in out:
            continue
        lifted = []
        for g in variants:
            chosen = mark_strokes(char, sample_glyph(g), x_height=metrics.x_height)
            if chosen:
                lifted.append(replace(g, char=parts[1], strokes=tuple(g.strokes[k] for k in sorted(chosen))))
        if lifted:
            out[parts[1]] = tuple(lifted)
    return out


def _small(glyph: Glyph, metrics: Metrics) -> Glyph:
    """Return a sign no larger than a mark: at most 0.6 x-heights wide and 0.45 high."""
    x0, y0, x1, y1 = bounds(sample_glyph(glyph))
    scale = min(1.0, 0.6 * metrics.x_height / max(x1 - x0, 1e-9), 0.45 * metrics.x_height / max(y1 - y0, 1e-9))
    origin = np.array([x0, y0])
    return replace(glyph, strokes=tuple(origin + (s - origin) * scale for s in glyph.strokes), anchors={})
