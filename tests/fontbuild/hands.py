"""Hands to build fonts from: Hershey's letters (PyPI Hershey-Fonts) written several times, never twice alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache

import numpy as np

from capture.units import Points
from skeleton.attempt import Attempt
from skeleton.geometry.arc_length import resample
from skeleton.geometry.stroke import Stroke

X_HEIGHT_MM = 3.0
ASCENDER_MM, DESCENDER_MM = 5.6, -2.4
PEN_MM = 0.4
HERSHEY_X_HEIGHT = 14.0

MARKS = {
    "\u0300": [[(-0.2, 0.35), (0.15, 0.0)]],
    "\u0301": [[(0.25, 0.4), (-0.1, 0.0)]],
    "\u0302": [[(-0.3, 0.0), (0.0, 0.3), (0.3, 0.0)]],
    "\u030c": [[(-0.3, 0.3), (0.0, 0.0), (0.3, 0.3)]],
    "\u0303": [[(-0.4, 0.0), (-0.2, 0.15), (0.2, 0.0), (0.4, 0.15)]],
    "\u0304": [[(-0.35, 0.1), (0.35, 0.1)]],
    "\u0306": [[(-0.3, 0.3), (-0.15, 0.05), (0.15, 0.05), (0.3, 0.3)]],
    "\u0307": [[(0.0, 0.1)]],
    "\u0308": [[(-0.2, 0.1)], [(0.2, 0.1)]],
    "\u030a": [[(0.0, 0.3), (-0.17, 0.15), (0.0, 0.0), (0.17, 0.15), (0.0, 0.3)]],
    "\u030b": [[(0.05, 0.4), (-0.2, 0.0)], [(0.35, 0.4), (0.1, 0.0)]],
    "\u0309": [[(-0.15, 0.3), (0.05, 0.4), (0.15, 0.25), (0.0, 0.12), (0.0, 0.0)]],
    "\u0327": [[(0.02, 0.0), (0.0, -0.12), (0.18, -0.25), (0.0, -0.4), (-0.15, -0.35)]],
    "\u0328": [[(0.0, 0.0), (-0.18, -0.2), (-0.1, -0.38), (0.12, -0.33)]],
    "\u031b": [[(0.0, 0.0), (0.2, 0.12), (0.22, 0.3)]],
    "\u0323": [[(0.0, -0.25)]],
    "\u0326": [[(0.05, -0.2), (-0.08, -0.45)]],
}
"""Our own marks in x-heights; those above stand on y = 0 of the mark's zone, those below hang from it."""


@cache
def _font(name: str) -> dict[str, list[Points]]:
    from HersheyFonts import HersheyFonts

    hershey = HersheyFonts()
    hershey.load_default_font(name)
    out: dict[str, list[Points]] = {}
    for char, glyph in hershey.all_glyphs.items():
        base = glyph.base_line
        scale = X_HEIGHT_MM / HERSHEY_X_HEIGHT
        lines = [np.array([((x + 12) * scale, (base - y) * scale) for x, y in line], float) for line in glyph.strokes]
        lines = [line for line in lines if len(line)]
        if lines:
            out[char] = [_dotted(line) for line in lines]
    return out


def _dotted(line: Points) -> Points:
    """Return the centre of the tiny diamonds that Hershey's plotters drew for dots."""
    size = np.ptp(line, axis=0)
    return line.mean(axis=0)[None] if len(line) >= 4 and size.max() < 0.2 * X_HEIGHT_MM else line


def letterform(char: str, font: str = "rowmans") -> list[Points]:
    """Return Hershey's letter in cell-frame mm, densely sampled; dots have one point."""
    return [line if len(line) == 1 else resample(line, max(12, int(_len(line) / 0.08))) for line in _font(font)[char]]


def _len(line: Points) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def mark(char: str, at: tuple[float, float]) -> list[Points]:
    """Return one of our marks standing at a place, cell-frame mm."""
    lines = [np.array(line, float) * X_HEIGHT_MM + at for line in MARKS[char]]
    return [line if len(line) == 1 else resample(line, 24) for line in lines]


