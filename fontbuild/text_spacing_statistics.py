"""How a person spaces running text: measured on ruled lines that were copied from a known text.

The white gaps of a line are dealt out with the text in hand: as many of the widest as the text has spaces part the
words. Where a word has just as many pieces of ink as letters, its letters are known one by one.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import regex
from numpy.typing import NDArray

DESCENDS = frozenset("gjpqyfQJ,;çąęįųß")
"""Letters that may reach under the line (f and ß in some hands); all others with a letter's category stand on it."""

LEAST_LETTERS = 30
LEAST_WORDS = 6
LEAST_LINES = 4
"""Fewer than these tell nothing."""

ROUNDS = 5
"""How often letters' feet and lines' levels are told from each other in turn."""

STRAY = 4.0
"""Gaps farther than this from the middle, in robust standard deviations, come of ink that was dealt out wrongly."""


@dataclass(frozen=True, eq=False)
class CopiedLine:
    """A ruled line with what was copied on it.

    Boxes: one for each piece of ink, columns left, bottom, right, top; mm from the left end of the baseline, y up.
    """

    text: str
    boxes_mm: NDArray[np.float64]
    """Shape (n, 4), by their left edges."""


@dataclass(frozen=True)
class CopiedWord:
    """A word of a copied line and the box of its ink: left, bottom, right, top; in x-heights of the sheet, y up."""

    text: str
    box: tuple[float, float, float, float]


def copied_words(lines: Sequence[CopiedLine], *, x_height_mm: float) -> list[CopiedWord]:
    """Return the words of all lines whose words stand apart clearly."""
    out = []
    for line in lines:
        words = line.text.split()
        for word, boxes in zip(words, _words(line.boxes_mm, len(words)) or (), strict=False):
            left, bottom = (float(v) / x_height_mm for v in boxes[:, :2].min(axis=0))
            right, top = (float(v) / x_height_mm for v in boxes[:, 2:].max(axis=0))
            out.append(CopiedWord(word, (left, bottom, right, top)))
    return out


def pieces_of(grey: NDArray[np.uint8], *, px_per_mm: float, baseline_mm: float) -> NDArray[np.float64]:
    """Return the boxes of the pieces of ink on a line; those one above another (an i and its dot) count as one.

    Parameters
    ----------
    grey
        Shape (h, w): paper 255, ink dark.
    baseline_mm
        Of the picture, from its top edge.

    Returns
    -------
    ndarray of shape (n, 4)
        As `CopiedLine.boxes_mm`.
    """
    count, _, stats, _ = cv2.connectedComponentsWithStats((grey < 128).astype(np.uint8), connectivity=8)
    boxes: list[list[float]] = []
    for x, y, w, h, area in stats[1:count]:
        if area < 0.02 * px_per_mm**2:
            continue
        box = [x, baseline_mm * px_per_mm - (y + h), x + w, baseline_mm * px_per_mm - y]
        boxes.append([v / px_per_mm for v in box])
    boxes.sort()
    merged: list[list[float]] = []
    for box in boxes:
        last = merged[-1] if merged else None
        if last is not None and min(last[2], box[2]) - box[0] > 0.5 * min(last[2] - last[0], box[2] - box[0]):
            merged[-1] = [last[0], min(last[1], box[1]), max(last[2], box[2]), max(last[3], box[3])]
        else:
            merged.append(box)
    return np.array(merged, float).reshape(-1, 4)


