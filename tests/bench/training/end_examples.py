"""What the network of `end_lengths` is trained on: ends of strokes as they were read, and where they really were."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton import pipeline, selection
from skeleton.fitting.end_pictures import MOST, end_measures, end_pictures, led_on
from skeleton.fitting.line_fit import STEP_PEN_WIDTHS
from skeleton.fitting.residual_ink import ends_of
from tests.bench.trace_score import SAMPLES, spread
from tests.bench.training.choices import Written, inked
from tests.bench.training.example_files import load_files, make_files
from tests.bench.training.rightness import WITHIN_MM

Floats = NDArray[np.float64]

CERTAINLY_RIGHT_MM = 0.2
"""Mean distance from which no other stroke is asked whether it was this one."""

ANOTHER_MM = 2.0
"""Mean distance from which it was not."""

MOVE_COST = 0.02
"""Mean distance, mm, that an end moved by a millimetre must win: what makes no difference stays."""

PERTURBED = 0.5
"""Share of the strokes of which there is another example, their ends moved by lot: so that the network learns to find
an end, of which most are where they should be."""

PERTURBED_POINTS, LEFT_ALONE, MOST_TAKEN_BACK, MOST_LED_ON = 3.5, 0.3, 9, 12
"""Standard deviation of these moves, points; share of ends that stay; points by which an end is moved at most."""


@dataclass(frozen=True, eq=False)
class EndExamples:
    """Ends of strokes, begin and end in turn."""

    pictures: NDArray[np.float16]
    measures: NDArray[np.float32]
    """As `end_lengths.shift_odds` takes them."""

    shift: NDArray[np.int8]
    """Shape (ends,): by how many points the end lies further out."""

    perturbed: NDArray[np.bool_]
    """Shape (ends,): whether it was moved by lot."""

    point_mm: NDArray[np.float32]
    """Shape (ends,): length of line from point to point."""

    char: NDArray[np.int32]
    """Shape (ends,): code point."""

    source: NDArray[np.str_]
    writer: NDArray[np.str_]

    gaps: NDArray[np.float16]
    """Shape (ends / 2, shifts, shifts): how far the stroke is off, in terms of what is right, for every pair of shifts;
    none where ends were moved by lot."""


@dataclass(frozen=True, eq=False)
class _Lines:
    """What `selection.moved_ends` is given."""

    dark: NDArray[np.float32]
    points: Points
    half: Floats
    stroke: NDArray[np.int64]
    pen: float
    full: float


def make_ends(every: Sequence[Written], where: Path, *, cores: int, seconds: float) -> None:
    """Read characters for some time, and write the ends of their strokes to files in a folder."""
    make_files(every, _examples, where, cores=cores, seconds=seconds)


def load_ends(where: Path) -> EndExamples:
    """Return what `make_ends` wrote into a folder."""
    return load_files(EndExamples, where)


def _examples(one: Written) -> list[EndExamples]:
    """Return the ends of the strokes of a character that were read as one of the written ones."""
    grey, dpi, pen_mm, true = inked(one)
    given: list[tuple[_Lines, float]] = []

    def seen(*lines: Any, point_mm: float, char: str) -> tuple[Points, Floats, NDArray[np.int64]]:
        given.append((_Lines(*lines), point_mm))
        return lines[1], lines[2], lines[3]

    with patch.object(selection, "moved_ends", seen):
        read = pipeline.read(grey, dpi, one.case.char, handedness="right", known=(), judged=False)
    if not given or len(one.case.char) > 1:
        return []
    (lines, point_mm), rng = given[0], np.random.default_rng((*one.seed, 1))
    ends = ends_of(lines.stroke)
    written = [spread(s) for s in true]
    within = max(WITHIN_MM, 0.6 * pen_mm)
    out = []
    for k in range(0, len(ends), 2):
        i = int(lines.stroke[ends[k]])
        line = lines.points[ends[k] : ends[k + 1] + 1]
        way = _in_mm(line[led_on(line, lines.pen)[0]], read.strokes[i].points_mm, lines, point_mm)
        gaps = _gaps_to_nearest(way, i, written)
        if gaps is None or gaps.min() > within:
            continue
        moves = np.abs(np.arange(-MOST, MOST + 1)) * point_mm
        best = np.unravel_index((gaps + MOVE_COST * (moves[:, None] + moves)).argmin(), gaps.shape)
        shift = np.array(best) - MOST
        both = ends[k : k + 2]
        out.append(_ends_of(one, lines, both, shift, point_mm, (gaps / within)[None]))
        if rng.random() < PERTURBED:
            out += _perturbed(one, lines, both, shift, point_mm, rng)
    return out


def _in_mm(way: Points, stroke_mm: Points, lines: _Lines, point_mm: float) -> Points:
    """Return a line of `led_on` in the image's frame, mm; stroke_mm: the same stroke as it was read."""
    scaled = way * (point_mm / (STEP_PEN_WIDTHS * lines.pen))
    # the first point of a closed stroke was moved
    out: Points = scaled + (stroke_mm[1] - scaled[MOST + 1])
    return out