def scattered(lines: Iterable[Points], rng: np.random.Generator, *, strength: float = 1.0) -> list[Points]:
    """Return the lines as a hand would repeat them: size, lean, place, and a smooth bend; noise of 0.01 mm."""
    size = 1 + strength * rng.normal(0, [0.07, 0.05])
    lean = np.tan(np.radians(strength * rng.normal(0, 3)))
    foot = strength * rng.normal(0, 0.08) * X_HEIGHT_MM
    shift = rng.normal(0, 0.3)
    waves = rng.normal(0, 0.035 * strength * X_HEIGHT_MM, (3, 2))
    phase = rng.uniform(0, 2 * np.pi, (3, 2))
    turn = rng.normal(0, 0.5, (3, 2))
    out = []
    for line in lines:
        p = line * size
        p = p + np.outer(p[:, 1], [lean, 0]) + [shift, foot]
        bend = sum(waves[k] * np.sin((line @ turn[k])[:, None] + phase[k]) for k in range(3))
        jitter = rng.normal(0, 0.05 * X_HEIGHT_MM * strength, 2) * 0.6
        noise = rng.normal(0, 0.004, line.shape)
        if len(line) > 8:
            noise = np.column_stack([np.convolve(np.pad(n, 3, mode="edge"), np.ones(7) / 7, "valid") for n in noise.T])
        out.append(p + bend + jitter + noise)
    return out


def attempt(char: str, lines: Sequence[Points], number: int, *, place: str = "", **changes: object) -> Attempt:
    """Return lines as an attempt at `char`."""
    values: dict[str, object] = {
        "id": place or f"s1/1/{'-'.join(f'{ord(c):x}' for c in char)}.{number}",
        "char": char,
        "attempt": number,
        "status": "written",
        "strokes": tuple(Stroke(line, PEN_MM) for line in lines),
        "x_height_mm": X_HEIGHT_MM,
        "ascender_mm": ASCENDER_MM,
        "descender_mm": DESCENDER_MM,
        "width_mm": 8.0,
        "pen_mm": PEN_MM,
    }
    return Attempt(**{**values, **changes})  # type: ignore[arg-type]


def hand(
    chars: str, *, times: int = 4, seed: int = 1, font: str = "rowmans", marks: str = "", strength: float = 1.0
) -> list[Attempt]:
    """Return attempts at `chars`, and at combining `marks`, each written `times` times."""
    rng = np.random.default_rng(seed)
    out = []
    for char in chars:
        for number in range(1, times + 1):
            out.append(attempt(char, scattered(letterform(char, font), rng, strength=strength), number))
    for char in marks:
        for number in range(1, times + 1):
            below = MARKS[char][0][0][1] <= 0 and char in "\u0327\u0328\u0323\u0326"
            at = (2.0, 0.0 if below else 1.25 * X_HEIGHT_MM)
            out.append(attempt(char, scattered(mark(char, at), rng, strength=strength), number))
    return out


def written_by(
    habits: object,
    chars: Iterable[str],
    *,
    times: int | dict[str, int] = 4,
    seed: int = 1,
    x_height_mm: float = X_HEIGHT_MM,
) -> list[Attempt]:
    """Return what the sample's simulated writer writes into cells: true strokes, in cell-frame mm."""
    from capture.sheet import Cell
    from capture.units import cell_from_image
    from sample_sheets.writer import write_cell

    rng = np.random.default_rng(seed)
    up, down = 2.0 * x_height_mm, -0.9 * x_height_mm
    out = []
    for row, char in enumerate(chars, 1):
        for number in range(1, (times if isinstance(times, int) else times.get(char, 2)) + 1):
            box = (0.0, 0.0, 14.0, up - down + 4)
            cell = Cell(char, number, row, number, box, up + 2, x_height_mm, up, down, char, box, box)
            _, traces = write_cell(char, cell, rng, habits)  # type: ignore[arg-type]
            lines = [cell_from_image(t.points_mm, left_mm=0.0, baseline_mm=cell.baseline_mm) for t in traces]
            small = 0.13 * x_height_mm
            lines = [line.mean(axis=0)[None] if np.ptp(line, axis=0).max() < small else line for line in lines]
            place = f"k{seed}/1/{row}.{number}"
            guides = {"x_height_mm": x_height_mm, "ascender_mm": up, "descender_mm": down}
            out.append(attempt(char, lines, number, place=place, **guides))
    return out
