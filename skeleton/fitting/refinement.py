"""Centre lines drawn from pixels made true to the grey ink, all strokes of a character together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.fitting.exchanges import exchanged_orders
from skeleton.fitting.smoothing import smooth
from skeleton.geometry.polyline import even_steps
from skeleton.geometry.quantiles import median, quantile
from skeleton.ink.ink_map import InkMap

STEP_PEN_WIDTHS = 1 / 3
"""Pen widths between points: a bow of one pen width's radius strays 0.015 widths from its chords."""

THIRD_DIFFERENCE_WEIGHT = 0.35
"""Weight of squared third differences (px) against the ink, where a px of line weighs about 1."""

SECOND_DIFFERENCE_WEIGHT = 0.02
"""The same for second differences; no more than keeps points apart where nothing else does."""

CORNER_PX = 0.6
"""Difference, px, from which the line may have a corner."""

FIRST_STIFFNESS = 300.0
"""How many times as stiff the line is in the first round."""

MAX_ROUNDS = 8
"""Most rounds of fitting."""

FAR_ROUNDS, FAR_MOMENTUM = 40, 0.8
"""Rounds and momentum for lines that lie far from their ink, as those of words whose loops the pen has filled. Joined
words of people for training and validation: 8 rounds end 28.2 um from what was written, 64 without momentum 21.2, 128
20.5, these 20.2; written strokes themselves, fitted, 12."""

ROUNDS_AFTER_CHANGE = 4
"""Rounds after a change of plan."""

UNSETTLED, MORE_ROUNDS = -0.8, 16
"""Ink left unexplained (`FittedHypothesis.unlike`) from which a reading that was chosen is fitted further, and in how
many rounds. Half of people's characters have less, and their lines move no more."""

ROUGH_SMOOTHING_SHARE = 0.003
"""Share of the smoothing that is left when lines are to follow the ink with all its noise."""

MIN_HOOK_PEN_WIDTHS = 0.2
"""Pen widths that the pen must have gone on beyond an end before the end is led on."""

MAX_EXTENSIONS = 2
"""How often ends are led on."""

HOOK_SEGMENTS = 5
"""Segments from the end to which a hook may cling."""

PERFECT_RESIDUAL = 0.05
"""Squares of darkness, summed over a pen width, that even a perfect drawing would leave."""

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
    drawn = [_even(line, pen) for line in lines]
    return [_closed(smooth(p, FIRST_STIFFNESS / 3) if smoothly else p, np.full(len(p), pen), pen) for p in drawn]


def _even(line: Points, pen: float) -> Points:
    return even_steps(line, STEP_PEN_WIDTHS * pen) if len(line) > 1 else np.array(line, float)


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


@dataclass(frozen=True, eq=False)
class FitContext:
    """What the lines are fitted to."""

    dark: NDArray[np.float32]
    """Shape (h, w): darkness of the ink and some paper around it."""

    low: Points
    """Shape (2,): where it lies in the working image, px."""

    pen: float
    """Width of the pen, px."""

    blur: float
    """Standard deviation of the ink's edge, px."""

    full: float
    """Darkness of full ink."""

    smoothly: bool
    """False where the lines are to follow the ink with all its noise."""

    def improve(self, lines: _Lines, stiff: float, rounds: int, momentum: float = 0.0) -> tuple[float, float]:
        """Fit the lines in place; return what is still wanting, and how much of that is ink."""
        from skeleton.fitting.render_fit import fit

        shape = np.array([THIRD_DIFFERENCE_WEIGHT, SECOND_DIFFERENCE_WEIGHT, CORNER_PX])
        if not self.smoothly:
            shape[:2] *= ROUGH_SMOOTHING_SHARE
            stiff = 1.0
        at = (lines.points, lines.half, lines.stroke)
        wanting, unlike = fit(self.dark, *at, self.pen, self.blur, self.full, shape, stiff, rounds, momentum)
        return float(wanting), float(unlike)


@dataclass(frozen=True, eq=False)
class _Lines:
    """All strokes in one: points (n, 2), half-widths (n,), and the number of every point's stroke (n,)."""

    points: Points
    half: Floats
    stroke: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class FittedHypothesis:
    """Lines fitted to the ink, their ends as they were."""

    paper: FitContext
    lines: _Lines
    wanting: float
    """What the strokes drawn again do not explain: weighted squares of darkness."""

    unlike: float
    """Log of how far the strokes drawn again are from the ink: by it the likelihood falls where noise is unknown."""


def fit_context(ink: InkMap, *, smoothly: bool = True) -> FitContext:
    """Return what the lines of a character are fitted to."""
    blur, full = _edge(ink)
    margin = math.ceil(2 * ink.pen_px + 3 * blur + 1)
    x, y, w, h = cv2.boundingRect(ink.mask)
    x0, y0 = max(x - margin, 0), max(y - margin, 0)
    dark = np.ascontiguousarray(ink.darkness[y0 : y + h + margin, x0 : x + w + margin])
    return FitContext(dark, np.array([x0, y0], float), ink.pen_px, blur, full, smoothly)


