"""Whether composed words of joined hands are told from the writer's own.

`python -m tests.bench likeness_joined --data FOLDER [--writers a,b] [--picture FILE]`.

FOLDER holds `unipen_words.json.gz`: words of UNIPEN train_r01_v07 (Guyon, Schomaker, Plamondon, Liberman and Janet,
ICPR 1994; doi 10.5281/zenodo.1195803), donors cee and kar, whose letters nobody marked. Half of a writer's words stand
on the ruled lines of our sheet, no cell is filled; they are scanned, read and built, and the other half is composed.
Told by the classifiers of `tests.bench.likeness`. Beside the composed words: `control`, the first half of the writer's
own words against the second, and the figures of strokes that differ most, in standard deviations.
"""

from __future__ import annotations

import argparse
import gzip
import json
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import cv2
import numpy as np
from scipy.signal import argrelmax

from capture.units import Points
from ownhand.composer import Life
from ownhand.hands.captures import load_captures
from ownhand.hands.hand import open_hand
from tests.bench.likeness import compose, groups_of, people_options
from tests.bench.likeness_features import Floats, features, told
from tests.bench.likeness_hands import (
    Letter,
    Word,
    Writer,
    fill_in,
    font_of,
    grid_of,
    off_grid,
)
from tests.bench.trace_ink import even

DEFAULT = "knke4574,mgm_0009,mms_0020,mpk_0025,aaaa9018,wmas2465,sncn4237,repy0371"
FINE_MM = 0.03
"""A tablet's grid up to this leaves no steps that show: nothing is smoothed."""

FIGURES = (
    "strokes a letter", "ink a letter", "width a letter", "height", "turn q25", "turn q50", "turn q75", "turn q90",
    "turn q97", "turn SD", "median stroke", *(f"direction {15 * k}" for k in range(12)),
)  # fmt: skip


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench likeness_joined", description=__doc__)
    people_options(parser, DEFAULT)
    parser.add_argument("--picture", type=Path, help="folder for pictures of both, side by side")
    options = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as room:
        folder = options.hands or Path(room)
        folder.mkdir(parents=True, exist_ok=True)
        print(f"{'told right':24} {'words':>5} {'letters':>12} {'composed':>14} {'control':>14}   (pictures, strokes)")
        rows = [
            likeness(w, hand_of(w, folder), options.seeds, options.picture)
            for w in writers(options.data, options.writers.split(","), options.seed)
        ]
        print(f"{'mean':43} " + " ".join(f"{a:>8.3f} {b:.3f}" for a, b in np.mean(rows, axis=0)))
    return 0


def writers(folder: Path, names: Sequence[str], seed: int) -> Iterator[Writer]:
    """Yield writers whose names hold one of `names`, their words halved by chance; those not known are left out."""
    rows = json.loads(gzip.decompress((folder / "unipen_words.json.gz").read_bytes()))
    for name in names:
        mine = [r for r in rows if name in r["writer"] and len(r["text"]) > 1 and r["text"].isalpha()]
        strokes = [[np.array(s, float) for s in r["strokes"]] for r in mine]
        grid = grid_of([s for word in strokes for s in word])
        if grid >= FINE_MM:
            strokes = [[off_grid(s, grid) for s in word] for word in strokes]
        words = [_word(r["text"], word) for r, word in zip(mine, strokes, strict=True)]
        np.random.default_rng(seed).shuffle(words)
        taken = tuple(words[::2])
        known = {c for w in taken for c in w.text}
        yield Writer(name, taken, tuple(w for w in words[1::2] if set(w.text) <= known))


def _word(text: str, strokes: Letter) -> Word:
    """Return a word on its line: most lowest places of a word's strokes are feet of letters that stand on it."""
    lows = [0.0]
    for s in strokes:
        line = even(s, 0.1)
        if len(line) > 3:
            lows += line[argrelmax(line[:, 1], order=3)[0], 1].tolist()
    base = np.array([0.0, float(np.median(lows[1:] or [s[:, 1].max() for s in strokes]))])
    on_line = [s - base for s in strokes]
    return Word(text, ((text, on_line),), on_line)


