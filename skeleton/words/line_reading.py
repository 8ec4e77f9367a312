"""A line of writing and its text: which ink is which word, and every word read.

The ink's connected parts, taken from left to right, are dealt to the words by dynamic programming: a word is as wide as
its letters make likely, the widest gaps lie between words, and what suits no word (a blot, a crossed-out word) may be
left out at a price. Every word then finds its own baseline and slope, so that a line may slope or be wavy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.stroke import Stroke
from skeleton.ink.ink_map import InkMap, find_ink_of_words
from skeleton.ink.scaled_darkness import Grey
from skeleton.words.letter_forms import Known, width_of
from skeleton.words.word_reading import WordLetter, WordReading, nothing_read, read_word_ink

BETWEEN_LETTERS, BETWEEN_WORDS = 0.3, 1.1
"""Usual gaps, x-heights."""

UNSURE = 0.3
"""Standard deviation of a word's width, as a share of it."""

ONE_BLOB = 0.12
"""x-heights of paper up to which ink belongs together whatever it is."""

LEFT_OUT = 1.5
"""Cost of leaving out a blob, and the same again for every two x-heights of its width."""

RUN_TOGETHER = 1.5
"""Cost of two words without a gap between them."""

NOT_WRITTEN = 2.0
"""Cost of a word of the text that is not on the line: whoever copies may run out of line, or skip a word."""

MOST_TOGETHER = 3
"""Words that may have run together."""

NARROWER = (1.0, 0.8, 0.64, 0.5, 0.4, 1.25, 1.6)
"""x-heights that are tried, as shares of what the width of all ink tells; more where words were not written."""

SUITS, SURELY = 6.5, 3.8
"""Cost of a letter up to which a word's ink suits its text, and does so without doubt; see `WordReading.cost`. Of 541
words of UNIPEN's people for training and validation .817 stay below the first and .577 below the second; read with
another of the writer's words, of like length, 4 and none do. Where it did not count as what letters are read, .767
did, and 10, and .508 and none."""


@dataclass(frozen=True, eq=False)
class LineReading:
    """What the pen did in a line. Frame: the image's (mm, origin top left, y down)."""

    words: tuple[WordReading, ...]
    """One for every word of the text; without letters where its ink was not found."""

    texts: tuple[str, ...]
    left_out: float
    """Share of the ink that belongs to no word."""

    @property
    def strokes(self) -> tuple[Stroke, ...]:
        """All strokes, word after word."""
        return tuple(s for w in self.words for s in w.strokes)

    @property
    def letters(self) -> tuple[WordLetter, ...]:
        """All letters, word after word."""
        return tuple(x for w in self.words for x in w.letters)

    @property
    def suits(self) -> tuple[bool, ...]:
        """Which words' ink and text agree."""
        return tuple(bool(w.letters) and w.cost <= SUITS for w in self.words)

    def moved(self, by: NDArray[np.float64]) -> LineReading:
        """Return the reading moved by (x, y) mm."""
        return replace(self, words=tuple(_shifted(w, by) for w in self.words))


@dataclass(frozen=True, eq=False)
class _Blob:
    """Parts of the ink that lie over each other."""

    left: int
    right: int
    parts: tuple[int, ...]
    area: int


def read_line(grey: Grey, dpi: float, text: str, known: Known | None = None) -> LineReading:
    """Return the words of a line whose text is known, with their strokes and letters.

    Parameters
    ----------
    grey
        Shape (h, w), uint8; dark ink of this line on light paper.
    dpi
        Pixels per inch.
    text
        What was written; words are parted by spaces.
    known
        The writer's own letters; see `skeleton.read_word`.

    Raises
    ------
    ValueError
        If `grey` is not a two-dimensional uint8 array, `dpi` is not positive, or the text is empty.
    """
    if getattr(grey, "ndim", 0) != 2 or grey.dtype != np.uint8:
        raise ValueError(f"grey must be a uint8 array of shape (h, w), got {getattr(grey, 'dtype', type(grey))}")
    if not dpi > 0:
        raise ValueError(f"dpi must be positive, got {dpi}")
    if not text.split():
        raise ValueError("the text of a line is empty")
    ink = find_ink_of_words(grey, float(dpi))
    if ink is None:
        words = tuple(text.split())
        return LineReading(tuple(nothing_read() for _ in words), words, 0.0)
    return read_line_ink(ink, text, known)


