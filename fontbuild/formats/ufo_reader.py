"""Reading UFO 3: the fonts that `fontbuild.formats.ufo` writes, and other people's as far as they are strokes."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from capture.errors import FontFileError
from capture.units import Points
from fontbuild.font import UNITS_PER_EM, Font, Metrics, Record
from fontbuild.formats.drawing import cubic_strokes, sane
from fontbuild.formats.figures import MOST_PAIRS, PairsError, near, possible
from fontbuild.formats.packed import unpack
from fontbuild.formats.ufo_names import check_names
from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.metrics import measure
from fontbuild.naming import char_of

if TYPE_CHECKING:
    import ufoLib2

MOST_DEPTH = 32
"""Components in components."""

MOST_GLYPH_POINTS = 100_000

MOST_UNPACKED, LARGEST_UNPACKED = 300 * 2**20, 50 * 2**20
"""Bytes of all files in a .ufoz, and of one of them: a few kilobytes can hold gigabytes of one letter."""

KEY = "org.ownhand."
"""Before all our keys in `lib`."""


WORDS = KEY + "words"
"""Name of the layer with letters of joined words."""

NOTE = "ownhand "
"""Begins the line of a note that holds what a lib may lose."""


def note_of(values: Mapping[str, Any]) -> str:
    """Return the line of a note that keeps `values` (what JSON can hold); `noted` reads it again."""
    text = json.dumps(values, sort_keys=True)
    for sign in "&<>":  # some editors escape them twice
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return NOTE + text


def noted(note: str | None) -> dict[str, Any]:
    r"""Return what a note of ours holds; {} for notes of others.

    Examples
    --------
    >>> noted("drawn on Tuesday\n" + note_of({"ductus": "a/1"}))
    {'ductus': 'a/1'}
    """
    for line in (note or "").splitlines():
        if line.strip().startswith(NOTE):
            try:
                data = json.loads(line.strip()[len(NOTE) :])
            except (ValueError, RecursionError):
                return {}
            return data if isinstance(data, dict) else {}
    return {}


def says_its_size(path: Path) -> bool:
    """Return whether a UFO tells in which size it was written; its glyphs are not read for it."""
    with open_ufo(path, glyphs=False) as ufo:
        return KEY + "mmPerUnit" in ufo.lib or "mmPerUnit" in noted(ufo.info.note)


def open_ufo(path: Path, *, glyphs: bool = True) -> ufoLib2.Font:
    """Return the ufoLib2 font at `path`, folder or .ufoz.

    glyphs: whether all are read at once; else each when it is asked for, and the font must be closed.

    Raises
    ------
    FontFileError
        If it is not a UFO, or one with a fault.
    """
    # here, because a font that is packed is loaded without them
    import ufoLib2
    from fontTools.ufoLib.errors import UFOLibError

    if not path.exists():
        raise FontFileError(str(path), "there is no such font", "Build it first, or correct the name.")
    if path.is_dir() and not (path / "metainfo.plist").is_file():
        raise FontFileError(
            str(path), "is a folder without metainfo.plist, so not a UFO", "Give the .ufo folder itself."
        )
    if path.is_dir():
        check_names(path)
    else:
        _check_unpacked(path)
    try:
        ufo = ufoLib2.Font.open(path, lazy=not glyphs, validate=True)
    except (UFOLibError, OSError, ValueError, KeyError, TypeError, AttributeError, EOFError) as error:
        said = " ".join(str(error).split()) or type(error).__name__
        raise FontFileError(str(path), f"is not a UFO that can be read ({said})", "Restore or rebuild it.") from None
    return ufo


def _check_unpacked(path: Path) -> None:
    try:
        with zipfile.ZipFile(path) as archive:
            sizes = [entry.file_size for entry in archive.infolist()]
    except (zipfile.BadZipFile, NotImplementedError, OSError):
        return  # told by who reads it
    if sum(sizes) > MOST_UNPACKED or max(sizes, default=0) > LARGEST_UNPACKED:
        what = f"unpacked it would have {sum(sizes) / 2**20:.0f} MB, its largest file {max(sizes) / 2**20:.0f}"
        limits = f"at most {MOST_UNPACKED >> 20} and {LARGEST_UNPACKED >> 20} are read"
        raise FontFileError(str(path), f"{what}; {limits}", "Take out what is no part of the font.")


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
    if (path / "metainfo.plist").is_file() and (ready := unpack(path)) is not None:
        return ready
    return font_in(open_ufo(path), path)


def font_in(ufo: ufoLib2.Font, path: Path) -> Font:
    """Return a ufoLib2 font as ours; path: where it was read, for the message.

    Raises
    ------
    FontFileError
        If it does not hold together.
    """
    try:
        return font_of(ufo)
    except (KeyError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        said = " ".join(str(error).split()) or type(error).__name__
        raise FontFileError(str(path), f"does not hold together ({said})", "Restore, rebuild or mend it.") from None


def font_of(ufo: ufoLib2.Font) -> Font:
    """Return a ufoLib2 font as ours; see `load_ufo`.

    Raises
    ------
    ValueError
        If it has no glyphs with characters.
    """
    listed = [n for n in ufo.lib.get("public.glyphOrder", []) if n in ufo]
    order = listed + [n for n in ufo.keys() if n not in set(listed)]  # noqa: SIM118, a Font is not a dict
    glyphs: dict[str, list[Glyph]] = {}
    for name in order:
        char = _char(ufo[name])
        if char and name != ".notdef":
            glyphs.setdefault(char, []).append(_read_glyph(ufo, name, char))
    in_words: dict[str, list[Glyph]] = {}
    for drawn in ufo.layers[WORDS] if WORDS in ufo.layers else []:  # noqa: SIM401, a LayerSet has no get
        if char := _char(drawn):
            strokes = sane(cubic_strokes(_recorded(drawn)))
            in_words.setdefault(char, []).append(_glyph(drawn, char, strokes))
    if not glyphs:
        raise ValueError("it has no glyphs with characters")
    lib, note = ufo.lib, noted(ufo.info.note)
    said = lib.get(KEY + "metrics") or note.get("metrics")
    metrics = Metrics(**said) if said else _metrics(ufo, glyphs)
    record = Record(**lib[KEY + "record"]) if KEY + "record" in lib else _record(ufo)
    font = Font(
        record=record,
        metrics=metrics,
        mm_per_unit=float(lib.get(KEY + "mmPerUnit") or note.get("mmPerUnit") or 3.0 / metrics.x_height),
        glyphs={c: tuple(v) for c, v in glyphs.items()},
        kerning=_kerning(ufo, {g.name: c for c, v in glyphs.items() for g in v}),
        rhythm=dict(lib.get(KEY + "rhythm", {})),
        in_words={c: tuple(v) for c, v in in_words.items()},
    )
    if not near(list(font.kerning.values())):
        raise ValueError("its kerning holds what is no number of units")
    return possible(font)


def _char(glyph: Any) -> str:
    if KEY + "char" in glyph.lib:
        return str(glyph.lib[KEY + "char"])
    if glyph.unicodes:
        return chr(glyph.unicodes[0])
    stem, dot, tail = str(glyph.name).rpartition(".v")
    return char_of(stem) if dot and tail.isdigit() else ""


def _read_glyph(ufo: ufoLib2.Font, name: str, char: str) -> Glyph:
    return _glyph(ufo[name], char, strokes_of(ufo, name))


def _glyph(glyph: Any, char: str, strokes: tuple[Points, ...]) -> Glyph:
    lib = glyph.lib
    return Glyph(
        name=str(glyph.name),
        char=char,
        strokes=strokes,
        advance=float(glyph.width),
        ductus=str(lib.get(KEY + "ductus") or noted(glyph.note).get("ductus", "")),
        anchors={a.name: (float(a.x), float(a.y)) for a in glyph.anchors if a.name},
        source=str(lib.get(KEY + "source", "")),
        width=float(lib.get(KEY + "inkWidth", 0.0)),
    )


def strokes_of(ufo: ufoLib2.Font, name: str) -> tuple[Points, ...]:
    """Return the contours of a glyph, components resolved, as cubic strokes; anything closed ends where it began.

    Each has shape (3 n + 1, 2), font units, y up.
    """
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    _weigh(ufo, name, (), {})
    pen = DecomposingRecordingPen(ufo)
    ufo[name].draw(pen)
    return sane(cubic_strokes(pen.value))


def _recorded(glyph: Any) -> list[Any]:
    """Return how a glyph without components is drawn.

    Raises
    ------
    ValueError
        If it has components, or more points than a letter has.
    """
    from fontTools.pens.recordingPen import RecordingPen

    if glyph.components or sum(len(c) for c in glyph.contours) > MOST_GLYPH_POINTS:
        raise ValueError(f"glyph {glyph.name!r} of words has components, or more than {MOST_GLYPH_POINTS} points")
    pen = RecordingPen()
    glyph.draw(pen)
    return list(pen.value)


def _weigh(ufo: ufoLib2.Font, name: str, above: tuple[str, ...], known: dict[str, int]) -> int:
    """Return how many points a glyph has with its components.

    Raises
    ------
    ValueError
        If a glyph is a component of itself, or there are more points than a letter has.
    """
    if name in above:
        raise ValueError(f"glyph {name!r} is a component of itself")
    if len(above) > MOST_DEPTH:
        raise ValueError(f"glyph {above[0]!r} has components in more than {MOST_DEPTH} layers")
    if name not in known:
        glyph = ufo.get(name)
        own = 1 + sum(len(c) for c in glyph.contours) if glyph is not None else 1
        parts = [c.baseGlyph for c in glyph.components] if glyph is not None else []
        known[name] = own + sum(_weigh(ufo, part, (*above, name), known) for part in parts)
    if known[name] > MOST_GLYPH_POINTS:
        raise ValueError(f"glyph {name!r} has more than {MOST_GLYPH_POINTS} points")
    return known[name]


def _kerning(ufo: ufoLib2.Font, char_of_glyph: Mapping[str, str]) -> dict[tuple[str, str], float]:
    """Return the kerning by characters: groups first, so that exceptions for single glyphs win (UFO 3, kerning)."""

    @cache  # a group stands in hundreds of pairs
    def chars(member: str) -> list[str]:
        names = ufo.groups.get(member, []) if member.startswith("public.kern") else [member]
        return list(dict.fromkeys(char_of_glyph[n] for n in names if n in char_of_glyph))

    def precedence(item: tuple[tuple[str, str], float]) -> int:
        return sum(not member.startswith("public.kern") for member in item[0])

    out: dict[tuple[str, str], float] = {}
    pairs = 0
    for (first, second), k in sorted(ufo.kerning.items(), key=precedence):
        pairs += len(chars(first)) * len(chars(second))
        if pairs > MOST_PAIRS:
            raise PairsError
        for a in chars(first):
            for b in chars(second):
                out[a, b] = float(k)
    return out


def _metrics(ufo: ufoLib2.Font, glyphs: Mapping[str, list[Glyph]]) -> Metrics:
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