def hand_of(writer: Writer, folder: Path) -> Path:
    """Return the hand of a writer in `folder`, made there of the words on ruled lines if it is not there yet."""
    kept = folder / f"{writer.called}-joined"
    if kept.exists():
        return kept
    return fill_in(kept, writer, None, copy=" ".join(w.text for w in writer.taken))


def likeness(writer: Writer, path: Path, seeds: int, pictures: Path | None) -> Floats:
    """Print and return the shares told right: composed, control; by pictures and by strokes."""
    font = font_of(path)
    known = {c for c, group in font.glyphs.items() if group}
    kept = [w for w in writer.kept if set(w.text) <= known]
    own = [w.strokes for w in kept]
    groups = groups_of(kept)
    mine = features(own, kept, 0)
    found, off = [], []
    for seed in range(1, seeds + 1):
        made = [[s for _, strokes in word for s in strokes] for word in compose(font, kept, Life(), seed)]
        other = features(made, kept, 5000 * seed)
        found.append([told(a, b, groups, groups, k) for k, (a, b) in enumerate(zip(mine, other, strict=True))])
        off.append((other[1].mean(axis=0) - mine[1].mean(axis=0)) / np.sqrt((other[1].var(0) + mine[1].var(0)) / 2))
        if pictures is not None and seed == 1:
            pictures.mkdir(parents=True, exist_ok=True)
            cv2.imwrite(str(pictures / f"{writer.name}.png"), side_by_side(own, made))
    first = list(writer.taken[: len(kept)])
    n = len(first)
    again = features([w.strokes for w in first], first, 9000)
    both = groups_of([*kept[:n], *first])
    control = [told(a[:n], b, both[:n], both[n:], k) for k, (a, b) in enumerate(zip(mine, again, strict=True))]
    out = np.array([np.mean(found, axis=0), control])
    letters = sum(len(w.text) for w in writer.taken)
    taken = sum(len(c.attempts) for c in load_captures(open_hand(path)))
    in_font = sum(len(g) for g in font.glyphs.values())
    print(
        f"{writer.name:24} {len(kept):>5} {in_font:>4}/{taken:>3}/{letters:>3} "
        + " ".join(f"{a:>8.3f} {b:.3f}" for a, b in out),
        flush=True,
    )
    mean = np.mean(off, axis=0)
    most = np.argsort(-np.abs(mean))[:6]
    print("    " + ", ".join(f"{FIGURES[k]} {mean[k]:+.2f}" for k in most), flush=True)
    return out


def side_by_side(own: Sequence[Letter], made: Sequence[Letter], *, rows: int = 24, px_per_mm: float = 8.0) -> Points:
    """Return a picture of words, the writer's own on the left, shape (h, w)."""
    tall, wide = int(18 * px_per_mm), int(60 * px_per_mm)
    tiles = []
    for pair in list(zip(own, made, strict=True))[:rows]:
        tile = np.full((tall, 2 * wide), 255, np.uint8)
        for k, word in enumerate(pair):
            low = np.vstack(word).min(axis=0)
            for s in word:
                line = np.repeat(s, 2, axis=0) if len(s) == 1 else s
                at = np.round(((line - low + [2.0 + 60 * k, 2.0]) * px_per_mm) * 16).astype(np.int32)
                cv2.polylines(tile, [at.reshape(-1, 1, 2)], False, 0, 4, cv2.LINE_AA, 4)
        tiles.append(tile)
    half = (len(tiles) + 1) // 2
    tiles += [np.full_like(tiles[0], 255)] * (2 * half - len(tiles))
    return np.hstack([np.vstack(tiles[:half]), np.vstack(tiles[half:])])
