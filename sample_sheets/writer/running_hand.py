"""A person who joins letters: words in one go, lifts by habit, dots and bars after the word.

What varies about a letter is drawn as `hand` does; the pen's way through a word is one path for `movement`, so that
joins are as smooth and as uneven as the rest. Where a letter's part of the trace ends is where the next letter's form
begins: the join belongs to the letter that it leaves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sample_sheets.writer.hand import Habits, Trace, choose_form, posed, traced
from sample_sheets.writer.letterforms import Form, Path
from sample_sheets.writer.movement import Manner
from sample_sheets.writer.running_letters import connected, joins, running_form
from sample_sheets.writer.spacing import beside, outline, side_of

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RunningHabits:
    """How a person joins; lengths in x-heights."""

    habits: Habits
    reach: float = 0.20
    """From where a letter ends to the left edge of the next, and its deviation."""

    reach_sd: float = 0.05
    lifts: float = 0.05
    """Share of the joins that are left out after a letter, where `lifts_after` says nothing of it."""

    lifts_after: dict[str, float] = field(default_factory=dict)
    at_once: float = 0.12
    """Share of dots and bars that are made as soon as the pen is lifted, not after the word."""


ARCHIVIST = RunningHabits(
    Habits(
        slant_deg=15.0, wide=0.92, foot_sd=0.045, height_sd=0.05, width_sd=0.07, slant_sd_deg=2.2, foot_memory=0.5,
        second_form=0.0, gap=0.30, word=1.15, pen_mm=0.42, dry=0.03, low_dots=0.02,
        manner=Manner(rhythm_s=0.080, practice=0.95, aim_sd=0.014, bend_sd_deg=3.5, bow_sd_deg=8.0),
    ),
    lifts_after={"g": 0.4, "j": 0.7, "y": 0.4, "q": 0.3, "z": 0.3, "x": 0.35, "p": 0.2, "s": 0.15},
)  # fmt: skip
"""The museum's archivist, who answers its letters: joined, slanted, even."""


@dataclass(frozen=True, eq=False)
class WrittenWord:
    """A word as it was written; page mm, y down."""

    text: str
    traces: tuple[Trace, ...]
    """In the order of writing."""

    pieces: tuple[tuple[int, int, Array], ...]
    """In the order of writing: which stroke, which letter, and its part of the ink, (n, 2)."""

    joined: tuple[bool, ...]
    """For each letter whether the pen stayed down to the next."""


def write_running_line(
    text: str, origin_mm: tuple[float, float], x_height_mm: float, rng: np.random.Generator, hand: RunningHabits
) -> list[WrittenWord]:
    """Return the words of a line that begins at `origin_mm` on its baseline; page mm."""
    habits = replace(
        hand.habits,
        slant_deg=hand.habits.slant_deg + rng.normal(0, 0.4 * hand.habits.slant_sd_deg),
        wide=hand.habits.wide * float(np.exp(rng.normal(0, 0.35 * hand.habits.width_sd))),
    )
    slope = np.tan(np.radians(rng.normal(0.1, 0.35)))
    raised = rng.normal(0, 0.5 * habits.foot_sd)
    x = 0.0
    out = []
    for word in text.split():
        at = np.array([origin_mm[0] + x * x_height_mm, origin_mm[1] - (raised + x * slope) * x_height_mm])
        written, wide = _word(word, at, x_height_mm, rng, replace(hand, habits=habits))
        out.append(written)
        x += wide + max(0.7, rng.normal(habits.word, habits.word_sd))
    return out


@dataclass(eq=False)
class _Run:
    """What the pen does without a lift: a path, and at which of its knots letters begin."""

    path: Path
    begins: list[tuple[int, int]]
    """(letter, knot)."""


