"""The hands that `tests.bench.font` builds fonts of, and the outliers planted in them."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from capture.sheet_file import load_sheet
from capture.units import cell_from_image
from ownhand.commands.read import read_scans
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import HandRecord, create_hand, open_hand
from sample_sheets.truth import read_truth
from skeleton import trace
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke
from tests.fontbuild.hands import attempt, scattered

SAMPLE = Path(__file__).parents[2] / "sample_sheets" / "lantern"
HANDWRITING = next(iter(sorted(Path("/usr/share/fonts/truetype/fifthhorseman").glob("*.ttf"))), None)
"""An outline font of a hand, of open licence, where Debian's fonts-dkg-handwriting is installed."""

LETTERS = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.,;:!?&@()éèüöäñç"


def sample_hand() -> list[Attempt]:
    """Return the sample's cells with their true strokes, blank and spoiled ones too."""
    sheet = load_sheet(SAMPLE / "sheet" / "sheet.json")
    cells = {(p.page, c.row, c.column): c for p in sheet.pages for c in p.cells}
    out = []
    for place, true in sorted(read_truth(SAMPLE / "truth.json.gz").items()):
        cell = cells[place]
        lines = [
            cell_from_image(s, left_mm=cell.box_mm[0], baseline_mm=cell.baseline_mm) for s in true.strokes if len(s)
        ]
        small = 0.13 * cell.x_height_mm
        lines = [line.mean(axis=0)[None] if np.ptp(line, axis=0).max() < small else line for line in lines]
        out.append(
            attempt(
                true.char,
                lines,
                true.attempt,
                place=f"{sheet.id}/{place[0]}/{place[1]}.{place[2]}",
                status=true.status,
                x_height_mm=cell.x_height_mm,
                ascender_mm=cell.ascender_mm,
                descender_mm=cell.descender_mm,
                pen_mm=0.45,
            )
        )
    return out


def read_hand(folder: Path | None = None) -> list[Attempt]:
    """Return the sample's attempts as they are read from its scans, now or before into a hand folder."""
    if folder is not None:
        return [a for capture in load_captures(open_hand(folder)) for a in capture.attempts]
    with tempfile.TemporaryDirectory() as room:
        hand = create_hand(Path(room) / "lantern", HandRecord(family="Lantern"))
        place = hand.sheets_folder / "lantern-1"
        place.mkdir(parents=True)
        shutil.copy(SAMPLE / "sheet" / "sheet.json", place)
        read_scans(hand.path, sorted((SAMPLE / "scans").glob("*.jpg")))
        return read_hand(hand.path)


def misread(attempts: Sequence[Attempt]) -> set[str]:
    """Return the ids of the sample's attempts that have another number of strokes than was written."""
    sheet = load_sheet(SAMPLE / "sheet" / "sheet.json")
    cells = read_truth(SAMPLE / "truth.json.gz").items()
    true = {f"{sheet.id}/{p}/{r}.{c}": sum(len(s) > 0 for s in cell.strokes) for (p, r, c), cell in cells}
    return {a.id for a in attempts if a.id in true and len(a.strokes) != true[a.id]}


def written_odd() -> set[str]:
    """Return the ids of the sample's cells that its writer wrote a third too small or too large, as accidents."""
    sheet = load_sheet(SAMPLE / "sheet" / "sheet.json")
    cells = read_truth(SAMPLE / "truth.json.gz").items()
    return {f"{sheet.id}/{p}/{r}.{c}" for (p, r, c), true in cells if true.accident in ("small", "outside")}