def _gaps_to_nearest(way: Points, number: int, written: Sequence[Points]) -> Floats | None:
    """Return `_gaps` to the written stroke that was read, its own number's first, None where none is near."""
    now = spread(way[MOST:-MOST])
    best = None
    for j in sorted(range(len(written)), key=lambda j: j != number):
        for true in (written[j], written[j][::-1]):
            if np.hypot(*(now - true).T).mean() > ANOTHER_MM:
                continue
            found = _gaps(way, true)
            if best is None or found.min() < best.min():
                best = found
            if best.min() < CERTAINLY_RIGHT_MM:
                return best
    return best


def _gaps(way: Points, true: Points) -> Floats:
    """Return mean distances from a written stroke, mm, by how far begin and end are moved, shape (shifts, shifts).

    way: `led_on`; true: at equal arc lengths. 1e3 where too little of the line is left.
    """
    size = 2 * MOST + 1
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(way, axis=0).T))])
    first, last = np.arange(size)[::-1], len(way) - size + np.arange(size)
    begin, end = gone[first][:, None, None], gone[np.maximum(last, 0)][None, :, None]
    at = begin + (end - begin) * np.linspace(0, 1, SAMPLES)
    apart = np.hypot(np.interp(at, gone, way[:, 0]) - true[:, 0], np.interp(at, gone, way[:, 1]) - true[:, 1])
    out: Floats = np.where(last[None] - first[:, None] >= 3, apart.mean(axis=2), 1e3)
    return out


def _ends_of(
    one: Written, lines: _Lines, ends: NDArray[np.int64], shift: NDArray[np.int64], point_mm: float, gaps: Floats
) -> EndExamples:
    led = led_on(np.ascontiguousarray(lines.points[ends[0] : ends[1] + 1]), lines.pen)
    pictures = end_pictures(lines.dark, lines.points, lines.half, lines.stroke, lines.pen, lines.full, ends)
    measures = end_measures(lines.points, lines.stroke, lines.pen, ends, np.array(led[1:], float))
    return EndExamples(
        pictures.astype(np.float16), measures, shift.astype(np.int8), np.full(2, not len(gaps)),
        np.full(2, point_mm, np.float32), np.full(2, ord(one.case.char), np.int32),
        np.full(2, one.source), np.full(2, one.case.writer), gaps.astype(np.float16),
    )  # fmt: skip


def _perturbed(
    one: Written,
    lines: _Lines,
    ends: NDArray[np.int64],
    shift: NDArray[np.int64],
    point_mm: float,
    rng: np.random.Generator,
) -> list[EndExamples]:
    """Return a stroke's ends as they would be had they been read elsewhere."""
    way = led_on(lines.points[ends[0] : ends[1] + 1], lines.pen)[0]
    n = len(way) - 2 * MOST
    moved = np.clip(np.rint(rng.normal(0, PERTURBED_POINTS, 2)), -min(MOST_TAKEN_BACK, n // 3), MOST_LED_ON)
    # one that is led on, but less far than it should be, would have to be led on from there another way
    moved[(rng.random(2) < LEFT_ALONE) | ((moved > 0) & (moved < shift))] = 0
    first, last = int(MOST - moved[0]), int(MOST + n + moved[1])
    left = shift - moved.astype(int)
    if not moved.any() or last - first < 5 or (np.abs(left) > MOST).any():
        return []
    before, after = slice(0, int(ends[0])), slice(int(ends[1]) + 1, None)
    kept = ends[0] + way[first:last]
    other = _Lines(
        lines.dark,
        np.concatenate([lines.points[before], lines.points[kept], lines.points[after]]),
        np.concatenate([lines.half[before], lines.half[kept], lines.half[after]]),
        np.concatenate([lines.stroke[before], lines.stroke[kept], lines.stroke[after]]),
        lines.pen,
        lines.full,
    )
    both = np.array([ends[0], ends[0] + last - first - 1])
    size = 2 * MOST + 1
    return [_ends_of(one, other, both, left, point_mm, np.zeros((0, size, size)))]
