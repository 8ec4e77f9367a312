"""A person who writes: habits, and how much they vary from attempt to attempt.

Standard deviations follow what two writers of UNIPEN (Guyon, Schomaker, Plamondon, Liberman & Janet 1994, *UNIPEN
project of on-line data exchange and recognizer benchmarks*, ICPR) do within a line of print-style English: foot about
the line 0.10-0.13 x-heights, height 10-13 %, width 14-19 %, slant of stems 6-8 degrees, gap within words 0.17-0.25
with a standard deviation of 0.24 x-heights, lines sloping -0.1 to 0.3 degrees with one of 0.4-0.5. Straight strokes
stray from straight by 0.8 % of their length (median; 1.1-1.5 % for five people of UJI Pen Characters, Llorens et al.
2008, LREC). Three people of UJI, x-height 3.5 mm: a later stroke that begins or ends by another's end misses it by
0.57-0.84 mm (medians), the keeper by 0.37; where o and 0 close, the ends overlap by 0.13 of a turn and lie 0.28 mm
aside, the keeper's by 0.04 and 0.12; two attempts have the same number of strokes in 0.95-1.00 of cases, the keeper's
in 0.955.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from capture.sheet import Cell
from sample_sheets.writer.letterforms import Form, Path, forms_of, parse_path
from sample_sheets.writer.movement import Manner, move
from sample_sheets.writer.spacing import beside, outline, side_of

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Habits:
    """What a writer does again and again; lengths in x-heights where no unit is said."""

    slant_deg: float = 7.0
    """Lean to the right of the upright forms."""

    wide: float = 1.0
    """Width of the forms."""

    tall: float = 1.0
    """Height of what rises over the x-height or goes below the baseline."""

    foot_sd: float = 0.065
    height_sd: float = 0.065
    width_sd: float = 0.09
    slant_sd_deg: float = 3.5
    foot_memory: float = 0.3
    """Correlation of a letter's foot with the one before."""

    gap: float = 0.34
    """Mean gap between letters, over their facing sides."""

    gap_sd: float = 0.07
    word: float = 1.0
    """Gap between words."""

    word_sd: float = 0.2
    second_form: float = 0.1
    """Share of the attempts that take another form than the usual one."""

    miss_sd: float = 0.11
    """How far aside of where it belongs a later stroke lands, more than above or below; a short one misses by less."""

    low_dots: float = 0.05
    """Share of the dots that come down so low that they may touch the letter."""

    pen_mm: float = 0.45
    pressure_sd: float = 0.07
    dry: float = 0.06
    """Share of the strokes in which the ink fails for a moment."""

    size: float = 1.0
    aside: float = 0.0
    """How far off the middle of a cell a letter stands, in widths of the cell."""

    manner: Manner = field(default_factory=Manner)


CLOSING = ".,;:!?…’”“"
"""Signs that keep a little off the letter before them."""

KEEPER = Habits()
"""The keeper of the lighthouse museum, who writes the postcards: fairly regular, a little slanted."""

GUEST = Habits(
    slant_deg=-3.0,
    wide=0.80,
    tall=0.92,
    foot_sd=0.11,
    height_sd=0.12,
    width_sd=0.16,
    slant_sd_deg=6.5,
    gap=0.24,
    gap_sd=0.12,
    word=1.5,
    word_sd=0.4,
    miss_sd=0.15,
    pen_mm=0.55,
    pressure_sd=0.12,
    manner=Manner(
        rhythm_s=0.078,
        practice=0.75,
        aim_sd=0.038,
        bend_sd_deg=9.0,
        bow_sd_deg=16.0,
        timing_sd=0.2,
        overshoot=0.06,
        tremor=0.009,
    ),
)
"""A visitor in a hurry: upright, narrow, and far less regular."""


@dataclass(frozen=True, eq=False)
class Trace:
    """One pen-down movement on the paper, in the order and direction of writing."""

    points_mm: Array
    """Shape (n, 2): page frame, y down."""

    widths_mm: Array
    """Shape (n,): width of the ink."""

    darkness: Array
    """Shape (n,): 0 (no ink) to 1."""


