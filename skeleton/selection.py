"""From the ways to read an image to its reading: which is chosen, how sure it is, and what else it may be."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from capture.report import Finding
from capture.units import image_from_pixels
from skeleton.analysis import Analysis, ReadingHypothesis
from skeleton.fitting.end_lengths import moved_ends
from skeleton.fitting.line_fit import STEP_PEN_WIDTHS, fit_hypothesis, settled
from skeleton.fitting.reconstruction_check import reinked
from skeleton.fitting.refinement import completed, refine
from skeleton.geometry.quantiles import median
from skeleton.geometry.stroke import Stroke
from skeleton.matching.stroke_distance import stroke_distance, stroke_distances
from skeleton.result import LOW_CONFIDENCE, Reading
from skeleton.scoring.confidence import Judged, confidence
from skeleton.scoring.minimum_bayes_risk import DISAGREEMENT_LIMIT_SIZES, minimum_bayes_risk

SAME = 0.05
"""Distance, in sizes of the character, up to which two readings are the same."""


def select_reading(
    found: Analysis | None, *, costs: NDArray[np.float64] | None = None, alternatives: int = 0, judged: bool = True
) -> Reading:
    """Return the reading of an analysis: the option most like all likely ones, by `costs` if given, and the next best.

    Without `judged` there is no confidence, finding or other reading, and no time spent on them.
    """
    if found is None:
        return Reading(())
    cost = np.array([o.cost for o in found.options] if costs is None else costs)
    odds = np.exp(-(cost - cost.min()))
    middle = minimum_bayes_risk(lambda i: found.options[i].shape, odds)
    if not judged:
        only = found.options[middle]
        return Reading(tuple(finish(only, found)), allograph=only.name)
    rank = np.argsort(cost, kind="stable")
    rank = np.concatenate([[middle], rank[rank != middle]])
    chosen = [found.options[i] for i in rank]
    best = _reading(found, chosen[0], odds)
    others: list[Reading] = []
    seen = [chosen[0]]
    for o in chosen[1:]:
        if len(others) >= alternatives:
            break
        if all(stroke_distance(o.shape, s.shape) > SAME for s in seen):
            seen.append(o)
            others.append(_reading(found, o, odds))
    return Reading(best.strokes, best.confidence, best.allograph, tuple(others), best.findings)


def _standing(found: Analysis, option: ReadingHypothesis, odds: NDArray[np.float64]) -> tuple[float, float]:
    """Return an option's share of the odds among it and all that read otherwise, and how alike it is to all options.

    Options that are the same reading as this one are left out of the comparison.
    """
    likely = [(o, w) for o, w in zip(found.options, odds, strict=True) if w > 1e-3 or o is option]
    apart = stroke_distances([o.shape for o, _ in likely], [option.shape])[:, 0]
    weight = np.array([w for _, w in likely])
    own = float(sum(w for o, w in likely if o is option))
    contending = float(sum(w for (o, w), d in zip(likely, apart, strict=True) if o is option or d > SAME))
    return own / max(contending, 1e-12), float(
        np.maximum(1 - apart / DISAGREEMENT_LIMIT_SIZES, 0) @ weight / weight.sum()
    )


def _reading(found: Analysis, option: ReadingHypothesis, odds: NDArray[np.float64]) -> Reading:
    strokes = tuple(finish(option, found))
    judged, filled = judge(found, option, strokes, odds)
    sure = confidence(judged)
    findings = []
    if sure < LOW_CONFIDENCE:
        findings.append(Finding("low confidence", detail=f"{sure:.2f}"))
    if filled:
        findings.append(Finding("filled counter"))
    return Reading(strokes, sure, option.name, (), tuple(findings))


def judge(
    found: Analysis, option: ReadingHypothesis, strokes: Sequence[Stroke], odds: NDArray[np.float64]
) -> tuple[Judged, bool]:
    """Return what is known of a reading that may be wrong, and whether a blot is left unexplained.

    strokes: the option's, finished; odds: shape (options,), of all.
    """
    wrong_share, filled = reinked(strokes, found.ink)
    share, alike = _standing(found, option, odds)
    judged = Judged(
        share, alike, option.surprise, wrong_share, len(strokes),
        unknown_shape=option.unknown_shape, followed_form=bool(option.name),
    )  # fmt: skip
    return judged, filled


def finish(option: ReadingHypothesis, found: Analysis) -> list[Stroke]:
    """Return the strokes of an option."""
    k = found.ink.px_per_mm
    if found.paper:
        point_mm = STEP_PEN_WIDTHS * found.paper.pen / k
        trial = settled(option.trial or fit_hypothesis(option.lines, found.paper))
        # how people begin and end strokes is known of characters alone
        move_ends = partial(moved_ends, point_mm=point_mm, char=found.char) if found.char else None
        lines = completed(trial, move_ends=move_ends)
    else:
        lines = refine(option.lines, found.ink, to_ink=False, smoothly=found.parts.smooth)
    return [
        Stroke(image_from_pixels(r.line, px_per_mm=k), float(median(r.width)) / k, r.width / k, r.closed) for r in lines
    ]
