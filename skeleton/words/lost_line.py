"""How much of the line that was written a way is likely to miss: a small network looks along it.

What a way costs, and what ink it leaves bare, tells of the whole word. Where the pen goes round a loop the wrong way,
turns back where it was lifted, or takes one letter's line for another's, the directions, the ink's clues and the
letters tell so themselves. Convolutions along the way, each wider than the one before, say at every point how much of
the written line was lost there (`tests.bench trace_ways` trains them on words of people whose strokes are known). Of
several ways the one that is likely to lose least is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.blas import limited_threads
from skeleton.small_networks import Single, load_arrays, several
from skeleton.words.along_ways import ToldOfWay, told_of_ways
from skeleton.words.finished_ways import FinishedWay, InkOfWord

Floats = NDArray[np.float64]

NAME = "lost_line.npz"

LOST_STEP_MM = 0.2
"""Length of the written line that is counted as one."""

MOST_LOST = 4
"""Steps of it that are lost at one point of a way at most."""

UNEXPLAINED, STROKE = 1.0, 3.0
"""Steps of lost line that a pen width of what a way leaves unexplained weighs, and a stroke too many or too few. Of
people for validation (284 joined words): way .816 by what is unexplained alone, .827 by what is lost alone, .83 by both
from a weight of 0.3 to 1; strokes too many or too few .94, .86, .90, and .83 with weights for strokes of 2 to 4, which
take .002 of the way."""

APART = (1, 2, 4, 8, 16)
"""Points between those that each convolution after the first sees."""

FIRST_WIDTH = 5
"""Points that the first one sees."""


@dataclass(frozen=True, eq=False)
class LostLineNetwork:
    """A convolution of five points, and five of three points farther and farther apart, each added to what was."""

    of_letter: Single
    """Shape (rows, numbers): what stands for a letter."""

    weights: tuple[Single, ...]
    """Shapes (channels, before * points): of the convolutions."""

    offsets: tuple[Single, ...]
    mixing: tuple[Single, ...]
    """Shapes (channels, channels): of what is added."""

    mixing_offsets: tuple[Single, ...]
    last: Single
    """Shape (2, channels): log odds of lost line, and of a stroke's beginning."""

    last_offsets: Single


@dataclass(frozen=True, eq=False)
class Judged:
    """What ways to write a word are likely to miss, in steps of the written line."""

    of_letter: Floats
    """Shape (ways, letters)."""

    cost: Floats
    """Shape (ways,): of all letters, with what is unexplained and strokes too many or too few."""


def judged(ink: InkOfWord, ways: Sequence[FinishedWay], left: Sequence[float], text: str) -> Judged:
    """Return what ways are likely to miss; left: what each leaves unexplained, pen widths (`unexplained_ink`)."""
    told = told_of_ways(ink, ways, text)
    each = [likely_lost(odds) for odds in log_odds_along(trained(), told)]
    of_letter = np.array([np.bincount(t.letter, lost, len(text)) for t, (lost, _) in zip(told, each, strict=True)])
    off = np.array([abs(begun - len(way.strokes)) for way, (_, begun) in zip(ways, each, strict=True)])
    return Judged(of_letter, of_letter.sum(axis=1) + UNEXPLAINED * np.array(left) + STROKE * off)


def likely_lost(odds: Single) -> tuple[Floats, float]:
    """Return how many steps of the written line are likely lost at every point, and how many strokes begin."""
    share = 1 / (1 + np.exp(-odds.astype(float)))
    return MOST_LOST * share[:, 0], float(share[:, 1].sum())


def log_odds_along(network: LostLineNetwork, told: Sequence[ToldOfWay]) -> list[Single]:
    """Return for every way, each shape (points, 2), log odds of lost line, as a share of the most, and of a begin."""
    room = max(APART)
    counts = [len(t.inputs) for t in told]
    starts = room + np.concatenate([[0], np.cumsum(np.array(counts[:-1], int) + room)]).astype(int)
    width = told[0].inputs.shape[1] + 3 * network.of_letter.shape[1]
    x = np.zeros((int(starts[-1]) + counts[-1] + room, width), np.float32)
    there = np.zeros((len(x), 1), np.float32)
    for at, t in zip(starts.tolist(), told, strict=True):
        letters = network.of_letter[t.letters].reshape(len(t.letters), -1)
        x[at : at + len(letters)] = np.concatenate([t.inputs, letters], axis=1)
        there[at : at + len(letters)] = 1
    with limited_threads():
        x = np.maximum(_convolved(x, network.weights[0], network.offsets[0], 1), 0) * there
        layers = (network.weights[1:], network.offsets[1:], network.mixing, network.mixing_offsets, APART)
        for weights, offsets, mixing, mixing_offsets, apart in zip(*layers, strict=True):
            y = np.maximum(_convolved(x, weights, offsets, apart), 0)
            x += (y @ mixing.T + mixing_offsets) * there
        odds = np.maximum(x, 0) @ network.last.T + network.last_offsets
    return [odds[at : at + n] for at, n in zip(starts.tolist(), counts, strict=True)]


def _convolved(x: Single, weights: Single, offsets: Single, apart: int) -> Single:
    """Return the convolution of a row of points, nothing around it, the points that are seen so far apart."""
    count, channels = x.shape
    points = weights.shape[1] // channels
    around = points // 2 * apart
    wide = np.zeros((count + 2 * around, channels), np.float32)
    wide[around : around + count] = x
    seen = np.concatenate([wide[k * apart : k * apart + count] for k in range(points)], axis=1)
    out: Single = seen @ weights.T + offsets
    return out


@lru_cache(maxsize=1)
def trained() -> LostLineNetwork:
    """Return the network as it was trained."""
    return network_of(files("skeleton.words") / "tables" / NAME)


def network_of(file: Path | Traversable) -> LostLineNetwork:
    """Return the network kept in a file, as `tests.bench trace_ways` writes it."""
    arrays, _ = load_arrays(file)
    return LostLineNetwork(
        arrays["of_letter"],
        several(arrays, "weights", len(APART) + 1),
        several(arrays, "offsets", len(APART) + 1),
        several(arrays, "mixing", len(APART)),
        several(arrays, "mixing_offsets", len(APART)),
        arrays["last"],
        arrays["last_offsets"],
    )