def choose_form(char: str, attempt: int, habits: Habits, rng: np.random.Generator) -> Form:
    """Return the form for this attempt; the first attempt takes the writer's usual form."""
    forms = forms_of(char)
    if len(forms) == 1 or attempt == 1:
        return forms[0]
    return forms[1 + int(rng.integers(len(forms) - 1))] if rng.random() < habits.second_form else forms[0]


def posed(form: Form, habits: Habits, rng: np.random.Generator) -> list[Path]:
    """Return today's size, width and slant of a form, standing near y = 0; x-heights, y up."""
    height = float(np.exp(rng.normal(0, habits.height_sd)))
    width = height**0.5 * habits.wide * float(np.exp(rng.normal(0, habits.width_sd)))
    lean = np.tan(np.radians(habits.slant_deg + rng.normal(0, habits.slant_sd_deg)))
    matrix = np.array([[width, lean * height], [0.0, height]])
    paths = [p.moved(matrix, np.zeros(2)) for p in form.paths]
    if habits.tall != 1.0:
        paths = [replace(p, at=np.column_stack([p.at[:, 0], _stretched(p.at[:, 1], habits.tall)])) for p in paths]
    moved = [paths[0]]
    for p in paths[1:]:
        size = float(np.ptp(p.at, axis=0).max())
        small = size < 0.2
        miss = habits.miss_sd * min(max(size, 0.45), 1)
        aside = rng.normal(0, (0.07, 0.05) if small else (miss, 0.6 * miss), 2)
        if small and rng.random() < habits.low_dots:
            aside[1] -= 0.24
        moved.append(p.moved(np.eye(2), aside))
    return moved


def _stretched(y: Array, tall: float) -> Array:
    return np.asarray(np.where(y > 1, 1 + (y - 1) * tall, np.where(y < 0, y * tall, y)))