def _word(
    text: str, origin: Array, scale: float, rng: np.random.Generator, hand: RunningHabits
) -> tuple[WrittenWord, float]:
    """Return a word, and its width in x-heights."""
    runs: list[_Run] = []
    later: list[list[Path]] = [[] for _ in text]
    last: list[Path] = []
    foot, going_on, top, pen_x, left = 0.0, False, False, 0.0, 0.0
    joined = []
    for n, char in enumerate(text):
        foot = hand.habits.foot_memory * foot + rng.normal(0, hand.habits.foot_sd)
        running = joins(char)
        if running:
            form = running_form(char, after_top=going_on and top)
            paths = posed(Form("running", (form.main, *form.later)), hand.habits, rng)
        else:
            paths = posed(choose_form(char, 1, hand.habits, rng), hand.habits, rng)
        cloud = outline(paths)
        if not last:
            x = -side_of(cloud, np.min)
            left = x + float(cloud[:, 0].min())
        elif going_on or (running and joined and joins(text[n - 1])):
            x = pen_x + max(0.04, rng.normal(hand.reach, hand.reach_sd)) - 0.08
        else:
            x = pen_x + beside(outline(last), cloud, hand.habits.gap, least=0.2)
        paths = [p.moved(np.eye(2), np.array([x, foot])) for p in paths]
        if running and going_on:
            run = runs[-1]
            run.path, knot = connected(run.path, paths[0], form.passed)
            run.begins.append((n, knot))
        else:
            runs.append(_Run(paths[0], [(n, 0)]))
            if not running:
                runs += [_Run(p, [(n, 0)]) for p in paths[1:]]
        if running:
            later[n] = list(paths[1:])
        follows = running and n + 1 < len(text) and joins(text[n + 1])
        going_on = follows and rng.random() >= hand.lifts_after.get(char, hand.lifts)
        joined.append(going_on)
        top = running and form.from_top
        last = [p.moved(np.eye(2), np.array([-x, -foot])) for p in paths]
        pen_x = float(paths[0].at[-1, 0]) if running and follows else x
    wide = max(float(r.path.at[:, 0].max()) for r in runs) - left
    return _inked(text, runs, later, tuple(joined), origin, scale, rng, hand), wide


def _inked(
    text: str,
    runs: Sequence[_Run],
    later: Sequence[Sequence[Path]],
    joined: tuple[bool, ...],
    origin: Array,
    scale: float,
    rng: np.random.Generator,
    hand: RunningHabits,
) -> WrittenWord:
    traces: list[Trace] = []
    pieces: list[tuple[int, int, Array]] = []

    def add_later(n: int) -> None:
        for t in traced(list(later[n]), origin, scale, hand.habits, rng):
            pieces.append((len(traces), n, t.points_mm))
            traces.append(t)

    waiting: list[int] = []
    for run in runs:
        (trace,) = traced([run.path], origin, scale, hand.habits, rng)
        pieces += [(len(traces), n, piece) for n, piece in _cut(trace.points_mm, run, origin, scale)]
        traces.append(trace)
        for n in (n for n, _ in run.begins if later[n]):
            if rng.random() < hand.at_once:
                add_later(n)
            else:
                waiting.append(n)
    for n in waiting:
        add_later(n)
    return WrittenWord(text, tuple(traces), tuple(pieces), joined)


def _cut(points: Array, run: _Run, origin: Array, scale: float) -> list[tuple[int, Array]]:
    """Return a trace cut where letters begin: near the knot, and about as far along as it is on the path."""
    knots = origin + run.path.at * np.array([scale, -scale])
    way = np.r_[0.0, np.cumsum(np.hypot(*np.diff(knots, axis=0).T))]
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    cuts = [0]
    for _, knot in run.begins[1:]:
        share = way[knot] / way[-1] * along[-1]
        open_to = np.abs(along - share) < 0.9 * scale
        open_to[: cuts[-1] + 1] = False
        away = np.where(open_to, np.hypot(*(points - knots[knot]).T), np.inf)
        cuts.append(int(away.argmin()) if open_to.any() else min(cuts[-1] + 2, len(points) - 1))
    ends = [*cuts[1:], len(points) - 1]
    return [(n, points[a : b + 1]) for (n, _), a, b in zip(run.begins, cuts, ends, strict=True)]
