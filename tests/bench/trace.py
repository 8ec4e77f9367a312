"""Centre lines and stroke order against known strokes: `python -m tests.bench trace`.

Every row is the same ink read twice: by the tracer and by Otsu + skimage.skeletonize + skan.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points, pixels_from_image, px_per_mm
from skeleton.options import Options
from skeleton.reader import read
from skeleton.stroke import Stroke
from tests.bench.trace_data import Case, data_sets, folder
from tests.bench.trace_ink import ink
from tests.bench.trace_reference import reference
from tests.bench.trace_score import Score, score, summary

COLUMNS = ("mean", "p95", "worst", "count", "paths", "order", "full")
PARTS = ("junctions", "ductus", "refine", "together", "smooth")
COLOURS = [(0, 0, 220), (220, 80, 0), (0, 150, 0), (200, 0, 200), (0, 140, 220), (120, 120, 0), (90, 90, 90)]


def main(argv: list[str]) -> int:
    """Print the table; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench trace", description=__doc__)
    parser.add_argument("--data", type=Path, action="append", default=[], help="file or folder of stroke files")
    parser.add_argument("--sets", default="", help="only these data sets, by name, with commas")
    parser.add_argument("--pens", default="0.3,0.5,0.8", help="pen widths in mm")
    parser.add_argument("--dpis", default="200,300,600")
    parser.add_argument("--inks", default="clean,noisy,skipping")
    parser.add_argument("--count", type=int, default=0, help="at most this many characters a set, drawn by lot")
    parser.add_argument("--quick", action="store_true", help="one pen, one dpi, noisy ink, 40 characters a set")
    parser.add_argument("--no-char", action="store_true", help="do not tell the tracer the character")
    parser.add_argument("--ablate", action="store_true", help="the five parts, each left out in turn")
    parser.add_argument("--known", action="store_true", help="one known attempt of the same writer for each character")
    parser.add_argument("--pictures", type=Path, help="folder for overlay pictures of what went wrong")
    a = parser.parse_args(argv)
    if a.quick:
        a.pens, a.dpis, a.inks, a.count = "0.5", "300", "noisy", a.count or 40
    sets = data_sets() if not a.data or not a.sets else {}
    for path in a.data:
        sets |= folder(path)
    if a.sets:
        sets = {k: v for k, v in (data_sets() | sets).items() if k in a.sets.split(",")}
    print(
        f"{'data':<22}{'pen':>5}{'dpi':>5} {'ink':<9}{'tracer':<11}" + "".join(f"{c:>8}" for c in COLUMNS) + "      ms"
    )
    for name, every in sets.items():
        cases = _some(every, a.count)
        if a.ablate:
            _ablate(name, cases)
            continue
        for pen in map(float, a.pens.split(",")):
            for dpi in map(float, a.dpis.split(",")):
                for kind in a.inks.split(","):
                    if a.no_char:
                        cases = [replace(c, known=False) for c in cases]
                    images = [ink(c.strokes, dpi=dpi, pen_mm=pen, kind=kind, seed=i) for i, c in enumerate(cases)]
                    known = _known(cases) if a.known else {}
                    head = f"{name:<22}{pen:>5}{dpi:>5.0f} {kind:<9}"
                    found = _row(head + f"{'ownhand':<11}", cases, images, pen, _tracer(dpi, Options(), known))
                    _row(head + f"{'reference':<11}", cases, images, pen, lambda im, _, d=dpi: reference(im, d))
                    if a.pictures:
                        _pictures(a.pictures / f"{name}-{pen}-{dpi:.0f}-{kind}", cases, images, found, dpi)
    return 0


def _some(cases: list[Case], count: int) -> list[Case]:
    if not count or len(cases) <= count:
        return cases
    return [cases[i] for i in sorted(np.random.default_rng(7).choice(len(cases), count, replace=False))]


def _known(cases: list[Case]) -> dict[str, list[list[Stroke]]]:
    """Return for every case's name another attempt of the same writer at the same character."""
    groups: dict[tuple[str, str], list[Case]] = {}
    for c in cases:
        groups.setdefault((c.writer, c.char), []).append(c)
    out: dict[str, list[list[Stroke]]] = {}
    for group in groups.values():
        for i, c in enumerate(group):
            if len(group) > 1:
                out[c.name] = [[Stroke(s) for s in group[i - 1].strokes]]
    return out


