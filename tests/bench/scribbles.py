"""What is no letter, read as one: `python -m tests.bench scribbles`.

Scribbles, grids, coils, hatchings, textures and the like are drawn by lot and read as a character, known or not, or as
a word. Nothing that is scanned may keep a reader busy without end, or break it. Printed for each kind: how many were
read, the median and the longest time of one, how many broke, and how many were given up after `--limit` seconds; the
seeds of these and of the slowest come last, and `--only SEED` reads one again. Two real faults were found so: ways
through many small loops that were all tried, and an even dash without an x-height.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import string
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection

import cv2
import numpy as np
from numpy.typing import NDArray

import skeleton
from capture.units import Points
from skeleton import precompile
from tests.bench.trace_ink import ink

Rng = np.random.Generator

LETTERS = string.ascii_letters + string.digits + "äß&%$@#+*=;:!?"

UNTOLD_SHARE, WORD_SHARE = 0.15, 0.25
"""Shares of the drawings that are read without being told a character, and as words."""

SLOWEST_SHOWN, PROGRESS_EVERY = 5, 100


def _curve(t: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64]) -> Points:
    return np.stack([x + 0 * t, y + 0 * t], axis=1)


def scribble(rng: Rng, size: float) -> list[Points]:
    """Return strokes of straight stretches to and fro; size: mm. So are the others here."""
    out = []
    for _ in range(rng.integers(1, 4)):
        corners = rng.uniform(0, size, (rng.integers(3, 25), 2))
        t = np.linspace(0, len(corners) - 1, 20 * len(corners))
        out.append(np.stack([np.interp(t, np.arange(len(corners)), corners[:, k]) for k in (0, 1)], axis=1))
    return out


def grid(rng: Rng, size: float) -> list[Points]:
    """Return lines across each other."""
    places = np.linspace(0, size, rng.integers(2, 9))
    lines = [np.array(line) for v in places for line in ([[v, 0], [v, size]], [[0, v], [size, v]])]
    return lines[: rng.integers(2, len(lines) + 1)]


def crossing_waves(rng: Rng, size: float) -> list[Points]:
    """Return waves that cross each other again and again."""
    t, wide = np.linspace(0, 1, 500), rng.uniform(0.2, 2)
    swing = wide * np.sin(np.pi * rng.integers(2, 30) * t)
    return [_curve(t, side * swing, size * t) for side in (1, -1, 0.5)[: rng.integers(2, 4)]]


def coil(rng: Rng, _: float) -> list[Points]:
    """Return a line of loops."""
    turns, radius = int(rng.integers(2, 20)), rng.uniform(0.05, 1.5)
    t = np.linspace(0, 2 * np.pi * turns, 80 * turns)
    return [_curve(t, rng.uniform(0.02, 0.4) * t + radius * np.sin(t), rng.uniform(0.5, 2) * radius * np.cos(t))]


def spiral(rng: Rng, size: float) -> list[Points]:
    """Return a spiral, its windings one over the other where they are narrow."""
    t = np.linspace(0, 2 * np.pi * rng.integers(1, 7), 400)
    return [_curve(t, size / 40 * t * np.cos(t), size / 40 * t * np.sin(t))]


def hatching(rng: Rng, size: float) -> list[Points]:
    """Return lines beside each other, or across as well."""
    count, step = int(rng.integers(2, 14)), rng.uniform(0.25, 0.9)
    out = [np.array([[i * step, 0], [i * step + rng.uniform(-1, 1), size / 2]]) for i in range(count)]
    across = int(rng.integers(0, 8))
    return out + [np.array([[-0.5, i * step], [count * step, i * step]]) for i in range(across)]


def steps(rng: Rng, _: float) -> list[Points]:
    """Return a walk from place to place of a coarse grid, as coarse tablets record it."""
    way = np.cumsum(rng.integers(-1, 2, (rng.integers(10, 90), 2)), axis=0)
    return [way * rng.choice([0.2, 0.39, 0.6])]


def rays(rng: Rng, size: float) -> list[Points]:
    """Return lines out of one place."""
    return [
        size / 2 * np.array([[0, 0], [np.cos(a), np.sin(a)]]) for a in rng.uniform(0, 2 * np.pi, rng.integers(3, 25))
    ]


def dots(rng: Rng, size: float) -> list[Points]:
    """Return dots here and there."""
    return [p[None] for p in rng.uniform(0, size, (rng.integers(3, 25), 2))]


def rings(rng: Rng, size: float) -> list[Points]:
    """Return rings over each other."""
    t = np.linspace(0, 2 * np.pi, 60)
    round_ = np.stack([np.cos(t), np.sin(t)], axis=1)
    return [rng.uniform(0, size, 2) + rng.uniform(0.2, 2) * round_ for _ in range(rng.integers(1, 9))]


DRAWN: tuple[Callable[[Rng, float], list[Points]], ...] = (
    scribble, grid, crossing_waves, coil, spiral, hatching, steps, rays, dots, rings,
)  # fmt: skip


def texture(rng: Rng) -> NDArray[np.uint8]:
    """Return a picture of blotches."""
    rough = cv2.GaussianBlur(rng.normal(0, 1, rng.integers(6, 120, 2)), (0, 0), float(rng.uniform(0.5, 3)))
    low, high = float(rough.min()), float(rough.max())
    return np.round(255 * (rough - low) / max(high - low, 1e-9)).astype(np.uint8)


def drawn(seed: int) -> tuple[str, NDArray[np.uint8], float, str | None, bool]:
    """Return (kind, grey image, dpi, character or text, whether it is a word) of a seed."""
    rng = np.random.default_rng(seed)
    draw = (*DRAWN, None)[seed % (len(DRAWN) + 1)]
    dpi, pen = float(rng.choice([150, 300, 300, 600])), float(rng.choice([0.3, 0.5, 0.5, 0.8, 1.2]))
    word = bool(rng.random() < WORD_SHARE)
    letters = "".join(rng.choice(list(LETTERS), rng.integers(1, 9) if word else 1))
    text = letters if word or rng.random() >= UNTOLD_SHARE else None
    if draw is None:
        return "texture", texture(rng), dpi, text, word
    kind = str(rng.choice(["clean", "noisy", "skipping"]))
    lines = draw(rng, float(rng.uniform(2, 14)))
    return draw.__name__, ink(lines, dpi=dpi, pen_mm=pen, kind=kind, seed=seed)[0], dpi, text, word


@dataclass(frozen=True)
class Outcome:
    """What became of one drawing."""

    seed: int
    kind: str
    seconds: float
    fault: str = ""


def outcome(seed: int) -> Outcome:
    """Return what becomes of the drawing of a seed when it is read."""
    kind, grey, dpi, text, word = drawn(seed)
    begun = time.perf_counter()
    fault = ""
    try:
        if word and text:
            skeleton.read_word(grey, dpi, text)
        else:
            skeleton.read_character(grey, dpi, text)
    except Exception as error:  # whatever it is, it is what this is after
        fault = f"{type(error).__name__}: {error}"
    return Outcome(seed, kind, time.perf_counter() - begun, fault)


def _answer(line: Connection) -> None:
    while True:
        line.send(outcome(line.recv()))


class _Reader:
    """A process that reads one drawing after the other, and is killed with one that takes too long."""

    def __init__(self, limit: float) -> None:
        self._limit = limit
        self._begin()

    def _begin(self) -> None:
        self._line, other = multiprocessing.Pipe()
        self._process = multiprocessing.get_context("fork").Process(target=_answer, args=(other,), daemon=True)
        self._process.start()

    def send(self, seed: int) -> None:
        self._seed, self._sent = seed, time.monotonic()
        self._line.send(seed)

    def answer(self) -> Outcome | None:
        """Return what became of the drawing sent, None while it is read."""
        if self._line.poll():
            found: Outcome = self._line.recv()
            return found
        seconds = time.monotonic() - self._sent
        if seconds < self._limit and self._process.is_alive():
            return None
        fault = "given up" if self._process.is_alive() else "the process ended"
        self._process.kill()
        self._begin()
        return Outcome(self._seed, drawn(self._seed)[0], seconds, fault)


def main(argv: list[str]) -> int:
    """Print a table of kinds; return 1 where a drawing broke the reader or was given up."""
    parser = argparse.ArgumentParser(prog="tests.bench scribbles", description=__doc__)
    parser.add_argument("-n", "--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=0, help="of the first drawing")
    parser.add_argument("--only", type=int, metavar="SEED", help="read this drawing alone")
    parser.add_argument("--limit", type=float, default=60, help="seconds after which a drawing is given up")
    parser.add_argument("--cores", type=int, default=os.cpu_count() or 1, help="processes; all cores if not said")
    a = parser.parse_args(argv)
    precompile.prepare()
    if a.only is not None:
        print(outcome(a.only))
        return 0
    cv2.setNumThreads(1)
    every = read_all(list(range(a.seed, a.seed + a.count)), a.cores, a.limit)
    kinds: dict[str, list[Outcome]] = defaultdict(list)
    for o in every:
        kinds[o.kind].append(o)
    print(f"{'kind':<16}{'read':>6}{'median s':>10}{'longest s':>11}{'broke':>7}{'given up':>10}")
    for kind, mine in sorted(kinds.items()):
        seconds = [o.seconds for o in mine]
        up = sum(o.fault == "given up" for o in mine)
        broke = sum(bool(o.fault) for o in mine) - up
        print(f"{kind:<16}{len(mine):>6}{np.median(seconds):>10.2f}{max(seconds):>11.1f}{broke:>7}{up:>10}")
    faults = [o for o in every if o.fault]
    slowest = sorted((o for o in every if not o.fault), key=lambda o: -o.seconds)[:SLOWEST_SHOWN]
    for o in [*faults, *slowest]:
        print(f"seed {o.seed}, {o.kind}: {o.seconds:.1f} s {o.fault}".rstrip())
    return 1 if faults else 0


def read_all(seeds: list[int], cores: int, limit: float) -> list[Outcome]:
    """Return what becomes of the drawings of some seeds, in their order; limit: s for each."""
    left, done = list(reversed(seeds)), dict[int, Outcome]()
    readers = [_Reader(limit) for _ in range(min(cores, len(seeds)))]
    for r in readers:
        r.send(left.pop())
    busy = list(readers)
    while busy:
        for r in list(busy):
            found = r.answer()
            if found is None:
                continue
            done[found.seed] = found
            if len(done) % PROGRESS_EVERY == 0:
                print(f"  {len(done)} of {len(seeds)} read", file=sys.stderr, flush=True)
            if left:
                r.send(left.pop())
            else:
                busy.remove(r)
        time.sleep(0.01)
    return [done[s] for s in seeds]