def fit_hypothesis(lines: Sequence[Points], paper: FitContext, *, far: bool = False) -> FittedHypothesis:
    """Return lines, px of the working image, fitted to the ink together; `far`: they may lie far from their ink."""
    drawn = [_even(line, paper.pen) for line in lines]
    stroke = np.repeat(np.arange(len(drawn)), [len(p) for p in drawn])
    points = np.concatenate(drawn) - paper.low
    fitted = _Lines(points, np.full(len(points), 0.5 * paper.pen), stroke)
    rounds, momentum = (FAR_ROUNDS, FAR_MOMENTUM) if far else (MAX_ROUNDS, 0.0)
    wanting, unlike = paper.improve(fitted, FIRST_STIFFNESS, rounds, momentum)
    return FittedHypothesis(paper, fitted, wanting, math.log(unlike / paper.pen + PERFECT_RESIDUAL))


def settled(trial: FittedHypothesis) -> FittedHypothesis:
    """Return a trial fitted further where much of the ink is not explained: its lines may still be on their way."""
    if trial.unlike < UNSETTLED:
        return trial
    lines = _Lines(trial.lines.points.copy(), trial.lines.half.copy(), trial.lines.stroke)
    wanting, _ = trial.paper.improve(lines, 1.0, MORE_ROUNDS)
    return replace(trial, lines=lines, wanting=wanting)


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
        lines = _Lines(*move_ends(paper.dark, lines.points, lines.half, lines.stroke, paper.pen, paper.full))
    points, strokes = lines.points + paper.low, int(lines.stroke[-1]) + 1
    return [_closed(points[lines.stroke == i], 2 * lines.half[lines.stroke == i], paper.pen) for i in range(strokes)]


def _lengthen(lines: _Lines, paper: FitContext) -> tuple[_Lines, float] | None:
    """Return the lines with ends led on into ink that nothing else explains, or None where there is none.

    Pens land and leave with small hooks, shorter than what thinning takes for a line.
    """
    from skeleton.fitting.residual_ink import beyond, ends_of

    pen = paper.pen
    ends = ends_of(lines.stroke)

    def left(of: _Lines) -> Floats:
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
        out = _Lines(
            np.insert(out.points, at, steps if k % 2 else steps[::-1], axis=0),
            np.insert(out.half, at, np.full(n, lines.half[i])),
            np.insert(out.stroke, at, np.full(n, lines.stroke[i])),
        )
    wanting, _ = paper.improve(out, 10.0, ROUNDS_AFTER_CHANGE)
    after = left(out)
    return (out, wanting) if (after[grown, 0] < 0.5 * before[grown, 0]).all() else None


def _spread(lines: _Lines, wanting: float, paper: FitContext) -> tuple[_Lines, float]:
    """Return the lines with passes that touch in one blot laid on its two edges, where that leaves less to explain."""
    from skeleton.fitting.closed_loops import any_beside, layings_apart, turning

    if not any_beside(lines.points, lines.stroke, paper.pen):
        return lines, wanting
    for _ in range(MAX_SPREADS):
        best = lines, wanting
        for either in layings_apart(lines.points, lines.half, lines.stroke, paper.dark, paper.pen, paper.full):
            for points in either:
                other = _Lines(points, lines.half.copy(), lines.stroke.copy())
                left, _ = paper.improve(other, SPREAD_STIFFNESS, MAX_ROUNDS)
                if left < best[1] and turning(other.points, other.stroke) < turning(lines.points, lines.stroke):
                    best = other, left
            if best[1] < wanting:
                break
        if best[1] == wanting:
            break
        lines, wanting = best
    return lines, wanting


def _unravel(lines: _Lines, wanting: float, paper: FitContext) -> _Lines:
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
            other = _Lines(lines.points[order], lines.half[order], lines.stroke.copy())
            left, _ = paper.improve(other, FIRST_STIFFNESS / 10, ROUNDS_AFTER_CHANGE)
            if left < wanting:
                lines, wanting, tangled = other, left, True
                break
    return lines


def _edge(ink: InkMap) -> tuple[float, float]:
    """Return the blur of the ink's edge (standard deviation, px) and the darkness of full ink.

    An edge blurred by a Gaussian of width s is steepest, 1 / (s sqrt(2 pi)), where it crosses one half.
    """
    core = ink.darkness[ink.radius >= 0.4 * ink.pen_px]
    full = float(np.clip(median(core), 0.6, 1.1)) if len(core) else 0.95
    d = ink.darkness
    y, x = np.nonzero(((ink.mask > 0) & (ink.radius < 1.2))[1:-1, 1:-1])
    if not len(x):
        return 0.7, full
    slope = 0.5 * np.hypot(d[y + 1, x + 2] - d[y + 1, x], d[y + 2, x + 1] - d[y, x + 1])
    blur = 0.4 * full / max(float(quantile(slope, 0.7)), 1e-3)
    # differences over two pixels blur by a box of that width: variance 1/3
    return float(np.clip(np.sqrt(max(blur * blur - 1 / 3, 0.0)), 0.5, 0.25 * ink.pen_px)), full
