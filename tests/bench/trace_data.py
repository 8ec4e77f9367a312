"""Known strokes from open data, in mm with y down, in the order and direction in which they were written."""

from __future__ import annotations

import gzip
import json
import re
import site
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from sample_sheets.loose import loose_characters
from tests.bench.people import TRAINED, of_people, part, source_of
from tests.bench.trace_spline import spline

LATIN = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789!?,"
KANA = "".join(map(chr, [*range(0x3042, 0x3094), *range(0x30A2, 0x30F4)]))
ACCENTED = "\u00e4\u00f6\u00fc\u00e5\u00e9\u00e8\u00ea\u00f1\u00e7\u00c4\u00d6\u00c9"
OWN_DPI = 300.0

FOLDS = 3


def fold(source: str, writer: str, char: str) -> int:
    """Return which of `FOLDS` parts of the training data a character is in: by writer, or by character."""
    if source in TRAINED:
        return TRAINED[source].index(writer) * FOLDS // len(TRAINED[source])
    if of_people(source):
        return zlib.crc32(f"{source}/{writer}/fold".encode()) % FOLDS
    return ord(char[0]) % FOLDS


def fitted(source: str, writer: str, char: str) -> bool:
    """Tell whether the tracer is fitted on a character: people left out, and half of the kana, are for checks."""
    if of_people(source):
        return part(source, writer) == "train"
    return source != "kana" or ord(char) % 2 == 0


@dataclass(frozen=True, eq=False)
class Case:
    """One written character."""

    name: str
    char: str
    strokes: list[Points]
    known: bool = True
    """Whether the tracer is told the character."""

    writer: str = ""

    grey: NDArray[np.uint8] | None = None
    """A picture of its own in which the strokes lie as they are, at `OWN_DPI`."""

    pen_mm: float = 0.5
    """Width of the pen in that picture."""


def _scaled(strokes: list[Points], height_mm: float = 7.0) -> list[Points]:
    every = np.concatenate(strokes)
    lo, span = every.min(axis=0), np.ptp(every, axis=0).max()
    return [(s - lo) * height_mm / max(float(span), 1e-9) for s in strokes]


def kanjivg(chars: str, *, known: bool) -> Iterator[Case]:
    """Yield KanjiVG's characters (Apel, CC BY-SA 3.0; PyPI `kanjivg`): centre lines in stroke order."""
    from svgpathtools import parse_path

    root = next(p for s in site.getsitepackages() if (p := Path(s) / "kanji").is_dir())
    for c in chars:
        file = root / f"{ord(c):05x}.svg"
        if not file.exists():
            continue
        paths = [parse_path(d) for d in re.findall(r'<path[^>]* d="([^"]+)"', file.read_text(encoding="utf-8"))]
        strokes = []
        for path in paths:
            z = np.array([path.point(t) for t in np.linspace(0, 1, max(8, int(path.length())))])
            strokes.append(np.stack([z.real, z.imag], axis=1))
        yield Case(file.stem, c, _scaled(strokes), known)


def kanji(first: int, every: int, most_strokes: int) -> list[Case]:
    """Return one of `every` kanji of KanjiVG from code point `first` on, if it has no more than `most_strokes`."""
    found = kanjivg("".join(map(chr, range(first, 0xA000, every))), known=False)
    return [c for c in found if len(c.strokes) <= most_strokes]


def hershey(font: str = "futural") -> Iterator[Case]:
    """Yield a Hershey font's characters (Wolcott & Hilsenrath, NBS SP 424, 1976; PyPI `Hershey-Fonts`)."""
    from HersheyFonts import HersheyFonts

    fonts = HersheyFonts()
    fonts.load_default_font(font)
    for code in range(33, 127):
        strokes = [np.array(list(p), float) for p in fonts.strokes_for_text(chr(code))]
        strokes = [s for s in strokes if len(s) > 1]
        if strokes:
            yield Case(f"{font}_{code:03d}", chr(code), _scaled(strokes))


OTHER_DAY = 5
"""Seed of the attempts of the simulated hands that the tracer is fitted on; the bench reads those of seed 0."""


def sample_hand(chars: str = LATIN + ACCENTED, attempts: int = 2) -> Iterator[Case]:
    """Yield the lighthouse keeper's letters (simulated, `sample_sheets`), each in his own ink as well."""
    for c in loose_characters(chars, attempts, dpi=OWN_DPI):
        strokes = [np.asarray(s) for s in c.strokes]
        yield Case(f"keeper_{ord(c.char):04x}_{c.attempt}", c.char, strokes, True, "keeper", c.grey, c.pen_mm)


TIMED_STEP_MM = 0.05
"""Step, mm, at which points that were sampled in time are joined: at 50 Hz a quick pen goes 2 mm between two."""


def stored(file: Path) -> Iterator[Case]:
    """Yield the records of a JSON file (.json or .json.gz): `name`, `char`, `strokes` in mm, y down, `writer`.

    Points are [x, y], or [x, y, time, pressure] of a tablet that sampled in time: these are joined by a spline. A file
    whose records are words, with `text` and no `char`, gives nothing: `tests.bench words` reads it.

    Raises
    ------
    ValueError
        If the file is no such list; the message names it.
    """
    try:
        text = gzip.decompress(file.read_bytes()) if file.suffix == ".gz" else file.read_bytes()
        records = json.loads(text)
        if records and "char" not in records[0]:
            return
        for r in records:
            strokes = [_drawn(s) for s in r["strokes"] if len(s)]
            yield Case(str(r["name"]), r["char"], strokes, True, str(r.get("writer", "")))
    except (OSError, KeyError, TypeError, ValueError, zlib.error, EOFError) as error:
        raise ValueError(f"{file}: not a list of characters with name, char and strokes ({error!r})") from error


def _drawn(points: list[list[float]]) -> Points:
    every = np.array(points, float)
    every = every.reshape(-1, 2) if every.ndim != 2 else every
    return spline(every[:, :2], TIMED_STEP_MM) if every.shape[1] > 2 else every


def folder(path: Path) -> dict[str, list[Case]]:
    """Return the data sets in a file or folder, by file name."""
    files = sorted(path.glob("*.json*")) if path.is_dir() else [path]
    found = {f.name.split(".")[0]: list(stored(f)) for f in files}
    return {name: cases for name, cases in found.items() if cases}


def people(path: Path, kind: str) -> dict[str, list[Case]]:
    """Return the data sets in a file or folder, of the sets of people those of one part (`people.PARTS`) or `all`."""
    found = {}
    for name, cases in folder(path).items():
        source = source_of(name)
        kept = cases
        if of_people(source) and kind != "all":
            kept = [c for c in cases if part(source, c.writer) == kind]
        if kept:
            found[name] = kept
    return found


def data_sets() -> dict[str, list[Case]]:
    """Return the data sets that come with the project's own dependencies."""
    return {
        "kanjivg": list(kanjivg(LATIN, known=True)),
        "hershey": list(hershey()),
        "kana": list(kanjivg(KANA, known=False)),
        "sample hand": list(_sample_hand()),
    }


@cache
def _sample_hand() -> tuple[Case, ...]:
    """Return the simulated hand's characters: they are written stroke by stroke, which takes seconds."""
    return tuple(sample_hand())
