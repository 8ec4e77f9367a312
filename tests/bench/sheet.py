"""The shipped sample, read from its scans and compared with what was truly written.

Prints: pages found; cells read, blank and ticked, right and wrong; for the cells read, how far the recovered centre
lines are from the written ones and in how many characters strokes, order and direction are right, as measured by
`tests.bench.trace_score`, beside Otsu's threshold, skimage's thinning and skan's branches on the very same cells; and
the characters that come off worst.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import skeleton
from capture.errors import OwnhandError
from capture.read import CellInk, PageReading, read_page
from capture.scan import load_scans
from capture.sheet import Sheet
from capture.sheet_file import load_sheet
from capture.units import MM_PER_INCH
from sample_sheets.truth import TrueCell, read_truth
from tests.bench.trace_reference import reference
from tests.bench.trace_score import Score, score, summary

Array = NDArray[np.float64]
Place = tuple[int, int, int]

NOTHING = [np.zeros((1, 2))]
"""What a cell is scored with in which no stroke was found."""

LANTERN = Path(__file__).parents[2] / "sample_sheets" / "lantern"


@dataclass(frozen=True, eq=False)
class Case:
    """A cell that was read, and what was written in it."""

    cell: CellInk
    true: TrueCell

    @property
    def written(self) -> list[Array]:
        """The true strokes in the frame of the cell's image."""
        return [s - [self.cell.left_mm, self.cell.top_mm] for s in self.true.strokes]


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench sheet", description="Read the sample and score it.")
    parser.add_argument("--data", type=Path, default=LANTERN, help="folder with sheet, scans and truth")
    parser.add_argument("--scans", default="scans/*.jpg", help="which pictures in it")
    parser.add_argument("--chars", default="", help="only these characters")
    parser.add_argument("--worst", type=int, default=20, help="how many characters to name")
    args = parser.parse_args(argv)
    sheet, truth = load_sheet(args.data / "sheet" / "sheet.json"), read_truth(args.data / "truth.json.gz")
    pages = _read_pages(sorted(args.data.glob(args.scans)), sheet)
    cells = {(r.page.page, c.row, c.column): c for r in pages for c in r.cells}
    _say_cells(cells, {p: t for p, t in truth.items() if p[0] in {r.page.page for r in pages}})
    cases = [
        Case(cell, truth[place])
        for place, cell in cells.items()
        if truth[place].status == "written" and cell.status == "written" and (cell.char in args.chars or not args.chars)
    ]
    if cases:
        _say_strokes(cases, args.worst)
    return 0


def _read_pages(pictures: Sequence[Path], sheet: Sheet) -> list[PageReading]:
    print(f"{'scan':14s} {'page':>4s} {'marks':>7s} {'off the print, mm':>18s} {'pen, mm':>8s} {'seconds':>8s}")
    pages = []
    for path in pictures:
        for scan in load_scans(path):
            begun = time.perf_counter()
            try:
                r = read_page(scan, lambda code: sheet)
            except OwnhandError as e:
                print(f"{path.name:14s} not read: {e}")
                continue
            v = r.verdict
            marks = f"{v.marks_found}/{v.marks_printed}"
            took = time.perf_counter() - begun
            print(f"{path.name:14s} {r.page.page:4d} {marks:>7s} {v.local_error_mm:18.3f} {r.pen_mm:8.3f} {took:8.2f}")
            pages.append(r)
    print(f"pages found: {len(pages)} of {len(pictures)}\n")
    return pages


def _say_cells(cells: dict[Place, CellInk], truth: dict[Place, TrueCell]) -> None:
    kinds = ("written", "blank", "spoiled")
    print(f"{'cells':22s}" + "".join(f"{'read as ' + k:>17s}" for k in kinds))
    wrong = []
    for true_kind in kinds:
        row = dict.fromkeys(kinds, 0)
        for place, t in truth.items():
            if t.status == true_kind:
                found = cells[place].status if place in cells else "blank"
                row[found] += 1
                if found != true_kind:
                    wrong.append(f"'{t.char}' page {place[0]}, row {place[1]}, column {place[2]}: {true_kind}, {found}")
        print(f"{'truly ' + true_kind:22s}" + "".join(f"{row[k]:17d}" for k in kinds))
    filled = [p for p, t in truth.items() if t.status == "written"]
    read = sum(p in cells and cells[p].status == "written" for p in filled)
    invented = sum(c.status == "written" and (p not in truth or truth[p].status != "written") for p, c in cells.items())
    mixed = sum(bool(cells[p].findings) for p in filled if p in cells)
    print(f"filled cells read: {read} of {len(filled)} ({read / max(len(filled), 1):.2%}); invented: {invented}")
    print(f"filled cells with something to look at: {mixed}")
    print("".join(f"  wrong: {w}\n" for w in wrong))