def _tracer(
    dpi: float, options: Options, known: dict[str, list[list[Stroke]]]
) -> Callable[[NDArray[np.uint8], Case], list[Points]]:
    def run(image: NDArray[np.uint8], case: Case) -> list[Points]:
        char = case.char if case.known else None
        r = read(image, dpi, char, handedness="right", known=known.get(case.name, ()), options=options)
        return [s.points_mm for s in r.strokes]

    return run


def _row(
    head: str,
    cases: list[Case],
    images: list[tuple[NDArray[np.uint8], Points]],
    pen: float,
    run: Callable[[NDArray[np.uint8], Case], list[Points]],
) -> list[tuple[list[Points], Score]]:
    """Print one row; return strokes and score of every case."""
    run(images[0][0], cases[0])  # compiling and importing is not the tracer's time
    start = time.perf_counter()
    found = [run(im, c) for (im, _), c in zip(images, cases, strict=True)]
    ms = 1e3 * (time.perf_counter() - start) / len(cases)
    scores = [score(f, [s + off for s in c.strokes], pen) for f, (_, off), c in zip(found, images, cases, strict=True)]
    m = summary(scores)
    print(
        head
        + "".join(f"{m[c]:>8.1f}" for c in COLUMNS[:3])
        + "".join(f"{m[c]:>8.3f}" for c in COLUMNS[3:])
        + f"{ms:>8.1f}",
        flush=True,
    )
    return list(zip(found, scores, strict=True))


def _ablate(name: str, cases: list[Case]) -> None:
    images = [ink(c.strokes, seed=i) for i, c in enumerate(cases)]
    head = f"{name:<22}{0.5:>5}{300:>5} {'noisy':<9}"
    for part in ("", *PARTS):
        options = replace(Options(), **{part: False}) if part else Options()
        label = f"-{part}" if part else "all parts"
        if part == "together":
            continue  # `read` takes one image; see the `--known` rows
        _row(head + f"{label:<11}", cases, images, 0.5, _tracer(300, options, {}))


def _pictures(
    to: Path,
    cases: list[Case],
    images: list[tuple[NDArray[np.uint8], Points]],
    found: list[tuple[list[Points], Score]],
    dpi: float,
) -> None:
    """Write a picture of every character that was not read in full: found strokes left, written ones right."""
    to.mkdir(parents=True, exist_ok=True)
    for case, (image, off), (lines, s) in zip(cases, images, found, strict=True):
        if s.full:
            continue
        both = [_overlay(image, strokes, dpi) for strokes in (lines, [t + off for t in case.strokes])]
        safe = "".join(ch if ch.isalnum() else "_" for ch in case.name)
        cv2.imwrite(str(to / f"{safe}.png"), np.hstack(both))


def _overlay(image: NDArray[np.uint8], strokes: list[Points], dpi: float) -> NDArray[np.uint8]:
    k = 4
    big = cv2.cvtColor(cv2.resize(image, None, fx=k, fy=k, interpolation=cv2.INTER_NEAREST), cv2.COLOR_GRAY2BGR)
    out = (255 - 0.35 * (255 - big.astype(float))).astype(np.uint8)
    for j, s in enumerate(strokes):
        q = (pixels_from_image(s, px_per_mm=px_per_mm(dpi)) + 0.5) * k - 0.5
        colour = COLOURS[j % len(COLOURS)]
        cv2.polylines(out, [np.round(q * 16).astype(np.int32)], False, colour, 1, cv2.LINE_AA, 4)
        x, y = (round(float(v)) for v in q[0])
        cv2.circle(out, (x, y), 5, colour, -1)
        cv2.putText(out, str(j + 1), (x + 5, y + 5), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (0, 0, 0), 1)
        if len(q) > 6:
            m = len(q) // 3
            a, b = ((round(float(v[0])), round(float(v[1]))) for v in (q[m], q[m + 4 if m + 4 < len(q) else -1]))
            cv2.arrowedLine(out, a, b, colour, 1, cv2.LINE_AA, tipLength=1.5)
    return out