def inked_hand(font_file: Path, *, times: int = 4, x_height_mm: float = 3.0, seed: int = 5) -> list[Attempt]:
    """Return a hand inked from an outline font of handwriting: each letter traced from its picture, then scattered."""
    import freetype

    dpi, room = 300.0, 40
    face = freetype.Face(str(font_file))
    face.set_pixel_sizes(0, 200)
    face.load_char("x", freetype.FT_LOAD_RENDER)
    size = int(200 * x_height_mm / 25.4 * dpi / max(face.glyph.bitmap.rows, 1))
    face.set_pixel_sizes(0, size)
    rng = np.random.default_rng(seed)
    out = []
    for char in LETTERS:
        if not face.get_char_index(char):
            continue
        face.load_char(char, freetype.FT_LOAD_RENDER)
        bitmap = face.glyph.bitmap
        ink = np.array(bitmap.buffer, np.uint8).reshape(bitmap.rows, bitmap.pitch)[:, : bitmap.width]
        picture = np.full((bitmap.rows + 2 * room, bitmap.width + 2 * room), 255, np.uint8)
        picture[room:-room, room:-room] = 255 - ink
        baseline_mm = (room + face.glyph.bitmap_top) / dpi * 25.4
        lines = [cell_from_image(s.points_mm, left_mm=0.0, baseline_mm=baseline_mm) for s in trace(picture, dpi, char)]
        if not lines:
            continue
        for number in range(1, times + 1):
            guides = {"x_height_mm": x_height_mm, "ascender_mm": 2 * x_height_mm, "descender_mm": -0.9 * x_height_mm}
            out.append(attempt(char, scattered(lines, rng), number, **guides))
    return out


def plant(attempts: Sequence[Attempt], *, share: float = 0.05, seed: int = 1) -> tuple[list[Attempt], dict[str, str]]:
    """Return the attempts with a share of them spoiled, no two of one character, and what was done to which.

    In turn: another letter, half of the letter, scaled (0.6 or 1.65), nearly empty. Signs that are only dots or dashes
    are left alone: half a dash is a dash.
    """
    rng = np.random.default_rng(seed)
    written = [a for a in attempts if a.status == "written" and a.strokes]
    worth = [a for a in written if _ink(a) > 1.5 * a.x_height_mm]
    count = round(share * len(written))
    spoiled: dict[str, tuple[Attempt, str]] = {}
    taken: set[str] = set()
    for k in rng.permutation(len(worth)):
        victim = worth[k]
        if len(spoiled) >= count:
            break
        if victim.char in taken:
            continue
        taken.add(victim.char)
        kind = ("another letter", "half", "scaled", "nearly empty")[len(spoiled) % 4]
        spoiled[victim.id] = (_spoil(victim, kind, written, rng), kind)
    out = [spoiled[a.id][0] if a.id in spoiled else a for a in attempts]
    return out, {id_: kind for id_, (_, kind) in spoiled.items()}


def _ink(a: Attempt) -> float:
    return sum(s.length_mm for s in a.strokes)


def _spoil(victim: Attempt, kind: str, others: Sequence[Attempt], rng: np.random.Generator) -> Attempt:
    lines = [s.points_mm for s in victim.strokes]
    if kind == "another letter":
        choice = [o for o in others if o.char.casefold() != victim.char.casefold()]
        lines = [s.points_mm for s in choice[rng.integers(len(choice))].strokes]
    elif kind == "scaled":
        lines = [p * rng.choice([0.6, 1.65]) for p in lines]
    elif kind == "nearly empty":
        lines = [lines[0][: max(2, len(lines[0]) // 20)]]
    else:
        points = np.vstack(lines)
        axis = int(np.argmax(np.ptp(points, axis=0))) if rng.random() < 0.5 else 1
        middle = (points[:, axis].min() + points[:, axis].max()) / 2
        side = rng.choice([-1.0, 1.0])
        parts = []
        for p in lines:
            inside = np.concatenate([[0], ((p[:, axis] - middle) * side > 0).astype(int), [0]])
            edges = np.flatnonzero(np.diff(inside))
            parts += [p[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1 or len(p) == 1]
        lines = parts or [lines[0][:2]]
    return replace(victim, strokes=tuple(Stroke(p) for p in lines))
