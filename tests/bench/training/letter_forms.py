"""The table of `skeleton.words.letter_forms`, made anew: `python -m tests.bench.training.letter_forms`.

Letters come from single characters and from words whose pen paths are known; where a word's letters are not marked,
the forms so far are laid over its path, and letters cut so make the next table (Viterbi training: Juang & Rabiner
1990, IEEE Trans. ASSP 38). All attempts at a letter of the same number of strokes, at points of equal arc length, are
clustered (k-means++: Arthur & Vassilvitskii 2007), and the middles are the forms.

The table that is shipped: words of 60 people and single characters of 1,424 (UNIPEN train_r01_v07, Guyon et al. 1994,
doi 10.5281/zenodo.1195803, CC BY 4.0).
"""

from __future__ import annotations

import argparse
import gzip
import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from capture.units import Points
from skeleton.ductus import allographs
from skeleton.words import laid_text, letter_forms
from skeleton.words.frame import WordFrame, first_frame, refitted
from skeleton.words.letter_forms import DOTTED, expected_extent, form_table, forms_of, main_strokes, packed
from tests.bench.trace_ink import even
from tests.bench.words import Word, words_of

X_HEIGHT_MM = 3.5
"""That the data are scaled to."""

IN_WORDS = 3.0
"""Weight of a letter from a word against a single character."""

DESCENDING, LOW = "gpqy", "acemnorsuvwxz"
POINTS = {1: 32, 2: 20, 3: 14}
"""Points a stroke, by the number of strokes; 12 for more."""

SURE, WHOLE = 0.12, 0.06
"""Cost a step, and share of the line left bare, up to which a word cut by the forms is used."""

Letters = dict[str, list[tuple[list[Points], float]]]
Table = dict[str, list[tuple[float, list[Points]]]]


def marked_letters(word: Word) -> Iterator[tuple[str, list[Points]]]:
    """Yield the letters of a word in x-heights, on a baseline taken from those that stand on it."""
    letters = word.letters or []
    feet = [(p[:, 0].mean(), p[:, 1].max()) for c, p in ((c, np.concatenate(s)) for c, s in letters) if c in LOW]
    if not feet:
        return
    x, y = np.array(feet).T
    slope = 0.0
    if len(x) >= 4:
        rise = [(y[j] - y[i]) / (x[j] - x[i]) for i in range(len(x)) for j in range(i) if abs(x[j] - x[i]) > 2]
        slope = float(np.clip(np.median(rise or [0.0]), -0.15, 0.15))
    base = float(np.median(y - slope * x))
    for char, pieces in letters:
        left = min(p[:, 0].min() for p in pieces)
        yield char, [np.c_[p[:, 0] - left, p[:, 1] - base - slope * p[:, 0]] / X_HEIGHT_MM for p in pieces]


def single_letter(char: str, strokes: Sequence[Points]) -> list[Points] | None:
    """Return a single character in x-heights, on the baseline that its kind stands on."""
    scaled = [s / X_HEIGHT_MM for s in strokes]
    points = np.concatenate(scaled)
    low, high = points[:, 1].min(), points[:, 1].max()
    if char in DESCENDING:
        base = low + 1.0
    elif char == "j":
        base = high - 1.0
    elif char.isalnum():
        base = high
    else:
        drawn = allographs(char)
        if not drawn:
            return None
        base = 0.5 * (low + high) + 0.5 * (drawn[0].box[1] + drawn[0].box[3])
    return [s - np.array([points[:, 0].min(), base]) for s in scaled]


def cut_by_forms(word: Word) -> list[tuple[str, list[Points]]]:
    """Return the letters of a word that the forms so far find on its pen path, in x-heights; none where none suit."""
    found = found_on_path(word)
    if found is None:
        return []
    frame, letters = found
    out = []
    for char, pieces in letters:
        placed = [frame.place(p) for p in pieces]
        left = min(p[:, 0].min() for p in placed)
        out.append((char, [p - np.array([left, 0.0]) for p in placed]))
    return out


