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
from fontbuild.joins import APART, IN_TEXT
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

LEAST_APART = 30
"""So many letters that touch no neighbour tell the widths alone. Where letters touch, how wide one is depends on where
it was cut: of twelve writers (UNIPEN train_r01_v07, donors kai and art; Guyon et al., ICPR 1994), printed, scanned and
read, all widths varied by .219, those of letters that stand apart by .191, and as written by .193."""


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
    every_letter = [group for _, group in several]
    wide, least_wide = _telling_width(several)
    for k, name in enumerate(FIGURES):
        ids, found, chars = [], [], []
        for group in wide if name == "width" else every_letter:
            rest, known = _about_middle(group, k)
            if len(rest):
                ids += [w.id for w, is_known in zip(group, known, strict=True) if is_known]
                found.append(rest)
                chars.append(group[0].char)
        rows: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
        every = np.concatenate(found) if found else np.zeros(0)
        most = STRAY * 1.4826 * float(np.median(np.abs(every))) if len(every) else 0.0
        every = np.clip(every, -most, most)
        for key, value in zip(ids, every.tolist(), strict=True):
            if key in words:
                rows[key.rpartition(".")[0]][words[key]].append(value)
        least = least_wide if name == "width" else LEAST_LETTERS
        if len(rows) < LEAST_LINES or len(every) < least:
            continue
        out[f"{name}_sd"] = round(float(np.sqrt(np.mean(every**2))) * _evenly(k, found, chars, letters, most), 4)
        out["letters_seen"] = max(out.get("letters_seen", 0.0), float(len(every)))
        for part, (share, error) in zip(("word", "line"), _shares(list(rows.values())), strict=True):
            out[f"{part}_{name}_share"] = round(share, 3)
            out[f"{part}_{name}_share_error"] = round(error, 3)
    return out


def _about_middle(group: Sequence[AttemptStrokes], k: int) -> tuple[Floats, NDArray[np.bool_]]:
    """Return how far one figure of the attempts at a character lies from their middle, and which attempts have it.

    Empty where fewer than two have it. A middle, as one wrong letter cannot move it.
    """
    values = np.array([_figures(w.strokes)[k] for w in group])
    known = np.isfinite(values)
    n = int(known.sum())
    if n < 2:
        return np.zeros(0), known
    return np.asarray((values[known] - np.median(values[known])) * np.sqrt(n / (n - 1)), float), known


def _evenly(
    k: int, found: Sequence[Floats], chars: Sequence[str], letters: Mapping[str, Sequence[AttemptStrokes]], most: float
) -> float:
    """Return by how much a figure varies more, or less, where characters count as they have attempts, not as in texts.

    Some characters vary by twice as much as others, and which of them a text has many of says nothing of the hand. The
    attempts tell it: by how much each character varies, seen with the text's weights and with their own.
    """
    varied = np.array([float(np.mean(np.clip(_about_middle(letters[c], k)[0], -most, most) ** 2)) for c in chars])
    in_text = np.array([len(rest) for rest in found])
    attempts = np.array([len(letters[c]) - 1 for c in chars])
    there = np.average(varied, weights=in_text)
    return float(np.sqrt(np.average(varied, weights=attempts) / max(there, TINY)))


def _telling_width(
    several: Sequence[tuple[str, Sequence[AttemptStrokes]]],
) -> tuple[list[Sequence[AttemptStrokes]], int]:
    """Return the letters of each character that tell the widths, and how many there must be; see `LEAST_APART`."""
    wide = [group for c, group in several if c not in NARROW]
    alone = [[w for w in group if w.allograph == APART] for group in wide]
    apart: list[Sequence[AttemptStrokes]] = [group for group in alone if len(group) > 1]
    return (apart, LEAST_APART) if sum(map(len, apart)) >= LEAST_APART else (wide, LEAST_LETTERS)


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
