"""Running writing against known pen paths: `python -m tests.bench words [--data FILE]`.

FILE holds words as JSON, gzipped or not: [{"text", "writer", "strokes": [[[x, y], ...], ...] in mm, y down, and, where
known, "letters": [[character, [piece, ...]], ...]}], such as words of UNIPEN (Guyon, Schomaker, Plamondon, Liberman &
Janet 1994, ICPR). Without it words are set in Hershey's simplex script, whose letters join (Wolcott & Hilsenrath, NBS
SP 424, 1976; PyPI `Hershey-Fonts`).

Every word is inked (0.5 mm pen, 300 dpi) and read with its text. `way`: share of the written line that is passed in the
same sequence, dynamic time warping of both paths end to end, partners within 0.35 mm. `letters`: share of the letters
whose ink is found: the same character and an overlap of 0.8 (intersection over union of line samples). `lifts`: how
many strokes too many or too few a word has, on the average.
"""

from __future__ import annotations

import argparse
import gzip
import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from scipy.spatial import cKDTree

import skeleton
from capture.units import Points
from tests.bench.trace_ink import even, ink
from tests.bench.trace_score import score

STEP_MM, NEAR_MM, OVERLAP = 0.2, 0.35, 0.8

SCRIPT_X_HEIGHT = 9.0
"""Of Hershey's simplex script, in its units."""

