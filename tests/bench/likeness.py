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
`--hands` keeps the hands, to be measured again; those made of other words (`--seed`, `--recorded`) stand beside them.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import fields
from itertools import pairwise
from pathlib import Path

import numpy as np

from fontbuild.font import Font
from ownhand.composer import Composer, Life, Settings
from ownhand.composer.layout.letters import Letters
from ownhand.composer.layout.line_layout import SetText
from ownhand.composer.plot.plot_page import PlotPage, flatten
from tests.bench.likeness_features import Floats, features, gradients, told
from tests.bench.likeness_hands import X_HEIGHT_MM, Letter, Word, Writer, attempts_of, font_of, hand_of, writers
from tests.bench.likeness_pairs import gaps_by_kind, pair_rows
from tests.bench.likeness_repeats import repeated, repeats
from tests.ownhand.measuring import seen

DEFAULT = "art01,jhjung4,kclee4,jspark4,yslee5,jjlee4,jhkim4"
Row = tuple[str, Letter]
"""A letter and its strokes, mm, y down."""


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench likeness", description=__doc__)
    people_options(parser, DEFAULT)
    parser.add_argument("--recorded", action="store_true", help="with the steps of the tablets")
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
