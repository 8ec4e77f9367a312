"""The letters of a UFO once more, packed into one file in its `data` folder, so that thousands load at once.

UFO 3 keeps each glyph in an XML file of its own; reading some 2,500 takes a second, and whoever writes one card waits
for it. The pack bears a digest of all other files of the font: edit any of them, with any program, and it counts no
more. It holds nothing that is not in them.
"""

from __future__ import annotations

import hashlib
import io
import itertools
import json
import os
import struct
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from capture.files import make_folder, write_bytes
from capture.units import Points
from fontbuild.font import Font, Metrics, Record
from fontbuild.formats.figures import near, possible
from fontbuild.glyph import Glyph
from fontbuild.pair_table import PairTable

PACK = Path("data") / "org.ownhand.letters.npz"
"""Place in the UFO; its `data` folder is for programs' own files, named by a reversed domain (UFO 3, data)."""

FORMAT = 2

MOST_KERNED = 4000
"""Characters that stand in pairs: the table of them has the square of it."""

LARGEST = 1 << 28
"""Bytes unpacked from which a pack is none of ours: 2,500 letters take about 5 MB."""


UNFIT = (
    OSError, ValueError, LookupError, TypeError, EOFError, NotImplementedError, RuntimeError, struct.error, zlib.error,
    zipfile.BadZipFile,
)  # fmt: skip
"""What reading a pack that is cut off, damaged or of other make can end with."""


def pack(font: Font, ufo: Path) -> None:
    """Put the letters of `font` into the UFO folder in which they are saved already."""
    variants, in_words = ([g for group in some.values() for g in group] for some in (font.glyphs, font.in_words))
    glyphs = [*variants, *in_words]
    strokes = [s for g in glyphs for s in g.strokes]
    kerned = sorted({c for pair in font.kerning for c in pair})
    place = {c: i for i, c in enumerate(kerned)}
    head = {
        "format": FORMAT,
        "digest": digest(ufo),
        "record": asdict(font.record),
        "metrics": asdict(font.metrics),
        "mm_per_unit": font.mm_per_unit,
        "rhythm": dict(font.rhythm),
        "glyphs": [
            [g.name, g.char, g.advance, g.ductus, {k: list(v) for k, v in g.anchors.items()}, g.source, g.width]
            for g in glyphs
        ],
        "in_words": len(in_words),
        "kerned": kerned,
    }
    room = io.BytesIO()
    np.savez_compressed(
        room,
        head=np.frombuffer(json.dumps(head, ensure_ascii=False).encode(), np.uint8),
        points=np.concatenate(strokes) if strokes else np.zeros((0, 2)),
        sizes=np.array([len(s) for s in strokes], np.int64),
        counts=np.array([len(g.strokes) for g in glyphs], np.int64),
        pairs=np.array([[place[a], place[b]] for a, b in font.kerning], np.int64).reshape(-1, 2),
        kerning=np.array(list(font.kerning.values()), float),
    )
    make_folder((ufo / PACK).parent)
    write_bytes(ufo / PACK, room.getvalue())


def unpack(ufo: Path) -> Font | None:
    """Return the font packed into a UFO folder, None where there is no pack or it is not that of the other files."""
    try:
        data = io.BytesIO((ufo / PACK).read_bytes())
        with zipfile.ZipFile(data) as archive:
            if sum(entry.file_size for entry in archive.infolist()) > LARGEST:
                return None
        with np.load(data, allow_pickle=False) as found:
            head = json.loads(found["head"].tobytes())
            if head["format"] != FORMAT or head["digest"] != digest(ufo):
                return None
            if len(head["kerned"]) > MOST_KERNED or not (near(found["points"]) and near(found["kerning"])):
                return None
            kerning = PairTable(head["kerned"], found["pairs"], found["kerning"])
            return _font(head, found["points"], found["sizes"].tolist(), found["counts"].tolist(), kerning)
    except UNFIT:
        # a pack only saves time: whatever is wrong with it, in all the ways an archive can be, the other files stand
        return None


def digest(ufo: Path) -> str:
    """Return a digest of all files of a UFO folder but the pack."""
    whole = hashlib.blake2b(digest_size=16)
    # os.walk, because thousands of Path objects take as long as all the rest
    files = sorted((folder, name) for folder, _, names in os.walk(ufo) for name in names)
    own = str(ufo / PACK)
    for folder, name in files:
        path = os.path.join(folder, name)  # noqa: PTH118
        if path != own:
            with open(path, "rb") as file:  # noqa: PTH123
                data = file.read()
            whole.update(f"{path[len(str(ufo)) :]}\0{len(data)}\0".encode())
            whole.update(data)
    return whole.hexdigest()


def _font(
    head: dict[str, Any], points: Points, sizes: Sequence[int], counts: Sequence[int],
    kerning: Mapping[tuple[str, str], float],
) -> Font:  # fmt: skip
    if len(counts) != len(head["glyphs"]) or sum(counts) != len(sizes) or sum(sizes) != len(points):
        raise ValueError("the pack is cut off")
    ends = itertools.accumulate(sizes, initial=0)
    strokes = (points[a:b] for a, b in itertools.pairwise(ends))  # np.split takes ten times as long
    glyphs: dict[str, list[Glyph]] = {}
    in_words: dict[str, list[Glyph]] = {}
    variants = len(counts) - int(head["in_words"])
    each = enumerate(zip(head["glyphs"], counts, strict=True))
    for k, ((name, char, advance, ductus, anchors, source, width), count) in each:
        mine = tuple(next(strokes) for _ in range(count))
        places = {str(k): (float(x), float(y)) for k, (x, y) in anchors.items()}
        glyph = Glyph(name, char, mine, float(advance), ductus, places, source, float(width))
        (glyphs if k < variants else in_words).setdefault(char, []).append(glyph)
    font = Font(
        Record(**head["record"]),
        Metrics(**head["metrics"]),
        float(head["mm_per_unit"]),
        {c: tuple(v) for c, v in glyphs.items()},
        kerning,
        dict(head["rhythm"]),
        {c: tuple(v) for c, v in in_words.items()},
    )
    return possible(font)
