"""Writers whose words are known letter by letter, written on our own printed sheet, scanned, read and built."""

from __future__ import annotations

import gzip
import hashlib
import json
import shutil
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from capture.sheet import Page, RuledLine
from capture.sheet_file import load_sheet
from capture.units import Points
from fontbuild.font import Font
from ownhand.commands.build import make_font
from ownhand.commands.read import read_scans
from ownhand.commands.sheet import print_sheet
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import open_hand
from sample_sheets.scanning import lying, save_jpeg, written
from sample_sheets.writer.hand import Trace
from sample_sheets.writer.machines import scanned
from tests.bench.trace_ink import even

X_HEIGHT_MM = 3.5
PEN_MM = 0.5
WORDS_APART_MM = 5.5
STANDING = frozenset("aceihklmnorstuvwxzABCDEFGHIKLMNOPRSTUVWXYZ0123456789bd")
SIGNS = frozenset("!?,.:;'()-")
ROUNDED_MM = 0.0015
"""The records are rounded to a thousandth of a millimetre; steps up to this are none of the tablet's."""

LEAST_POINTS = 5
"""Dots and the like are left as they are."""

DELAYED = frozenset("tijfx")
"""Letters whose bar or dot people put after the word."""

Letter = list[Points]


@dataclass(frozen=True, eq=False)
class Word:
    """A word as its writer wrote it: mm, y down from the line."""

    text: str
    letters: tuple[tuple[str, Letter], ...]
    """Each with its own lines; the lines between letters that are joined belong to none."""

    strokes: Letter
    """All lines, those between letters too."""

    parted: tuple[tuple[str, Letter], ...] = ()
    """The letters with these lines dealt out, half to each of both, as joined letters of a font hold them."""


@dataclass(frozen=True, eq=False)
class Writer:
    """One writer: the words that are written on the sheet, and the others, which are composed."""

    name: str
    taken: tuple[Word, ...]
    kept: tuple[Word, ...]

    @property
    def characters(self) -> str:
        """What is asked for on the sheet."""
        found = {c for w in self.taken for c, _ in w.letters}
        return "".join(sorted(c for c in found if len(c) == 1 and (c.isalnum() or c in SIGNS)))

    @property
    def called(self) -> str:
        """What the writer's hand is kept as: the name, and what tells these words from those of another halving."""
        told = hashlib.sha256()
        for word in self.taken:
            told.update(f"{word.text}:{[len(s) for s in word.strokes]}".encode())
            told.update(np.round(np.concatenate([np.zeros((0, 2)), *word.strokes]), 3).tobytes())
        return f"{self.name.replace('/', '-')}-{told.hexdigest()[:8]}"


def writers(folder: Path, names: Sequence[str], seed: int, *, recorded: bool = False) -> Iterator[Writer]:
    """Yield writers of `unipen_words.json.gz` whose names end so, their words halved by chance.

    `recorded`: with the steps of the tablet's grid, which show in the ink, though no pen makes them.
    """
    rows = json.loads(gzip.decompress((folder / "unipen_words.json.gz").read_bytes()))
    for name in names:
        mine = [r for r in rows if "letters" in r and name in r["writer"]]
        grid = 0.0 if recorded else grid_of([np.array(s, float) for r in mine for s in r["strokes"]])
        words = [w for r in mine if (w := _word(r, grid)) is not None]
        np.random.default_rng(seed).shuffle(words)
        taken = tuple(words[::2])
        known = {c for w in taken for c, _ in w.letters}
        kept = tuple(w for w in words[1::2] if len(w.text) > 1 and set(w.text) <= known)
        yield Writer(name, taken, kept)


def grid_of(strokes: Sequence[Points]) -> float:
    """Return the distance of neighbouring places that a tablet tells apart, as the records are scaled, mm."""
    steps = np.concatenate([np.abs(np.diff(s, axis=0)).ravel() for s in strokes])
    steps = steps[steps > ROUNDED_MM]
    return float(np.quantile(steps, 0.01)) if len(steps) else 0.0