def found_on_path(word: Word) -> tuple[WordFrame, list[tuple[str, list[Points]]]] | None:
    """Return the frame and the letters, mm, that the forms so far find on a word's pen path; None where none suit."""
    strokes = [without_steps(s) for s in word.strokes]
    states = _path_states(strokes)
    found_forms = [forms_of(c) for c in word.text]
    if not all(found_forms):
        return None
    forms = form_table(found_forms)
    frame = first_frame(states.here, *expected_extent(word.text), len(word.text))
    for _ in range(2):
        marks = tuple(i for i, s in enumerate(strokes) if _is_mark(frame.place(s), word.text))
        found = laid_text.cheapest_way(states, forms, frame, marks, np.zeros(len(states.here)))
        if found is None:
            return None
        cost, rows = found
        on = rows[:, 2] >= 0
        last = frame
        frame = refitted(frame, states.here[rows[on, 0]], forms.points[rows[on, 2]], rows[on, 1].astype(np.int64))
    owner = np.full(len(states.here) // 2, -1)
    places = rows[:, 0] // 2
    for a, b, k in zip(places[:-1], places[1:], rows[1:, 1], strict=True):
        if states.piece[2 * a] == states.piece[2 * b] and b >= a:
            owner[a : b + 1][owner[a : b + 1] < 0] = k
    owner[places] = rows[:, 1]
    bare = whole = 0
    for i in range(len(strokes)):
        own = owner[states.first[i] : states.first[i + 1]]
        extent = np.ptp(strokes[i], axis=0)
        if i in marks or ((own >= 0).mean() < 0.1 and i and extent[0] > 1.2 * extent[1]):
            continue
        whole, bare = whole + len(own), bare + int((own < 0).sum())
    if cost / len(rows) > SURE or bare > WHOLE * whole:
        return None
    out = []
    for k, char in enumerate(word.text):
        pieces = []
        for i in range(len(strokes)):
            first = states.first[i]
            own = owner[first : states.first[i + 1]]
            at = np.flatnonzero(own == k)
            if len(at) > 1:
                a, b = at[0], at[-1]
                a, b = 0 if (own[:a] < 0).all() else a, len(own) - 1 if (own[b + 1 :] < 0).all() else b
                pieces.append(states.here[::2][first + a : first + b + 1])
        if pieces:
            out.append((char, pieces))
    return last, out


def without_steps(line: Points) -> Points:
    """Return a line, mm, without the steps of a tablet."""
    q = even(line, 0.15)
    if len(q) < 7:
        return q if len(q) > 1 else np.concatenate([q, q + 0.01])
    out = gaussian_filter1d(q, 1.2, axis=0, mode="nearest")
    out[0], out[-1] = q[0], q[-1]
    return out


def _is_mark(stroke: Points, text: str) -> bool:
    length = np.hypot(*np.diff(stroke, axis=0).T).sum()
    small = length < 1.0 and np.ptp(stroke, axis=0).max() < 0.9 and stroke[:, 1].max() < -0.85
    return bool(small and any(c in DOTTED for c in text))


def _path_states(strokes: Sequence[Points]) -> Any:
    """Return a known pen path as what `laid_text` takes for a network: every place leads to the next one alone."""
    gap = 0.5 * letter_forms.STEP * X_HEIGHT_MM
    here, heading, costs, piece, first, spacing, to, at = [], [], [], [], [0], [], [], [0]
    for p, s in enumerate(strokes):
        q = even(s, gap)
        q = q if len(q) > 1 else np.concatenate([q, q + 0.01])
        way = np.gradient(q, axis=0)
        way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        n = len(q)
        for i in range(n):
            here += [q[i], q[i]]
            heading += [way[i], -way[i]]
            piece += [p, p]
            costs += [0.0 if k == 0 else 0.6 + 0.15 * min(k, 8) for k in (i, n - 1 - i)]
            to += [2 * (first[p] + i + 1)] if i + 1 < n else []
            at += [len(to), len(to)]
        first.append(first[p] + n)
        spacing.append(float(np.hypot(*np.diff(q, axis=0).T).mean()))
    length = np.array([spacing[piece[t]] for t in to], np.float32)
    return SimpleNamespace(
        here=np.array(here), heading=np.array(heading), start_cost=np.array(costs), piece=np.array(piece, np.int32),
        first=np.array(first), spacing=np.array(spacing), step_to=np.array(to, np.int32), step_len=length,
        step_cost=np.zeros(len(to), np.float32), step_at=np.array(at, np.int64), clues=_no_clues(len(here)),
    )  # fmt: skip


def _no_clues(states: int) -> Any:
    """Return pen events that tell nothing: a path needs no evidence of its lifts."""
    return SimpleNamespace(landed=np.zeros(states), lifted=np.full(states, -laid_text.OFTEN / laid_text.EVENTS))


def clustered(
    letters: Letters, *, most: int, per: int = 25, seed: int = 0
) -> dict[str, list[tuple[float, list[Points]]]]:
    """Return the forms of every letter with their shares, the commonest first."""
    rng = np.random.default_rng(seed)
    out = {}
    for char in sorted(letters):
        groups: dict[int, list[tuple[list[Points], float]]] = defaultdict(list)
        total = 0.0
        for strokes, weight in letters[char]:
            main = main_strokes(char, strokes)
            extent = np.ptp(np.concatenate(main), axis=0)
            total += weight
            if len(main) <= 5 and extent[0] <= 5.0 and extent[1] <= 4.5:
                groups[len(main)].append((main, weight))
        found = []
        for count, group in groups.items():
            share = sum(w for _, w in group) / total
            if share < 0.03 or len(group) < 3:
                continue
            n = POINTS.get(count, 12)
            shapes = np.array([np.concatenate([_spread(s, n) for s in main]) for main, _ in group])
            weights = np.array([w for _, w in group])
            k = int(np.clip(round(len(group) / per), 1, max(1, round(most * share + 0.5))))
            middles, who = _k_means(shapes, weights, k, rng)
            for j in range(k):
                own = float(weights[who == j].sum()) / total
                if (who == j).sum() >= 3 and own >= 0.02:
                    found.append((own, [middles[j][i * n : (i + 1) * n] for i in range(count)]))
        if found:
            out[char] = sorted(found, key=lambda f: -f[0])
    return out


def _spread(line: Points, n: int) -> Points:
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    if s[-1] < 1e-6:
        return np.repeat(line[:1], n, axis=0)
    t = np.linspace(0, s[-1], n)
    return np.c_[np.interp(t, s, line[:, 0]), np.interp(t, s, line[:, 1])]


def _k_means(
    shapes: NDArray[np.float64], weights: NDArray[np.float64], k: int, rng: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    middles = [shapes[rng.choice(len(shapes), p=weights / weights.sum())]]
    for _ in range(k - 1):
        away = np.min([((shapes - m) ** 2).mean(axis=(1, 2)) for m in middles], axis=0)
        chance = np.minimum(away, np.percentile(away, 95)) * weights
        at = rng.choice(len(shapes), p=chance / chance.sum()) if chance.sum() > 0 else 0
        middles.append(shapes[at])
    out = np.array(middles)
    for _ in range(25):
        away = ((shapes[:, None] - out[None]) ** 2).mean(axis=(2, 3))
        who = away.argmin(axis=1)
        for j in range(k):
            own = np.flatnonzero(who == j)
            if len(own):
                # what is far from all middles is a wrong label or a slip
                near = own[away[own, j] <= np.percentile(away[own, j], 80)]
                out[j] = np.average(shapes[near], axis=0, weights=weights[near])
    return out, who


def main() -> None:
    """Make the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--words", type=Path, required=True, help="words, as `tests.bench words` reads them")
    parser.add_argument("--characters", type=Path, required=True, help="{char, writer, strokes} of single characters")
    parser.add_argument("--without", default="", help="writers that are kept aside, by commas")
    parser.add_argument("--per-writer", type=int, default=80, help="most words of one writer that are cut by the forms")
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--out", type=Path, required=True)
    a = parser.parse_args()
    aside = {w for w in a.without.split(",") if w}
    base: Letters = defaultdict(list)
    raw = a.characters.read_bytes()
    for row in json.loads(gzip.decompress(raw) if raw[:2] == b"\x1f\x8b" else raw):
        if row["writer"] not in aside:
            strokes = [np.array(s, float).reshape(-1, 2) for s in row["strokes"]]
            strokes = [s if len(s) > 1 else np.concatenate([s, s + 1e-3]) for s in strokes]
            letter = single_letter(row["char"], strokes)
            if letter:
                base[row["char"]].append((letter, 1.0))
    unmarked: dict[str, list[Word]] = defaultdict(list)
    for word in words_of(a.words):
        if word.writer in aside or len(word.text) < 2:
            continue
        if word.letters:
            for char, pieces in marked_letters(word):
                base[char].append((pieces, IN_WORDS))
        else:
            unmarked[word.writer].append(word)
    table = clustered(base, most=8)
    rng = np.random.default_rng(1)
    for number in range(a.rounds):
        _use(table)
        letters: Letters = defaultdict(list, {c: list(v) for c, v in base.items()})
        for mine in unmarked.values():
            for i in rng.permutation(len(mine))[: a.per_writer]:
                for char, pieces in cut_by_forms(mine[i]):
                    letters[char].append((pieces, IN_WORDS))
        table = clustered(letters, most=14 if number == 0 else 20)
        print(f"round {number + 1}: {sum(map(len, table.values()))} forms of {len(table)} characters", flush=True)
    np.savez_compressed(a.out, **packed(table))


def _use(table: Table) -> None:
    """Let `skeleton.words` find these forms instead of the table that is shipped."""
    letter_forms._table_forms.cache_clear()
    letter_forms._table = lambda: table  # type: ignore[assignment]


if __name__ == "__main__":
    main()