def _pressed(
    points: Array, speed: Array, habits: Habits, force: float, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Return widths (mm) and darkness along a movement in mm, y down, with its speed in mm/s."""
    n = len(points)
    t = np.arange(n)
    lead, tail = min(9, n), min(12, n)
    ramp = np.minimum(1, 0.62 + 0.38 * t / lead) * np.minimum(1, 0.45 + 0.55 * (n - 1 - t) / tail)
    step = np.gradient(points, axis=0) if n > 1 else np.zeros((n, 2))
    down = step[:, 1] / np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-9)
    slow = 1 / (1 + speed / 45.0)
    phase, waves = rng.uniform(0, 2 * np.pi), rng.uniform(0.4, 1.3)
    sway = 0.05 * np.sin(phase + waves * 2 * np.pi * t / max(n, 20))
    push = force * ramp * (0.80 + 0.10 * down + 0.22 * slow + sway)
    widths = habits.pen_mm * np.clip(0.30 + 0.74 * push, 0.35, 1.5)
    dark = np.clip(0.52 + 0.50 * push, 0.3, 1.05)
    if rng.random() < 0.16:  # the pen rests on landing: a blot
        blot = np.exp(-((t / rng.uniform(2.5, 5.0)) ** 2))
        widths = widths * (1 + rng.uniform(0.15, 0.42) * blot)
        dark = np.minimum(1.1, dark + 0.2 * blot)
    for _ in range(1 if habits.dry < 0.5 else 3):  # the ink fails for a moment
        if rng.random() < habits.dry and n > 30:
            middle, half = rng.uniform(0.15, 0.85) * n, rng.uniform(2.5, 8.0)
            dark = dark * (1 - rng.uniform(0.6, 1.0) * np.exp(-(((t - middle) / half) ** 4)))
    return widths, dark


def traced(paths: list[Path], origin: Array, scale: float, habits: Habits, rng: np.random.Generator) -> list[Trace]:
    """Return the ink for posed paths (x-heights, y up) put at `origin` (page mm) with `scale` mm to the x-height."""
    force = float(np.exp(rng.normal(0, habits.pressure_sd)))
    traces = []
    for path in paths:
        size = float(np.ptp(path.at, axis=0).max())
        manner = habits.manner
        if size < 0.2:  # a jab: a dot
            manner = replace(manner, aim_sd=manner.aim_sd * 0.6, tremor=manner.tremor * 0.3)
        m = move(path, manner, rng)
        points = origin + m.at * np.array([scale, -scale])
        widths, dark = _pressed(points, m.speed * scale, habits, force * (1.16 if size < 0.2 else 1.0), rng)
        traces.append(_thinned(Trace(points, widths, dark)))
    return traces


def write_path(
    text: str,
    origin_mm: tuple[float, float],
    unit_mm: tuple[float, float],
    rng: np.random.Generator,
    habits: Habits = KEEPER,
) -> Trace:
    """Return the ink of one stroke in the notation of `letterforms`, its (0, 0) at `origin_mm` of the page."""
    path = parse_path(text)
    tall = max(unit_mm[1], 0.1)
    flat = path.moved(np.diag([unit_mm[0] / tall, 1.0]), np.zeros(2))
    return traced([flat], np.array(origin_mm), tall, habits, rng)[0]


def _thinned(trace: Trace, step_mm: float = 0.05) -> Trace:
    """Return the trace at even steps of length."""
    p = trace.points_mm
    way = np.r_[0.0, np.cumsum(np.hypot(*np.diff(p, axis=0).T))]
    at = np.linspace(0, way[-1], max(2, int(np.ceil(way[-1] / step_mm)) + 1))
    x, y, w, d = (np.interp(at, way, v) for v in (p[:, 0], p[:, 1], trace.widths_mm, trace.darkness))
    return Trace(np.column_stack([x, y]), w, d)


def write_cell(char: str, cell: Cell, rng: np.random.Generator, habits: Habits = KEEPER) -> tuple[str, list[Trace]]:
    """Return the name of the form and the ink of one attempt at `char`, written into `cell`; page mm, y down."""
    form = choose_form(char, cell.attempt, habits, rng)
    paths = posed(form, habits, rng)
    x = np.concatenate([p.at[:, 0] for p in paths])
    left, _, width, _ = cell.box_mm
    scale = cell.x_height_mm * habits.size
    middle = left + width * (0.5 + rng.normal(0, 0.05) + habits.aside * rng.choice((-1, 1)))
    foot = cell.baseline_mm - rng.normal(0.01, habits.foot_sd) * scale
    origin = np.array([middle - scale * (x.min() + x.max()) / 2, foot])
    return form.name, traced(paths, origin, scale, habits, rng)


def write_line(
    text: str,
    origin_mm: tuple[float, float],
    x_height_mm: float,
    rng: np.random.Generator,
    habits: Habits = KEEPER,
) -> list[tuple[str, str, list[Trace]]]:
    """Return (character, form, ink) for each letter of a line that begins at `origin_mm` on its baseline; page mm.

    A share of what varies belongs to the whole line, the feet of letters remember the letter before, and letters are
    spaced by their facing sides.
    """
    line = replace(
        habits,
        slant_deg=habits.slant_deg + rng.normal(0, 0.4 * habits.slant_sd_deg),
        wide=habits.wide * float(np.exp(rng.normal(0, 0.35 * habits.width_sd))),
    )
    slope = np.tan(np.radians(rng.normal(0.1, 0.4)))
    foot, raised = 0.0, rng.normal(0, 0.6 * habits.foot_sd)
    pen_x, last, space = 0.0, None, 0.0
    uses: dict[str, int] = {}
    out: list[tuple[str, str, list[Trace]]] = []
    for char in text:
        if char == " ":
            space = max(0.6, rng.normal(habits.word, habits.word_sd))
            continue
        uses[char] = uses.get(char, int(rng.integers(0, 2))) + 1
        form = choose_form(char, uses[char], habits, rng)
        paths = posed(form, line, rng)
        foot = habits.foot_memory * foot + rng.normal(0, habits.foot_sd) * np.sqrt(1 - habits.foot_memory**2)
        cloud = outline(paths)
        if last is None:
            x = -side_of(cloud, np.min)
        elif space:
            x = pen_x + side_of(last, np.max) + space - side_of(cloud, np.min)
        else:
            x = pen_x + beside(
                last, cloud, max(0.08, rng.normal(habits.gap, habits.gap_sd)), least=0.28 if char in CLOSING else 0.20
            )
        origin = np.array([origin_mm[0] + x * x_height_mm, origin_mm[1] - (raised + foot + x * slope) * x_height_mm])
        out.append((char, form.name, traced(paths, origin, x_height_mm, line, rng)))
        last, pen_x, space = cloud, x, 0.0
    return out
