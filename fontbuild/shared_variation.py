"""How much letters vary in running text, and what those of one word, and of one line, have in common of that.

Read off running text, whose letters know their word and line. Of the products of two letters' distances from the means
of their characters, those inside a word exceed those between words of a line by the variance of words, and these those
between lines by the variance of lines (components of variance by their expected products: Searle, Casella and
McCulloch, "Variance Components", 1992, chapter 4).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from fontbuild.geometry import bounds
from fontbuild.joins import IN_TEXT
from fontbuild.running_text import words_of
from fontbuild.variants import AttemptStrokes

Floats = NDArray[np.float64]

FIGURES = ("height", "width", "slant")
UPRIGHT_DEG = 40.0
"""Steps within this of the vertical count for the slant."""

NARROW = frozenset("ilIj")
"""Letters whose width is hardly more than the pen's."""

TINY = 1e-12
"""Variance of what does not vary at all."""

STRAY = 3.0
"""Robust standard deviations beyond which a letter counts as no farther off: it may have been cut or read wrongly."""

LEAST_LINES = 4
LEAST_LETTERS = 60
"""Fewer than these tell nothing."""


def shared_variation(letters: Mapping[str, Sequence[AttemptStrokes]]) -> dict[str, float]:
    """Return how much height, width and slant vary, and the shares of that which words and lines have in common.

    Keys are those of `fontbuild.metrics`: `height_sd`, `word_height_share`, `line_height_share` and so on, the shares
    each with a standard error, `word_height_share_error` (jackknife over the lines: Efron, "The Jackknife, the
    Bootstrap and Other Resampling Plans", 1982). Shares may lie under 0. Empty where too little running text was read.

    Parameters
    ----------
    letters
        By character: its attempts, in mm, y up from the line. Those that are set aside for their size belong to them:
        a hand that differs much has many.
    """
    text = {c: [w for w in group if w.allograph in IN_TEXT] for c, group in letters.items() if c.isalpha()}
    several = [(c, group) for c, group in text.items() if len(group) > 1]
    words = words_of([w.id for _, group in several for w in group])
    out: dict[str, float] = {}
    for k, name in enumerate(FIGURES):
        ids, found = [], []
        for c, group in several:
            if name == "width" and c in NARROW:
                continue
            values = np.array([_figures(w.strokes)[k] for w in group])
            known = np.isfinite(values)
            if known.sum() < 2:
                continue
            # a middle that one wrong letter cannot move
            rest = (values - np.median(values[known])) * np.sqrt(known.sum() / (known.sum() - 1))
            ids += [w.id for w, is_known in zip(group, known, strict=True) if is_known]
            found.append(rest[known])
        rows: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
        every = np.concatenate(found) if found else np.zeros(0)
        most = STRAY * 1.4826 * float(np.median(np.abs(every))) if len(every) else 0.0
        every = np.clip(every, -most, most)
        for key, value in zip(ids, every.tolist(), strict=True):
            if key in words:
                rows[key.rpartition(".")[0]][words[key]].append(value)
        if len(rows) < LEAST_LINES or len(every) < LEAST_LETTERS:
            continue
        out[f"{name}_sd"] = round(float(np.sqrt(np.mean(every**2))), 4)
        out["letters_seen"] = float(len(every))
        for part, (share, error) in zip(("word", "line"), _shares(list(rows.values())), strict=True):
            out[f"{part}_{name}_share"] = round(share, 3)
            out[f"{part}_{name}_share_error"] = round(error, 3)
    return out


def _figures(strokes: Sequence[Points]) -> tuple[float, float, float]:
    """Return the logarithms of height and width, mm, and the lean of the upright steps, degrees (nan without any)."""
    left, low, right, top = bounds(strokes)
    steps = [np.diff(s, axis=0) for s in strokes if len(s) > 1]
    lean = float("nan")
    if steps:
        d = np.concatenate(steps)
        d = d * np.where(d[:, 1:] < 0, -1.0, 1.0)
        length, angle = np.hypot(d[:, 0], d[:, 1]), np.degrees(np.arctan2(d[:, 0], np.maximum(d[:, 1], 1e-9)))
        weight = length * (np.abs(angle) < UPRIGHT_DEG)
        if weight.sum() > 0.3 * (top - low):
            lean = float((weight * angle).sum() / weight.sum())
    return float(np.log(max(top - low, 0.1))), float(np.log(max(right - left, 0.1))), lean


def _shares(lines: Sequence[Mapping[str, Sequence[float]]]) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the shares of words and of lines, each with its standard error."""
    sums = np.array([
        (
            sum(sum(w) for w in line.values()),
            sum(sum(w) ** 2 for w in line.values()),
            sum(v * v for w in line.values() for v in w),
            sum(len(w) for w in line.values()),
            sum(len(w) ** 2 for w in line.values()),
        )
        for line in lines
    ])  # fmt: skip

    def shares(of: Floats) -> Floats:
        total, in_words, squares, n, n_words = of.T
        within = (in_words.sum() - squares.sum()) / max(float(n_words.sum() - n.sum()), 1.0)
        beside = ((total**2).sum() - in_words.sum()) / max(float((n**2).sum() - n_words.sum()), 1.0)
        apart = (total.sum() ** 2 - (total**2).sum()) / max(float(n.sum() ** 2 - (n**2).sum()), 1.0)
        return np.array([within - beside, beside - apart]) / max(float(squares.sum() / n.sum()), TINY)

    every = shares(sums)
    without = np.array([shares(np.delete(sums, k, axis=0)) for k in range(len(lines))])
    m = len(lines)
    error = np.sqrt((m - 1) / m * ((without - without.mean(axis=0)) ** 2).sum(axis=0))
    return (float(every[0]), float(error[0])), (float(every[1]), float(error[1]))
