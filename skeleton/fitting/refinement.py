"""Centre lines drawn from pixels made true to the grey ink, all strokes of a character together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.fitting.exchanges import exchanged_orders
from skeleton.fitting.line_fit import (
    FIRST_STIFFNESS,
    MAX_ROUNDS,
    STEP_PEN_WIDTHS,
    FitContext,
    FittedHypothesis,
    Lines,
    even_line,
    fit_context,
    fit_hypothesis,
    settled,
)
from skeleton.fitting.smoothing import smooth
from skeleton.ink.ink_map import InkMap

ROUNDS_AFTER_CHANGE = 4
"""Rounds after a change of plan."""

MIN_HOOK_PEN_WIDTHS = 0.2
"""Pen widths that the pen must have gone on beyond an end before the end is led on."""

MAX_EXTENSIONS = 2
"""How often ends are led on."""

HOOK_SEGMENTS = 5
"""Segments from the end to which a hook may cling."""

MAX_EXCHANGES = 3
"""Most exchanges tried for a character."""

MAX_SPREADS = 3
"""Most pairs of passes laid apart in a character."""

SPREAD_STIFFNESS = 100.0
"""How many times as stiff the line is in the first round after it was laid on the edges of its ink."""

LOOP_WIDTH_PEN_WIDTHS = 1.1
"""Pen widths between the legs of a loop below which ink may hide which leg is which."""

Floats = NDArray[np.float64]
MoveEnds = Callable[
    [NDArray[np.float32], Points, Floats, NDArray[np.int64], float, float], tuple[Points, Floats, NDArray[np.int64]]
]
"""Gives strokes with their ends elsewhere; takes what `end_lengths.moved_ends` takes."""


@dataclass(frozen=True, eq=False)
class Refined:
    """A refined line. Frame: px of the working image."""

    line: Points
    """Shape (n, 2)."""

    width: Floats
    """Shape (n,): width of the pen along the line, px."""

    closed: bool = False
    """True when the line ends where it began; the first point is then repeated as the last."""


def refine(lines: Sequence[Points], ink: InkMap, *, to_ink: bool = True, smoothly: bool = True) -> list[Refined]:
    """Return the lines moved to where a round pen must have gone to leave this ink.

    The strokes of a character are fitted together (`render_fit`), so that lines which cross, touch or run along
    each other share their ink, ends lie half a pen width inside it, and corners stay as sharp as the ink shows them.

    Parameters
    ----------
    lines
        Each of shape (n, 2), px of the working image; a dot has one point. They must lie within about half a pen
        width of the truth.
    to_ink
        With False the lines are smoothed but not moved to the ink.
    smoothly
        With False the lines follow the ink with all its noise.
    """
    if not lines:
        return []
    if to_ink:
        return completed(settled(fit_hypothesis(lines, fit_context(ink, smoothly=smoothly))))
    pen = ink.pen_px
    drawn = [even_line(line, pen) for line in lines]
    return [_closed(smooth(p, FIRST_STIFFNESS / 3) if smoothly else p, np.full(len(p), pen), pen) for p in drawn]


def closes(points: Points, pen: float) -> bool:
    """Tell whether a line's ends all but meet; points (n, 2), pen: px."""
    return len(points) >= 9 and float(np.hypot(*(points[-1] - points[0]))) < 0.25 * pen


def _closed(points: Points, width: Floats, pen: float) -> Refined:
    """Return the line, its ends made one where they all but meet."""
    if not closes(points, pen):
        return Refined(points, width)
    out = points.copy()
    out[0] = out[-1] = 0.5 * (points[0] + points[-1])
    return Refined(out, width, True)


def completed(trial: FittedHypothesis, *, untangled: bool = True, move_ends: MoveEnds | None = None) -> list[Refined]:
    """Return the lines of a trial with their ends led on, closed loops laid apart and blots untangled.

    `untangled`: False where points must stay in their places along their line. `move_ends`: moves ends at last.
    """
    lines, wanting, paper = trial.lines, trial.wanting, trial.paper
    for _ in range(MAX_EXTENSIONS):
        longer = _lengthen(lines, paper)
        if longer is None:
            break
        lines, wanting = longer
    if untangled:
        lines = _unravel(*_spread(lines, wanting, paper), paper)
    if move_ends:
        lines = Lines(*move_ends(paper.dark, lines.points, lines.half, lines.stroke, paper.pen, paper.full))
    points, strokes = lines.points + paper.low, int(lines.stroke[-1]) + 1
    return [_closed(points[lines.stroke == i], 2 * lines.half[lines.stroke == i], paper.pen) for i in range(strokes)]


