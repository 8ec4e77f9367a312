"""What a run is to make: the text, the name and the seed of each file, and the rows that cannot become one."""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from capture.errors import InputError
from fontbuild.font import Font
from ownhand.composer.merge.table import Row, Table
from ownhand.composer.merge.template import Template, key
from ownhand.composer.merge.workers import Job, Run

LONGEST_NAME = 80
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)$")


@dataclass(frozen=True)
class Fault:
    """A row that could not be written."""

    line: int
    """In the table."""

    message: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.message}"


def plan(
    table: Table, template: Template, run: Run, font: Font, *, name_field: str = "", seed: int = 0
) -> tuple[list[Job], list[Fault]]:
    """Return the files to make, and the rows that cannot become one.

    Raises
    ------
    InputError
        If the template or the name asks for a column that the table lacks.
    """
    lacking = sorted(template.fields - set(table.columns))
    if lacking or (name_field and key(name_field) not in table.columns):
        what = lacking[0] if lacking else name_field
        where = "template" if lacking else "--name"
        names = ", ".join(table.columns)
        raise InputError(where, f"the table has no column '{what}'", f"Its columns are: {names}.")
    common = _digest(repr(run.settings), run.formats, repr(run.machine), run.dpi, _font_digest(font), *_others(run))
    used: Counter[str] = Counter()
    jobs, faults = [], []
    digits = max(4, len(str(len(table.rows))))
    asked = template.fields | {key(name_field)}
    for row in table.rows:
        stem, fault = _stem(row, name_field, digits)
        unread = next((why for name, why in row.unread.items() if name in asked), "")
        if told := row.fault or unread or fault:
            faults.append(Fault(row.line, told))
            continue
        name = _unused(stem, used)
        own_seed = int.from_bytes(hashlib.sha256(f"{seed}/{name}".encode()).digest()[:8], "big")
        try:
            text = template.fill(row.values, row.plain)
        except InputError as error:
            faults.append(Fault(row.line, str(error)))
            continue
        digest = _digest(common, json.dumps(text), own_seed)
        jobs.append(Job(name, row.line, text, own_seed, digest, unfilled=template.unfilled(row.values, row.plain)))
    return jobs, faults


def gathered(jobs: Sequence[Job], run: Run) -> list[Job]:
    """Return the files to make of jobs: as they are, or so many on a sheet, or all in one."""
    out = list(jobs)
    if run.settings.impose is not None:
        each = len(run.settings.impose.places(run.settings.size_mm))
        digits = max(3, len(str(-(-len(out) // each))))
        out = [_of_parts(f"sheet-{1 + i // each:0{digits}d}", out[i : i + each]) for i in range(0, len(out), each)]
    if run.one_file and out:
        out = [_of_parts("all", out)]
    return out


def _of_parts(name: str, parts: Sequence[Job]) -> Job:
    return Job(name, parts[0].line, "", 0, _digest(name, [p.digest for p in parts]), tuple(parts))


def safe_name(text: str) -> str:
    """Return a text as the name of a file that every system takes; '' if nothing is left.

    Examples
    --------
    >>> safe_name(" Íñigo / Zubialde. ")
    'Íñigo-Zubialde'
    """
    kept = re.sub(r"[^\w-]+", "-", unicodedata.normalize("NFC", text)).strip("-_")
    while len(kept.encode()) > LONGEST_NAME:
        kept = kept[:-1]
    return f"{kept}-" if _RESERVED.match(kept) else kept


def _stem(row: Row, name_field: str, digits: int) -> tuple[str, str]:
    if not name_field:
        return f"{row.number:0{digits}d}", ""
    raw = row.values.get(key(name_field), "")
    stem = safe_name(raw)
    return stem, "" if stem else f"'{raw}' in '{name_field}' gives no file name"


def _unused(stem: str, used: Counter[str]) -> str:
    """Return the stem, with a number where an earlier row took it; without regard to case."""
    name = stem
    while used[name.casefold()]:
        used[stem.casefold()] += 1
        name = f"{stem}-{used[stem.casefold()]}"
    used[name.casefold()] += 1
    return name


def _digest(*parts: object) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:32]


def _others(run: Run) -> list[tuple[str, str]]:
    return [(name, _font_digest(other)) for name, other in sorted(run.others.items())]


def _font_digest(font: Font) -> str:
    h = hashlib.sha256(repr((font.record, font.metrics, font.mm_per_unit, sorted(font.kerning.items()))).encode())
    for char in sorted(font.glyphs):
        for glyph in font.glyphs[char]:
            h.update(repr((char, glyph.advance, glyph.ductus)).encode())
            for stroke in glyph.strokes:
                h.update(stroke.round(3).tobytes())
    return h.hexdigest()