def _say_strokes(cases: Sequence[Case], worst: int) -> None:
    readers: dict[str, Callable[[Sequence[Case]], list[list[Array]]]] = {
        "otsu+skeletonize+skan": _by_thinning,
        "trace, cell by cell": _one_by_one,
        "read together": _together,
    }
    print(
        f"{'strokes':22s} {'n':>5s} {'mean um':>8s} {'p95 um':>8s} {'worst5%':>8s} "
        f"{'count':>6s} {'paths':>6s} {'order':>6s} {'full':>6s} {'ms/cell':>8s}"
    )
    scores: list[Score] = []
    for name, reader in readers.items():
        begun = time.perf_counter()
        found = reader(cases)
        ms = 1e3 * (time.perf_counter() - begun) / len(cases)
        scores = [score(f or NOTHING, c.written, c.cell.pen_mm) for f, c in zip(found, cases, strict=True)]
        s = summary(scores)
        print(
            f"{name:22s} {len(scores):5d} {s['mean']:8.1f} {s['p95']:8.1f} {s['worst']:8.1f} "
            f"{s['count']:6.3f} {s['paths']:6.3f} {s['order']:6.3f} {s['full']:6.3f} {ms:8.1f}"
        )
    _say_worst(cases, scores, worst)


def _by_thinning(cases: Sequence[Case]) -> list[list[Array]]:
    return [reference(c.cell.grey, c.cell.px_per_mm * MM_PER_INCH) for c in cases]


def _one_by_one(cases: Sequence[Case]) -> list[list[Array]]:
    return [
        [s.points_mm for s in skeleton.trace(c.cell.grey, c.cell.px_per_mm * MM_PER_INCH, c.cell.char)] for c in cases
    ]


def _together(cases: Sequence[Case]) -> list[list[Array]]:
    groups: dict[tuple[str, float], list[int]] = defaultdict(list)
    for i, c in enumerate(cases):
        groups[c.cell.char, round(c.cell.px_per_mm, 6)].append(i)
    out: list[list[Array]] = [[] for _ in cases]
    for (char, px_per_mm), members in groups.items():
        readings = skeleton.read_together([cases[i].cell.grey for i in members], px_per_mm * MM_PER_INCH, char)
        for i, r in zip(members, readings, strict=True):
            out[i] = [s.points_mm for s in r.strokes]
    return out


def _say_worst(cases: Sequence[Case], scores: Sequence[Score], worst: int) -> None:
    by_char: dict[str, list[tuple[Case, Score]]] = defaultdict(list)
    for c, s in zip(cases, scores, strict=True):
        by_char[c.cell.char].append((c, s))
    ranked = sorted(by_char, key=lambda ch: (np.mean([s.full for _, s in by_char[ch]]), -_mean_um(by_char[ch])))
    print(f"\n{'worst':6s} {'n':>3s} {'count':>6s} {'paths':>6s} {'full':>6s} {'mean um':>8s}  wrong: attempt.form")
    for char in ranked[:worst]:
        m = summary([s for _, s in by_char[char]])
        if m["full"] == 1.0:
            break
        missed = " ".join(
            f"{c.true.attempt}.{c.true.form}" + (f"({c.true.accident})" if c.true.accident else "")
            for c, s in by_char[char]
            if not s.full
        )
        n = len(by_char[char])
        print(f"{char:6s} {n:3d} {m['count']:6.2f} {m['paths']:6.2f} {m['full']:6.2f} {m['mean']:8.1f}  {missed}")
    hard = [s for c, s in zip(cases, scores, strict=True) if c.true.accident]
    if hard:
        m = summary(hard)
        shares = f"paths {m['paths']:.3f}, full {m['full']:.3f}"
        print(f"\ncells with an accident: {len(hard)}, mean {m['mean']:.1f} um, {shares}")


def _mean_um(members: Sequence[tuple[Case, Score]]) -> float:
    return summary([s for _, s in members])["mean"]