def measure_rhythm(lines: Sequence[CopiedLine], *, x_height_mm: float) -> Mapping[str, float]:
    """Return the habits of running text that the lines show, in x-heights and degrees; see `fontbuild.metrics`.

    What too few letters, words or lines would tell is left out.
    """
    gaps: list[float] = []
    wanted = 0
    word_gaps: list[float] = []
    feet: dict[str, list[float]] = {}
    slopes: list[float] = []
    rows: list[list[tuple[str, float]]] = []
    for line in lines:
        words = line.text.split()
        parted = _words(line.boxes_mm, len(words))
        if parted is None:
            continue
        word_gaps += [b[0, 0] - a[:, 2].max() for a, b in itertools.pairwise(parted)]
        standing: list[tuple[str, float, float]] = []
        for word, boxes in zip(words, parted, strict=True):
            letters = regex.findall(r"\X", word)
            wanted += len(letters) - 1
            if len(letters) != len(boxes):
                continue
            gaps += (boxes[1:, 0] - boxes[:-1, 2]).tolist()
            standing += [
                (letter, (box[0] + box[2]) / 2, box[1])
                for letter, box in zip(letters, boxes, strict=True)
                if letter[0].isalnum() and not set(letter) & DESCENDS
            ]
        if len(standing) >= 6:
            slope, level, residues = _settled(np.array([place for _, *place in standing]))
            slopes.append(slope)
            rows.append([(c, level + r) for (c, *_), r in zip(standing, residues.tolist(), strict=True) if r == r])
            for (letter, *_), residue in zip(standing, residues.tolist(), strict=True):
                if not np.isnan(residue):
                    feet.setdefault(letter, []).append(residue)
    rhythm: dict[str, float] = {}
    if len(gaps) >= LEAST_LETTERS:
        rhythm["letter_gap"] = float(np.median(gaps)) / x_height_mm
        rhythm["letter_gap_sd"] = _deviation(gaps) / x_height_mm
        rhythm["letter_gap_share"] = len(gaps) / wanted
    if len(word_gaps) >= LEAST_WORDS:
        rhythm["word_gap"] = float(np.median(word_gaps)) / x_height_mm
        rhythm["word_gap_sd"] = _deviation(word_gaps) / x_height_mm
    # a round letter's foot hangs lower than a stem's, which its shape carries: about the letter's own mean
    about = [
        r for v in feet.values() if len(v) > 1 for r in (np.array(v) - np.mean(v)) * np.sqrt(len(v) / (len(v) - 1))
    ]
    if len(about) >= LEAST_LETTERS:
        rhythm["foot_sd"] = _spread(about) / x_height_mm
    if len(slopes) >= LEAST_LINES:
        rhythm["line_slope_sd_deg"] = float(np.degrees(np.std(slopes)))
        rhythm["line_level_sd"] = level_scatter(rows) / x_height_mm
    return rhythm


def level_scatter(lines: Sequence[Sequence[tuple[str, float]]]) -> float:
    """Return by how much whole lines stand higher or lower than others: the standard deviation.

    Which letters a line happens to hold says nothing of its level, so the letters' own feet are fitted beside it; and
    what the mean of so few feet varies by is taken off.

    Parameters
    ----------
    lines
        Each with its letters and the height of their feet.
    """
    levels = [float(np.mean([foot for _, foot in line])) for line in lines]
    own: dict[str, float] = {}
    for _ in range(ROUNDS):
        by_letter: dict[str, list[float]] = {}
        for line, level in zip(lines, levels, strict=True):
            for letter, foot in line:
                by_letter.setdefault(letter, []).append(foot - level)
        # a letter that was seen once tells its own foot and its line's at once
        own = {letter: float(np.sum(v)) / (len(v) + 1) for letter, v in by_letter.items()}
        levels = [float(np.mean([foot - own[letter] for letter, foot in line])) for line in lines]
    chance = [np.var([foot - own[letter] for letter, foot in line]) / max(len(line) - 1, 1) for line in lines]
    return float(np.sqrt(max(0.0, np.var(levels) - np.mean(chance))))


def _words(boxes: NDArray[np.float64], count: int) -> list[NDArray[np.float64]] | None:
    """Return the boxes word by word, None where the gaps do not part so many words clearly."""
    if count < 1 or len(boxes) < count:
        return None
    reach = np.maximum.accumulate(boxes[:, 2])
    gaps = boxes[1:, 0] - reach[:-1]
    order = np.argsort(gaps)[::-1]
    if count - 1 < len(gaps) and count > 1 and gaps[order[count - 1]] > 0.9 * gaps[order[count - 2]]:
        return None
    return np.split(boxes, np.sort(order[: count - 1]) + 1)


def _settled(points: NDArray[np.float64]) -> tuple[float, float, NDArray[np.float64]]:
    """Return the slope (radians) of a line through the feet, its height in their middle, and what all lie off it.

    A few strays do not count for the line; what they lie off it is nan.
    """
    kept = np.ones(len(points), bool)
    for _ in range(3):
        slope, level = np.polyfit(points[kept, 0], points[kept, 1], 1)
        residues = np.where(kept, points[:, 1] - slope * points[:, 0] - level, np.nan)
        near = kept & (np.abs(residues) <= 3 * max(_spread(residues[kept].tolist()), 1e-6))
        if near[kept].all() or near.sum() < 4:
            break
        kept = near
    return float(np.arctan(slope)), float(slope * points[kept, 0].mean() + level), residues


def _spread(values: Sequence[float]) -> float:
    """Return the standard deviation as the middle half tells it (interquartile range / 1.349, normal distribution)."""
    low, high = np.quantile(values, [0.25, 0.75])
    return float(high - low) / 1.349


def _deviation(values: Sequence[float]) -> float:
    """Return the standard deviation, strays left out.

    Gaps are skewed, wide ones and those that pairs have by nature belong to them: their middle half tells too little.
    """
    a = np.asarray(values, float)
    return float(a[np.abs(a - np.median(a)) <= STRAY * max(_spread(values), 1e-9)].std())