SCRIPT_WORDS = (
    "lamp", "tower", "keeper", "island", "harbour", "morning", "window", "summer", "gulls", "yellow", "quiet", "voyage",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Word:
    """A word of which it is known how it was written; mm, y down."""

    text: str
    writer: str
    strokes: list[Points]
    letters: list[tuple[str, list[Points]]] | None


def words_of(path: Path) -> Iterator[Word]:
    """Yield the words of a data file."""
    raw = path.read_bytes()
    for row in json.loads(gzip.decompress(raw) if raw[:2] == b"\x1f\x8b" else raw):
        letters = [(c, [_line(p) for p in pieces]) for c, pieces in row["letters"]] if "letters" in row else None
        yield Word(row["text"], row["writer"], [_line(s) for s in row["strokes"]], letters)


def script_words(x_height_mm: float = 3.5) -> Iterator[Word]:
    """Yield words in Hershey's simplex script, strokes joined where one letter's end is the next one's begin."""
    for text in SCRIPT_WORDS:
        yield script_word(text, x_height_mm)


def script_word(text: str, x_height_mm: float = 3.5) -> Word:
    """Return a word in Hershey's simplex script."""
    from HersheyFonts import HersheyFonts

    fonts = HersheyFonts()
    fonts.load_default_font("scripts")
    scale = x_height_mm / SCRIPT_X_HEIGHT
    strokes: list[Points] = []
    letters: list[tuple[str, list[Points]]] = []
    x = 0.0
    for char in text:
        (glyph,) = fonts.glyphs_for_text(char)
        lines = [np.array(list(s), float) + np.array([x - glyph.left_offset, 0.0]) for s in glyph.strokes]
        x += glyph.char_width
        pieces = [s * scale for s in lines if len(s) > 1]
        letters.append((char, pieces))
        for s in pieces:
            if strokes and np.hypot(*(strokes[-1][-1] - s[0])) < 0.05 * x_height_mm:
                strokes[-1] = np.concatenate([strokes[-1], s[1:]])
            else:
                strokes.append(s)
    return Word(text, "script", strokes, letters)


def _line(points: Sequence[Sequence[float]]) -> Points:
    line = np.array(points, float).reshape(-1, 2)
    return line if len(line) > 1 else np.repeat(line, 2, axis=0) + np.array([[0, 0], [1e-3, 0]])


def way(found: Sequence[Points], true: Sequence[Points]) -> float:
    """Return the share of the written line that the found one passes in the same sequence."""
    a, b = (np.concatenate([even(s, STEP_MM) for s in lines]) for lines in (found, true))
    return float(partners(a, b, NEAR_MM)[0].mean())


@njit(cache=True)
def partners(a: Any, b: Any, most: float) -> Any:
    """Return for every point of `b` whether a partner in `a` is within `most`, and the nearest partner's number.

    Partners by dynamic time warping (Sakoe & Chiba 1978).
    """
    n, m = len(a), len(b)
    total = np.full((n + 1, m + 1), np.inf)
    total[0, 0] = 0.0
    for i in range(n):
        for j in range(m):
            d = np.hypot(a[i, 0] - b[j, 0], a[i, 1] - b[j, 1])
            total[i + 1, j + 1] = d + min(total[i, j], total[i, j + 1], total[i + 1, j])
    near, partner, least = np.zeros(m, np.bool_), np.zeros(m, np.int64), np.full(m, np.inf)
    i, j = n, m
    while i > 0 and j > 0:
        d = np.hypot(a[i - 1, 0] - b[j - 1, 0], a[i - 1, 1] - b[j - 1, 1])
        near[j - 1] |= d <= most
        if d < least[j - 1]:
            least[j - 1], partner[j - 1] = d, i - 1
        both, up, back = total[i - 1, j - 1], total[i - 1, j], total[i, j - 1]
        if both <= up and both <= back:
            i, j = i - 1, j - 1
        elif up <= back:
            i -= 1
        else:
            j -= 1
    return near, partner


def letters_found(found: Sequence[tuple[str, Sequence[Points]]], true: Sequence[tuple[str, Sequence[Points]]]) -> float:
    """Return the share of the true letters whose ink is found."""

    def cloud(parts: Sequence[tuple[str, Sequence[Points]]]) -> tuple[Points, Any]:
        rows = [(p, k) for k, (_, pieces) in enumerate(parts) for s in pieces for p in even(s, 0.1)]
        return np.array([p for p, _ in rows]).reshape(-1, 2), np.array([k for _, k in rows])

    a, of_a = cloud(found)
    b, of_b = cloud(true)
    if not len(a):
        return 0.0
    far, nearest = cKDTree(a).query(b)
    got = np.where(far <= NEAR_MM, of_a[nearest], -1)
    right = 0
    for k, (char, _) in enumerate(true):
        mine = of_b == k
        shares = [
            (mine & (got == g)).sum() / (mine | (got == g)).sum()
            for g in np.unique(got[mine])
            if g >= 0 and found[g][0] == char
        ]
        right += max(shares, default=0.0) >= OVERLAP
    return right / len(true)


def measured(words: Sequence[Word], *, dpi: float = 300, pen_mm: float = 0.5) -> dict[str, float]:
    """Return the means over words, and the time a letter."""
    rows: list[dict[str, float]] = []
    spent, count = 0.0, 0
    for i, word in enumerate(words):
        grey, offset = ink(word.strokes, dpi=dpi, pen_mm=pen_mm, seed=i)
        begun = time.process_time()
        got = skeleton.read_word(grey, dpi, word.text)
        if i:  # the first waits for compiled loops
            spent, count = spent + time.process_time() - begun, count + len(word.text)
        strokes = [_line(s.points_mm) for s in got.strokes]
        true = [s + offset for s in word.strokes]
        near = score(strokes, true, pen_mm)
        row = {"mean": 1e3 * near.mean, "way": way(strokes, true), "lifts": abs(len(strokes) - len(true))}
        if word.letters:
            right = [(c, [p + offset for p in pieces]) for c, pieces in word.letters]
            row["letters"] = letters_found([(x.char, x.pieces_mm) for x in got.letters], right)
        rows.append(row)
    out = {k: float(np.mean([r[k] for r in rows if k in r])) for k in ("mean", "way", "lifts")}
    with_letters = [r["letters"] for r in rows if "letters" in r]
    out["letters"] = float(np.mean(with_letters)) if with_letters else float("nan")
    out["ms"] = 1e3 * spent / max(count, 1)
    return out


def main(argv: list[str]) -> int:
    """Print the table; return 0."""
    parser = argparse.ArgumentParser(prog="tests.bench words", description=__doc__)
    parser.add_argument("--data", type=Path, help="a file of words; Hershey's script if not said")
    parser.add_argument("--sets", default="", help="beginnings of writers' names, a row each: a+b,c")
    parser.add_argument("-n", "--count", type=int, default=100, help="at most this many words a row, drawn by lot")
    a = parser.parse_args(argv)
    words = [w for w in (words_of(a.data) if a.data else script_words()) if len(w.text) > 1]
    print(
        f"{'words of':16s} {'n':>4s} {'mean um':>8s} {'way':>6s} {'lifts off':>9s} {'letters':>8s} {'ms a letter':>11s}"
    )
    for name in a.sets.split(","):
        mine = [w for w in words if w.writer.startswith(tuple(name.split("+")))]
        rng = np.random.default_rng(7)
        mine = [mine[i] for i in rng.permutation(len(mine))[: a.count]]
        if not mine:
            print(f"{name}: no words")
            continue
        m = measured(mine)
        print(
            f"{name or 'all':16s} {len(mine):4d} {m['mean']:8.1f} {m['way']:6.3f} {m['lifts']:9.2f} "
            f"{m['letters']:8.3f} {m['ms']:11.0f}",
            flush=True,
        )
    return 0