def read_line_ink(
    ink: InkMap, text: str, known: Known | None = None, below: Mapping[int, float] | None = None
) -> LineReading:
    """Return the reading of a line's ink; see `read_line`.

    below: by the number of a word, from 0, the cost that its reading must stay below to be of use; words that are not
    named are found, and not read.
    """
    words = tuple(text.split())
    if not ink.mask.any():
        return LineReading(tuple(nothing_read() for _ in words), words, 0.0)
    _, found_labels, found_stats, _ = cv2.connectedComponentsWithStats(ink.mask, connectivity=8)
    labels, stats = np.asarray(found_labels, np.int32), np.asarray(found_stats, np.int32)
    wide = [sum(width_of(c, known) + BETWEEN_LETTERS for c in w) - BETWEEN_LETTERS for w in words]
    low, high = int(stats[1:, 0].min()), int((stats[1:, 0] + stats[1:, 2]).max())
    widest = (high - low) / (sum(wide) + BETWEEN_WORDS * (len(words) - 1))
    blobs: list[_Blob] = []
    best: tuple[float, list[tuple[int, int, int, int]]] = (np.inf, [])
    for share in NARROWER:
        # what belongs to no word makes the line look wider than its text
        now = _blobs(stats, ONE_BLOB * share * widest)
        dealt = _dealt(now, wide, share * widest)
        all_written = sum(count for *_, count in dealt[1]) == len(words)
        if dealt[0] < best[0] and not (share > 1 and all_written):
            blobs, best = now, dealt
    found = [nothing_read()] * len(words)
    used = 0
    for first, last, k, count in best[1]:
        parts = [p for b in blobs[first:last] for p in b.parts]
        used += sum(b.area for b in blobs[first:last])
        wanted = [np.inf] if below is None else [below[i] for i in range(k, k + count) if i in below]
        if not wanted:
            continue
        part, corner = _cut_out(ink, labels, stats, parts)
        reading = read_word_ink(part, "".join(words[k : k + count]), known, below=max(wanted))
        for i, one in enumerate(_parted(_shifted(reading, corner / ink.px_per_mm), words[k : k + count])):
            found[k + i] = one
    every = int(stats[1:, 4].sum())
    return LineReading(tuple(found), words, 1.0 - used / max(every, 1))


def _blobs(stats: NDArray[np.int32], gap: float) -> list[_Blob]:
    """Return connected parts put together where no more than `gap` px of paper is between them, from left to right."""
    order = np.argsort(stats[1:, 0], kind="stable") + 1
    out: list[_Blob] = []
    for i in order.tolist():
        left, right, area = int(stats[i, 0]), int(stats[i, 0] + stats[i, 2]), int(stats[i, 4])
        if out and left <= out[-1].right + gap:
            b = out[-1]
            out[-1] = _Blob(b.left, max(b.right, right), (*b.parts, i), b.area + area)
        else:
            out.append(_Blob(left, right, (i,), area))
    return out