def _lengthen(lines: Lines, paper: FitContext) -> tuple[Lines, float] | None:
    """Return the lines with ends led on into ink that nothing else explains, or None where there is none.

    Pens land and leave with small hooks, shorter than what thinning takes for a line.
    """
    from skeleton.fitting.residual_ink import beyond, ends_of

    pen = paper.pen
    ends = ends_of(lines.stroke)

    def left(of: Lines) -> Floats:
        out: Floats = beyond(paper.dark, of.points, of.half, of.stroke, 1.2 * pen, 0.5 * paper.full, HOOK_SEGMENTS)
        return out

    before = left(lines)
    # ink of area A beyond a round end is a movement of A over the pen's width
    reach = before[:, 0] / (2 * lines.half[ends] * paper.full)
    grown = np.flatnonzero(reach > MIN_HOOK_PEN_WIDTHS * pen)
    if not len(grown):
        return None
    out = lines
    for k in grown[::-1]:
        i = int(ends[k])
        way = before[k, 1:] - lines.points[i]
        way /= max(float(np.hypot(*way)), 1e-9)
        n = max(1, round(reach[k] / (STEP_PEN_WIDTHS * pen)))
        steps = lines.points[i] + np.linspace(1 / n, 1, n)[:, None] * reach[k] * way
        at = i + 1 if k % 2 else i
        out = Lines(
            np.insert(out.points, at, steps if k % 2 else steps[::-1], axis=0),
            np.insert(out.half, at, np.full(n, lines.half[i])),
            np.insert(out.stroke, at, np.full(n, lines.stroke[i])),
        )
    wanting, _ = paper.improve(out, 10.0, ROUNDS_AFTER_CHANGE)
    after = left(out)
    return (out, wanting) if (after[grown, 0] < 0.5 * before[grown, 0]).all() else None


def _spread(lines: Lines, wanting: float, paper: FitContext) -> tuple[Lines, float]:
    """Return the lines with passes that touch in one blot laid on its two edges, where that leaves less to explain."""
    from skeleton.fitting.closed_loops import any_beside, layings_apart, turning

    if not any_beside(lines.points, lines.stroke, paper.pen):
        return lines, wanting
    for _ in range(MAX_SPREADS):
        best = lines, wanting
        for either in layings_apart(lines.points, lines.half, lines.stroke, paper.dark, paper.pen, paper.full):
            for points in either:
                other = Lines(points, lines.half.copy(), lines.stroke.copy())
                left, _ = paper.improve(other, SPREAD_STIFFNESS, MAX_ROUNDS)
                if left < best[1] and turning(other.points, other.stroke) < turning(lines.points, lines.stroke):
                    best = other, left
            if best[1] < wanting:
                break
        if best[1] == wanting:
            break
        lines, wanting = best
    return lines, wanting


def _unravel(lines: Lines, wanting: float, paper: FitContext) -> Lines:
    """Return the lines with stretches that run in one blot exchanged where that leaves less to explain.

    Where two passes of the pen made one broad line, either may be the left one, and a fit may have them change sides.
    """
    from skeleton.fitting.residual_ink import crossings

    tried = 0
    tangled = True
    while tangled:
        tangled = False
        crossed = crossings(lines.points, lines.stroke, paper.pen)
        for order in exchanged_orders(lines.points, lines.stroke, crossed, LOOP_WIDTH_PEN_WIDTHS * paper.pen):
            tried += 1
            if tried > MAX_EXCHANGES:
                return lines
            # points stay where they are, what changes is who passes them; strokes keep their numbers by place
            other = Lines(lines.points[order], lines.half[order], lines.stroke.copy())
            left, _ = paper.improve(other, FIRST_STIFFNESS / 10, ROUNDS_AFTER_CHANGE)
            if left < wanting:
                lines, wanting, tangled = other, left, True
                break
    return lines