def off_grid(stroke: Points, grid_mm: float) -> Points:
    """Return a smooth line through places that were rounded to a grid, as near to them as rounding lets it be.

    A smoothing spline (Reinsch, "Smoothing by spline functions", Numerische Mathematik 10, 1967) over the root of the
    chords, whose squares left over are those of rounding: a twelfth of the grid's (Bennett, "Spectra of quantized
    signals", Bell System Technical Journal 27, 1948).
    """
    from scipy.interpolate import splev, splprep

    moves = np.hypot(*np.diff(stroke, axis=0).T)
    points = stroke[np.concatenate([[True], moves > 1e-9])]
    if len(points) < LEAST_POINTS or not grid_mm:
        return stroke
    at = np.concatenate([[0.0], np.cumsum(np.sqrt(np.hypot(*np.diff(points, axis=0).T)))])
    spline, _ = splprep(points.T, u=at, s=len(points) * 2 * grid_mm**2 / 12, k=3)
    return np.array(splev(np.linspace(0.0, at[-1], 4 * len(points)), spline)).T


def _word(row: Mapping[str, Any], grid_mm: float) -> Word | None:
    """Return the word of a row, None where its letters are not its text or none stands on the line."""
    letters = [(c, [np.array(p, float) for p in pieces]) for c, pieces in row["letters"]]
    for stroke in _left_over(row):
        _owner(letters, stroke).append(stroke)
    parted = _parted(letters, [np.array(s, float) for s in row["strokes"]])
    letters, parted = (
        [(c, [off_grid(p, grid_mm) for p in pieces]) for c, pieces in those] for those in (letters, parted)
    )
    strokes = [off_grid(np.array(s, float), grid_mm) for s in row["strokes"]]
    feet = [max(float(p[:, 1].max()) for p in pieces) for c, pieces in letters if c in STANDING]
    if not feet or "".join(c for c, _ in letters) != row["text"]:
        return None
    base = np.array([0.0, float(np.median(feet))])
    in_letters, in_parts = (
        tuple((c, [p - base for p in pieces]) for c, pieces in those) for those in (letters, parted)
    )
    return Word(str(row["text"]), in_letters, [s - base for s in strokes], in_parts)


def _parted(letters: Sequence[tuple[str, Letter]], strokes: Letter) -> list[tuple[str, Letter]]:
    """Return the letters with all of the strokes: what lies between two of them is cut in its middle."""
    of = {tuple(p): k for k, (_, pieces) in enumerate(letters) for piece in pieces for p in piece.tolist()}
    out: list[tuple[str, Letter]] = [(c, []) for c, _ in letters]
    for stroke in strokes:
        owner = np.array([of.get(tuple(p), -1) for p in stroke.tolist()])
        known = np.flatnonzero(owner >= 0)
        # every point goes with the nearest that is known
        nearest = owner[known[np.abs(np.arange(len(stroke))[:, None] - known).argmin(axis=1)]]
        cuts = [0, *(np.flatnonzero(np.diff(nearest)) + 1).tolist(), len(stroke)]
        for a, b in pairwise(cuts):
            # both letters hold the point of the cut
            out[nearest[a]][1].append(stroke[a : min(b + 1, len(stroke))])
    return out


def _left_over(row: Mapping[str, Any]) -> list[Points]:
    """Return the strokes that belong to no marked letter: bars of t, dots of i, where they were put after the word."""
    marked = {tuple(p) for _, pieces in row["letters"] for piece in pieces for p in piece}
    return [np.array(s, float) for s in row["strokes"] if not any(tuple(p) in marked for p in s)]


def _owner(letters: Sequence[tuple[str, Letter]], stroke: Points) -> Letter:
    """Return the strokes of the letter that a bar or dot belongs to: the nearest of those that have one."""

    def away(letter: tuple[str, Letter]) -> float:
        x = np.vstack(letter[1])[:, 0]
        return float(abs((x.min() + x.max()) / 2 - (stroke[:, 0].min() + stroke[:, 0].max()) / 2))

    return min([pair for pair in letters if pair[0] in DELAYED] or letters, key=away)[1]