def _dealt(
    blobs: Sequence[_Blob], wide: Sequence[float], x_height: float
) -> tuple[float, list[tuple[int, int, int, int]]]:
    """Return the cheapest way to deal blobs to words, and its cost before it.

    Each (first blob, last blob + 1, first word, how many words).
    """
    m, n = len(blobs), len(wide)
    cost = np.full((m + 1, n + 1), np.inf)
    cost[0, 0] = 0.0
    back: dict[tuple[int, int], tuple[int, int, bool]] = {}

    def offer(i: int, k: int, c: float, frm: tuple[int, int], kept: bool) -> None:
        if c < cost[i, k]:
            cost[i, k] = c
            back[i, k] = (*frm, kept)

    for i in range(m + 1):
        for k in range(n + 1):
            c = cost[i, k]
            if not np.isfinite(c):
                continue
            if i < m:
                width = (blobs[i].right - blobs[i].left) / x_height
                offer(i + 1, k, c + LEFT_OUT * (1.0 + 0.5 * width), (i, k), False)
            if k < n:
                offer(i, k + 1, c + NOT_WRITTEN, (i, k), False)
            for j in range(i + 1, m + 1):
                width = (blobs[j - 1].right - blobs[i].left) / x_height
                if k < n and width > 3.0 * sum(wide[k : k + MOST_TOGETHER]) + 3.0:
                    break
                inner = max(((blobs[t + 1].left - blobs[t].right) / x_height for t in range(i, j - 1)), default=0.0)
                before = (blobs[i].left - blobs[i - 1].right) / x_height if i and k else BETWEEN_WORDS
                for count in range(1, min(MOST_TOGETHER, n - k) + 1):
                    want = sum(wide[k : k + count]) + 0.5 * (count - 1)
                    off = (width - want) / (UNSURE * want + 0.3)
                    gaps = 1.5 * max(inner - 0.6, 0.0) + 1.5 * max(0.9 - before, 0.0)
                    offer(j, k + count, c + 0.5 * off * off + gaps + RUN_TOGETHER * (count - 1), (i, k), True)
    i, k = m, n
    out: list[tuple[int, int, int, int]] = []
    while (i, k) in back:
        a, b, kept = back[i, k]
        if kept:
            out.append((a, i, b, k - b))
        i, k = a, b
    return float(cost[m, n]), out[::-1]


def _cut_out(
    ink: InkMap, labels: NDArray[np.int32], stats: NDArray[np.int32], parts: Sequence[int]
) -> tuple[InkMap, NDArray[np.float64]]:
    """Return some parts of the ink alone, and where their picture's corner lies, px."""
    box = stats[list(parts)]
    margin = int(3 * ink.pen_px)
    x0, y0 = max(int(box[:, 0].min()) - margin, 0), max(int(box[:, 1].min()) - margin, 0)
    x1, y1 = int((box[:, 0] + box[:, 2]).max()) + margin, int((box[:, 1] + box[:, 3]).max()) + margin
    here = labels[y0:y1, x0:x1]
    own = np.isin(here, list(parts))
    others = cv2.dilate(((here > 0) & ~own).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    zero = np.float32(0)
    part = replace(
        ink,
        darkness=np.ascontiguousarray(np.where(others & ~own, zero, ink.darkness[y0:y1, x0:x1])),
        mask=np.ascontiguousarray(np.where(own, ink.mask[y0:y1, x0:x1], np.uint8(0))),
        radius=np.ascontiguousarray(np.where(own, ink.radius[y0:y1, x0:x1], zero)),
    )
    return part, np.array([x0, y0], float)


def _shifted(word: WordReading, by: Points) -> WordReading:
    """Return a word moved by (x, y) mm."""
    strokes = tuple(Stroke(s.points_mm + by, s.width_mm, s.widths_mm, s.closed) for s in word.strokes)
    letters = tuple(replace(x, pieces_mm=tuple(p + by for p in x.pieces_mm)) for x in word.letters)
    height, slope = word.baseline_mm
    return replace(
        word, strokes=strokes, letters=letters, baseline_mm=(height + float(by[1]) - slope * float(by[0]), slope)
    )


def _parted(reading: WordReading, words: Sequence[str]) -> list[WordReading]:
    """Return words that were read as one, each with its letters; a stroke stays with the word it begins in."""
    if len(words) == 1 or not reading.letters:
        return [reading] * len(words)
    out, k = [], 0
    rights = []
    for w in words:
        letters = reading.letters[k : k + len(w)]
        k += len(w)
        rights.append(max((float(p[:, 0].max()) for x in letters for p in x.pieces_mm), default=0.0))
        out.append(replace(reading, strokes=(), letters=letters))
    for s in reading.strokes:
        i = next((i for i, right in enumerate(rights) if s.points_mm[:, 0].mean() <= right), len(words) - 1)
        out[i] = replace(out[i], strokes=(*out[i].strokes, s))
    return out
