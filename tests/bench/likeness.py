"""Whether composed words are told from the writer's own: `python -m tests.bench likeness --data FOLDER`.

FOLDER holds `unipen_words.json.gz`: words of UNIPEN train_r01_v07 (Guyon, Schomaker, Plamondon, Liberman and Janet,
ICPR 1994; doi 10.5281/zenodo.1195803), donors kai and art, whose letters are marked. Half of a writer's words give the
letters that are written on our printed sheet, scanned, read and built; the other half is composed, and both are inked
alike. Classifiers are cross-validated so that no word is on both sides: histograms of oriented gradients of patches,
pooled by word (Dalal and Triggs, CVPR 2005), into a logistic regression, and figures of the strokes into boosted trees.
0.5 is chance. Beside the composed words: `plain`, the attempts as read, side by side with a white of .21 +- .1
x-heights, and `control`, the first half of the writer's own words against the second.

Records of a tablet show the steps of its grid, a tenth of a millimetre at this size; they are smoothed as far as
rounding asks for it, before anything is inked (`likeness_hands.off_grid`), unless `--recorded` is given. Words are
inked whole, with the lines between joined letters, which no letter's mark holds.

`--ablate` switches off and doubles every part of the composer's life. `--pairs` shows the gaps between letters by the
kind of pair, beside the writers' own. `--repeats` compares words that stand twice in the text with each other.
`--hands` keeps the hands, to be measured again.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import fields
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from fontbuild.font import Font
from ownhand.composer import Composer, Life, Settings
from ownhand.composer.layout.letters import Letters
from ownhand.composer.layout.line_layout import SetText
from ownhand.composer.plot.plot_page import PlotPage, flatten
from tests.bench.likeness_hands import PEN_MM, X_HEIGHT_MM, Letter, Word, Writer, attempts_of, font_of, hand_of, writers
from tests.bench.likeness_pairs import gaps_by_kind, pair_rows
from tests.bench.likeness_repeats import repeated, repeats
from tests.bench.trace_ink import even
from tests.ownhand.measuring import seen

DEFAULT = "art01,jhjung4,kclee4,jspark4,yslee5,jjlee4,jhkim4"
DPI, PATCH, STEP = 200, 48, 16
Floats = NDArray[np.float64]
Row = tuple[str, Letter]
"""A letter and its strokes, mm, y down."""


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench likeness", description=__doc__)
    people_options(parser, DEFAULT)
    parser.add_argument("--recorded", action="store_true", help="with the steps of the tablets; in hands of its own")
    parser.add_argument("--ablate", action="store_true")
    parser.add_argument("--pairs", action="store_true")
    parser.add_argument("--repeats", action="store_true")
    options = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as room:
        folder = options.hands or Path(room)
        folder.mkdir(parents=True, exist_ok=True)
        people = list(writers(options.data, options.writers.split(","), options.seed, recorded=options.recorded))
        print(f"{'told right':24} {'words':>5}  {'composed':>14} {'plain':>14} {'control':>14}   (pictures, strokes)")
        for copied in (False, True):
            rows = [likeness(w, hand_of(w, folder, copied=copied), copied, options.seeds) for w in people]
            show("mean", 0, np.mean(rows, axis=0))
        print(f"\n{'variation, own / composed':24} " + " ".join(f"{name:>13}" for name in FIGURES))
        for w in people:
            variation(w, font_of(hand_of(w, folder, copied=True)))
        if options.pairs:
            pairs(people, folder, options.seeds)
        if options.repeats:
            repeated_words(people, folder, options.seeds)
        if options.ablate:
            ablation(people, folder, options.seeds)
    return 0


def people_options(parser: argparse.ArgumentParser, writers: str) -> None:
    """Add the options that say whose words are told apart, and how often."""
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--writers", default=writers)
    parser.add_argument("--hands", type=Path, help="folder in which hands are kept")
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1, help="of the halves")


def show(name: str, words: int, row: Floats) -> None:
    cells = [f"{a:.3f} {b:.3f}" for a, b in row]
    print(f"{name:24} {words or '':>5}  " + " ".join(f"{c:>14}" for c in cells), flush=True)


def likeness(writer: Writer, path: Path, copied: bool, seeds: int) -> Floats:
    """Return the shares told right: composed, plain, control; by pictures and by strokes."""
    font, attempts = font_of(path), attempts_of(path)
    own = [w.strokes for w in writer.kept]
    groups = groups_of(writer.kept)
    mine = features(own, writer.kept, 0)
    first = [w for w in writer.taken if len(w.text) > 1][: len(own)]
    rows = []
    for seed in range(1, seeds + 1):
        words = compose(font, writer.kept, Life(), seed)
        made = [[s for _, strokes in word for s in strokes] for word in words]
        bare = plain(attempts, writer.kept, seed)
        other = (features(made, writer.kept, 5000 * seed), features(bare, writer.kept, 7000 * seed))
        rows.append(
            [[told(a, b, groups, groups, k) for k, (a, b) in enumerate(zip(mine, f, strict=True))] for f in other]
        )
    n = min(len(first), len(own))
    again = features([w.strokes for w in first[:n]], first[:n], 9000)
    both = groups_of([*writer.kept[:n], *first[:n]])
    control = [told(a[:n], b, both[:n], both[n:], k) for k, (a, b) in enumerate(zip(mine, again, strict=True))]
    out = np.array([*np.mean(rows, axis=0), control])
    show(writer.name + (", copied lines" if copied else ""), len(own), out)
    return out


def groups_of(words: Sequence[Word]) -> list[int]:
    number: dict[str, int] = {}
    return [number.setdefault(w.text, len(number)) for w in words]


class LetterByLetter(Composer):
    """Composes as the hand joins, but leaves the strokes of each letter its own, so that letters can be measured."""

    def _finished(self, page: PlotPage, ready: list[tuple[SetText, Letters]], settings: Settings) -> PlotPage:
        return page


def compose(font: Font, words: Sequence[Word], life: Life, seed: int, *, cut: bool = False) -> list[list[Row]]:
    """Return the letters of each word as they are composed, in the size they were written in.

    Letters are joined where the hand joins; strokes that run through several stand with the first of them. `cut`: each
    letter with its own strokes, standing and shaped as joined, without the lines between letters.
    """
    settings = Settings(paper=(180.0, 900.0), life=life)
    composer = LetterByLetter(font) if cut else Composer(font)
    made = composer.compose(" ".join(w.text for w in words), settings, seed=seed)
    out: list[list[Row]] = []
    for page in made.pages:
        points, starts = flatten(page.points_mm, page.starts, within_mm=0.01)
        letter, word = -1, -1
        for k in range(len(page)):
            if page.word[k] != word:
                out.append([])
            if page.letter[k] != letter or page.word[k] != word:
                out[-1].append((page.chars[page.letter[k]], []))
            letter, word = page.letter[k], page.word[k]
            out[-1][-1][1].append(points[starts[k] : starts[k + 1]])
    return out


def plain(attempts: Mapping[str, Sequence[Letter]], words: Sequence[Word], seed: int) -> list[Letter]:
    """Return words of bare attempts side by side."""
    rng = np.random.default_rng(100 + seed)
    out = []
    for word in words:
        at, strokes = 0.0, []
        for c in word.text:
            if c not in attempts:
                continue
            chosen = attempts[c][int(rng.integers(len(attempts[c])))]
            x = np.vstack(chosen)[:, 0]
            strokes += [s + np.array([at - x.min(), 0.0]) for s in chosen]
            at += float(np.ptp(x)) + max(0.07, rng.normal(0.21, 0.1)) * X_HEIGHT_MM
        out.append(strokes or [np.zeros((1, 2))])
    return out


def features(words: Sequence[Letter], known: Sequence[Word], seed: int) -> tuple[Floats, Floats]:
    """Return what a picture shows of each word, and what its strokes show."""
    return (
        np.array([gradients(w, seed + k) for k, w in enumerate(words)]),
        np.array([geometry(w, len(k.text)) for w, k in zip(words, known, strict=True)]),
    )


def gradients(strokes: Letter, seed: int) -> Floats:
    """Return mean and deviation of the gradients' histograms over the patches of an inked word."""
    from skimage.feature import hog

    rng = np.random.default_rng(seed)
    sub, k = 4, DPI / 25.4 * 4
    every = np.vstack(strokes)
    low = every.min(axis=0) - 1.5
    w, h = (sub * int(np.ceil(v / sub)) for v in (every.max(axis=0) + 1.5 - low) * k)
    cover = np.zeros((h, w), np.uint8)
    for s in strokes:
        # of a single point, a dot, OpenCV draws nothing
        line = np.repeat(s, 2, axis=0) if len(s) == 1 else s
        at = np.round(((line - low) * k - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)
        wide = max(1, round(PEN_MM * k * (1 + 0.15 * rng.uniform(-0.7, 0.7))))
        cv2.polylines(cover, [at], False, 255, wide, cv2.LINE_8, 4)
    grey = cv2.resize(cover, (w // sub, h // sub), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    grey = cv2.GaussianBlur(245 - 200 * grey, (0, 0), 0.7) + rng.normal(0, 4, grey.shape)
    missing = [(0, max(0, PATCH - size)) for size in grey.shape]
    grey = np.pad(np.clip(grey, 0, 255).astype(np.uint8), missing, constant_values=245)
    found = [
        hog(patch, 8, (16, 16), (1, 1))
        for y in range(0, grey.shape[0] - PATCH + 1, STEP)
        for x in range(0, grey.shape[1] - PATCH + 1, STEP)
        if ((patch := grey[y : y + PATCH, x : x + PATCH]) < 128).mean() > 0.03
    ]
    rows = np.array(found) if found else np.zeros((1, 72))
    return np.concatenate([rows.mean(axis=0), rows.std(axis=0)])


def geometry(strokes: Letter, letters: int) -> Floats:
    """Return strokes, ink and width a letter, height, quantiles of the turns, and shares of the directions."""
    every = np.vstack(strokes)
    length = [float(np.hypot(*np.diff(s, axis=0).T).sum()) for s in strokes]
    turns, ways = [np.zeros(1)], [np.zeros(0)]
    for s in strokes:
        d = np.diff(even(s, 0.25), axis=0)
        if len(d) > 3:
            angle = np.unwrap(np.arctan2(d[:, 1], d[:, 0]))
            turns.append(np.abs(np.diff(angle)))
            ways.append(angle % np.pi)
    turn, way = np.concatenate(turns), np.concatenate(ways)
    sizes = [len(strokes) / letters, sum(length) / letters, np.ptp(every[:, 0]) / letters, np.ptp(every[:, 1])]
    share = np.histogram(way, 12, (0, np.pi))[0] / max(1, len(way))
    turned = np.quantile(turn, [0.25, 0.5, 0.75, 0.9, 0.97])
    return np.concatenate([sizes, turned, [turn.std(), np.median(length)], share])


def told(a: Floats, b: Floats, of_a: Sequence[int], of_b: Sequence[int], kind: int) -> float:
    """Return the share told right, cross-validated by word; `kind` 0: pictures, 1: strokes."""
    from sklearn.ensemble import HistGradientBoostingClassifier
    from sklearn.linear_model import LogisticRegression
    from sklearn.model_selection import GroupKFold, cross_val_predict
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    linear = make_pipeline(StandardScaler(), LogisticRegression(C=0.02, max_iter=2000))
    trees = HistGradientBoostingClassifier(max_iter=60, max_depth=3, random_state=0)
    x, y = np.vstack([a, b]), np.repeat([0, 1], [len(a), len(b)])
    found = cross_val_predict(trees if kind else linear, x, y, groups=[*of_a, *of_b], cv=GroupKFold(8))
    return float((found == y).mean())


def pairs(people: Sequence[Writer], folder: Path, seeds: int) -> None:
    """Print the mean gaps between letters by the kind of pair: the writers' own, from cells, with copied lines."""
    rows = []
    for w in people:
        words = [word for word in (*w.taken, *w.kept) if set(word.text) <= set(w.characters)]
        ways = [gaps_by_kind(word.parted for word in words)]
        for copied in (False, True):
            font = font_of(hand_of(w, folder, copied=copied))
            drawn = [word for s in range(seeds) for word in compose(font, words, Life(), s + 1, cut=True)]
            ways.append(gaps_by_kind(drawn))
        rows.append(tuple(ways))
    print(f"\n{'gaps, x-heights':24} {'pairs':>5}  {'own':>6} {'cells':>6} {'lines':>6}")
    for kind, number, means in pair_rows(rows):
        print(f"{kind:24} {number:>5}  " + " ".join(f"{m:>6.2f}" for m in means), flush=True)


def repeated_words(people: Sequence[Writer], folder: Path, seeds: int) -> None:
    """Print by how much two words of one text differ, own and composed with copied lines, and how often that tells."""
    print(f"\n{'one word twice':24} {'pairs':>5}  {'own':>6} {'made':>6}  told right")
    for w in people:
        words = [word for word in (*w.taken, *w.kept) if set(word.text) <= set(w.characters)]
        if len({words[a].text for a, _ in repeated(words)}) < 8:
            continue
        font = font_of(hand_of(w, folder, copied=True))
        drawn = [
            [[s for _, strokes in word for s in strokes] for word in compose(font, words, Life(), seed + 1)]
            for seed in range(seeds)
        ]
        number, own, made, share = repeats(words, drawn, gradients)
        print(f"{w.name:24} {number:>5}  {own:>6.2f} {made:>6.2f}  {share:.3f}", flush=True)


FIGURES = ("foot", "height", "width", "slant, deg", "gap", "gap, SD")


def variation(writer: Writer, font: Font) -> None:
    own = figures([list(w.parted) for w in writer.kept])
    made = np.mean([figures(compose(font, writer.kept, Life(), seed, cut=True)) for seed in (1, 2, 3)], axis=0)
    print(f"{writer.name:24} " + " ".join(f"{a:>6.3f}/{b:<6.3f}" for a, b in zip(own, made, strict=True)), flush=True)


def figures(words: Sequence[Sequence[Row]]) -> list[float]:
    """Return deviations of foot, height, width and slant about the characters' means, and mean and SD of the gaps."""
    rows: dict[str, list[tuple[float, ...]]] = {}
    gaps: list[float] = []
    for word in words:
        looks = []
        for _, strokes in word:
            points = np.vstack(strokes) * [1, -1]
            path = np.repeat(np.arange(len(strokes)), [len(s) for s in strokes])
            looks.append(seen(points, path))
        standing = [v[1] for (c, _), v in zip(word, looks, strict=True) if c in "aceihklmnorstuvwxzbd"]
        for (char, _), (left, foot, right, top, lean) in zip(word, looks, strict=True):
            if char.isalpha() and standing:
                high, wide = np.log(max(top - foot, 0.35)), np.log(max(right - left, 0.35))
                rows.setdefault(char, []).append((foot - float(np.median(standing)), high, wide, lean))
        gaps += [(b[0] - a[2]) / X_HEIGHT_MM for a, b in pairwise(looks)]
    left_over = []
    for char, group in rows.items():
        a = np.array(group)
        if len(a) >= 3:
            rest = (a - np.nanmean(a, axis=0)) * np.sqrt(len(a) / (len(a) - 1))
            rest[:, 0] = rest[:, 0] / X_HEIGHT_MM if char in "aceihklmnorstuvwxzbd" else np.nan
            rest[:, 2] = np.nan if char in "ilIj" else rest[:, 2]
            left_over.append(rest)
    # who writes in capitals alone has no letter of which the line is known
    spread = np.nanstd(np.concatenate(left_over), axis=0) if left_over else np.full(4, np.nan)
    return [*spread.tolist(), float(np.mean(gaps)), float(np.std(gaps))]


def ablation(people: Sequence[Writer], folder: Path, seeds: int) -> None:
    """Print the mean share told right by pictures, with every part of the composer's life off, and doubled."""
    known = [(w, font_of(hand_of(w, folder, copied=True))) for w in people]
    own = [features([w.strokes for w in writer.kept], writer.kept, 0)[0] for writer, _ in known]

    def mean(life: Life) -> float:
        found = []
        for (writer, font), mine in zip(known, own, strict=True):
            groups = groups_of(writer.kept)
            for seed in range(1, seeds + 1):
                words = compose(font, writer.kept, life, seed)
                made = [[s for _, strokes in word for s in strokes] for word in words]
                pictures = np.array([gradients(m, 5000 * seed + k) for k, m in enumerate(made)])
                found.append(told(mine, pictures, groups, groups, 0))
        return float(np.mean(found))

    print(f"\nparts of the composer's life, with copied lines: all natural {mean(Life()):.3f}")
    print(f"{'':12} {'off':>7} {'doubled':>8}")
    for name in (f.name for f in fields(Life) if f.name not in ("word_gap", "drift", "margin", "level")):
        print(f"{name:12} {mean(Life(**{name: 0.0})):7.3f} {mean(Life(**{name: 2.0})):8.3f}", flush=True)