def hand_of(writer: Writer, folder: Path, *, copied: bool) -> Path:
    """Return the hand of a writer in `folder`, made there if it is not there yet.

    `copied`: the writer's words also stand on the sheet's ruled lines.
    """
    kept = folder / (writer.called + ("-copied" if copied else ""))
    if kept.exists():
        return kept
    attempts: dict[str, list[Letter]] = defaultdict(list)
    for word in writer.taken:
        for c, strokes in word.letters:
            attempts[c].append(strokes)

    def in_cells(page: Page, rng: np.random.Generator) -> list[Trace]:
        ink = []
        for cell in page.cells:
            if group := attempts.get(cell.char):
                strokes = group[(cell.attempt - 1) % len(group)]
                every = np.vstack(strokes)
                middle = cell.box_mm[0] + cell.box_mm[2] / 2 - (every[:, 0].min() + every[:, 0].max()) / 2
                at = np.array([middle + rng.normal(0, 0.3), cell.baseline_mm])
                ink += [traced(s + at, rng) for s in strokes]
        return ink

    text = " ".join(w.text for w in writer.taken if len(w.text) > 1) if copied else ""
    return fill_in(kept, writer, in_cells, characters=writer.characters, copy=text, pages=6)


def fill_in(
    kept: Path, writer: Writer, in_cells: Callable[[Page, np.random.Generator], list[Trace]] | None, **plan: Any
) -> Path:
    """Return `kept`, a hand made of a sheet that a writer filled in: printed, written, scanned, read.

    in_cells: what stands in the cells of a page; None for nothing. On ruled lines stand the words to copy.
    plan: of the sheet, as `print_sheet` takes it.
    """
    room = kept.with_name(f".{kept.name}")
    shutil.rmtree(room, ignore_errors=True)
    path = room / kept.name
    path.parent.mkdir(parents=True)
    print_sheet(path, x_height_mm=X_HEIGHT_MM, consent="open data", **plan)
    (place,) = open_hand(path).sheets_folder.glob("*/sheet.json")
    scans = []
    for page in load_sheet(place).pages:
        rng = np.random.default_rng([1, page.page])
        ink = in_cells(page, rng) if in_cells else []
        for line in page.ruled:
            ink += [traced(s, rng) for s in copied_words(line, writer.taken)]
        picture, px_per_mm = written(place.with_name("sheet.pdf"), page.page, ink, rng)
        machine = lying(page.page, rng)
        scans.append(room / f"{page.page}.jpg")
        save_jpeg(scans[-1], scanned(picture, px_per_mm, machine, rng), dpi=machine.dpi, quality=90)
    read_scans(path, scans)
    path.rename(kept)
    shutil.rmtree(room)
    return kept


def traced(stroke: Points, rng: np.random.Generator) -> Trace:
    points = even(stroke, 0.03)
    swing = 0.15 * np.sin(rng.uniform(0, 2 * np.pi) + np.linspace(0, 2 * np.pi, len(points)) * rng.uniform(0.5, 1.5))
    return Trace(points, PEN_MM * (1 + swing), np.ones(len(points)))


def copied_words(line: RuledLine, words: Sequence[Word]) -> Iterator[Points]:
    """Yield the strokes of a ruled line's words, left to right, as far as they fit."""
    left, _, wide, _ = line.box_mm
    at, by_text = left + 2.0, {w.text: w for w in words}
    for text in line.text.split():
        if text not in by_text:
            continue
        strokes = by_text[text].strokes
        every = np.vstack(strokes)
        if at + np.ptp(every[:, 0]) > left + wide:
            return
        shift = np.array([at - every[:, 0].min(), line.baseline_mm])
        yield from (s + shift for s in strokes)
        at += float(np.ptp(every[:, 0])) + WORDS_APART_MM


@cache
def font_of(path: Path) -> Font:
    """Return the font of a hand as it is built now; it takes a while, so it is kept."""
    return make_font(open_hand(path))[0]


def attempts_of(path: Path) -> dict[str, list[Letter]]:
    """Return the attempts as they were read, mm, y down from the line."""
    out: dict[str, list[Letter]] = defaultdict(list)
    for capture in load_captures(open_hand(path)):
        for a in capture.attempts:
            if a.status == "written" and a.strokes:
                out[a.char].append([s.points_mm * [1, -1] for s in a.strokes])
    return out
