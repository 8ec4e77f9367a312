"""Lines fitted to the grey ink, all strokes of a character together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
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

FAR_ROUNDS, FAR_MOMENTUM = 80, 0.8
"""Rounds and momentum for lines that lie far from their ink, as those of words whose loops the pen has filled. Joined
words of people for training and validation: 8 rounds end 28.2 um from what was written, 64 without momentum 21.2, 128
20.5, 40 with it 20.2; written strokes themselves, fitted, 12."""

FAR_THIRD_WEIGHT, FAR_CORNER_PX, FAR_FIRST_STIFFNESS = 0.6, 0.5, 1500.0
"""The same as above for such lines. Eight joined writers' words (UNIPEN, donors cee and kar, 14 each), 40 rounds with
the figures for single characters and 80 with these: mean 15.4 and 15.2 um (standard error of the difference 0.16), the
quantiles .25, .5, .75, .9 and .97 of the turns in a quarter of a millimetre and their standard deviation, standard
deviations of words too high: .13, .18, .35, .39, .58, .65 and -.02, .04, .19, .13, .23, .35."""

UNSETTLED, MORE_ROUNDS = -0.8, 16
"""Ink left unexplained (`FittedHypothesis.unlike`) from which a reading that was chosen is fitted further, and in how
many rounds. Half of people's characters have less, and their lines move no more."""

ROUGH_SMOOTHING_SHARE = 0.003
"""Share of the smoothing that is left when lines are to follow the ink with all its noise."""

PERFECT_RESIDUAL = 0.05
"""Squares of darkness, summed over a pen width, that even a perfect drawing would leave."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Lines:
    """All strokes in one: points (n, 2), half-widths (n,), and the number of every point's stroke (n,)."""

    points: Points
    half: Floats
    stroke: NDArray[np.int64]


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

    far: bool = False
    """Whether lines may lie far from their ink at first."""

    def improve(self, lines: Lines, stiff: float, rounds: int, momentum: float = 0.0) -> tuple[float, float]:
        """Fit the lines in place; return what is still wanting, and how much of that is ink."""
        from skeleton.fitting.render_fit import fit

        third, corner = (FAR_THIRD_WEIGHT, FAR_CORNER_PX) if self.far else (THIRD_DIFFERENCE_WEIGHT, CORNER_PX)
        shape = np.array([third, SECOND_DIFFERENCE_WEIGHT, corner])
        if not self.smoothly:
            shape[:2] *= ROUGH_SMOOTHING_SHARE
            stiff = 1.0
        at = (lines.points, lines.half, lines.stroke)
        wanting, unlike = fit(self.dark, *at, self.pen, self.blur, self.full, shape, stiff, rounds, momentum)
        return float(wanting), float(unlike)


@dataclass(frozen=True, eq=False)
class FittedHypothesis:
    """Lines fitted to the ink, their ends as they were."""

    paper: FitContext
    lines: Lines
    wanting: float
    """What the strokes drawn again do not explain: weighted squares of darkness."""

    unlike: float
    """Log of how far the strokes drawn again are from the ink: by it the likelihood falls where noise is unknown."""


def fit_context(ink: InkMap, *, smoothly: bool = True, far: bool = False) -> FitContext:
    """Return what lines are fitted to; `far`: they may lie far from their ink, as those of words."""
    blur, full = _edge(ink)
    margin = math.ceil(2 * ink.pen_px + 3 * blur + 1)
    x, y, w, h = cv2.boundingRect(ink.mask)
    x0, y0 = max(x - margin, 0), max(y - margin, 0)
    dark = np.ascontiguousarray(ink.darkness[y0 : y + h + margin, x0 : x + w + margin])
    return FitContext(dark, np.array([x0, y0], float), ink.pen_px, blur, full, smoothly, far)


def fit_hypothesis(lines: Sequence[Points], paper: FitContext) -> FittedHypothesis:
    """Return lines, px of the working image, fitted to the ink together."""
    drawn = [even_line(line, paper.pen) for line in lines]
    stroke = np.repeat(np.arange(len(drawn)), [len(p) for p in drawn])
    points = np.concatenate(drawn) - paper.low
    fitted = Lines(points, np.full(len(points), 0.5 * paper.pen), stroke)
    stiff, rounds = (FAR_FIRST_STIFFNESS, FAR_ROUNDS) if paper.far else (FIRST_STIFFNESS, MAX_ROUNDS)
    wanting, unlike = paper.improve(fitted, stiff, rounds, FAR_MOMENTUM if paper.far else 0.0)
    return FittedHypothesis(paper, fitted, wanting, math.log(unlike / paper.pen + PERFECT_RESIDUAL))


def settled(trial: FittedHypothesis) -> FittedHypothesis:
    """Return a trial fitted further where much of the ink is not explained: its lines may still be on their way."""
    if trial.unlike < UNSETTLED:
        return trial
    lines = Lines(trial.lines.points.copy(), trial.lines.half.copy(), trial.lines.stroke)
    wanting, _ = trial.paper.improve(lines, 1.0, MORE_ROUNDS)
    return replace(trial, lines=lines, wanting=wanting)


def even_line(line: Points, pen: float) -> Points:
    """Return a line, shape (n, 2), with points as far from each other as a pen of that width, px, asks for."""
    return even_steps(line, STEP_PEN_WIDTHS * pen) if len(line) > 1 else np.array(line, float)


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
