"""What the network of `pen_events` is trained on: known strokes inked in many ways, and what the pen did where."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from capture.units import Points, image_from_pixels
from sample_sheets.loose import loose_characters
from sample_sheets.writer.hand import GUEST, KEEPER
from skeleton.cues.local_features import features, measure
from skeleton.cues.pen_events import picture_of
from skeleton.pipeline import build_state_graph_of
from tests.bench.people import BY_LOT, broken, of_people, part, source_of, trains_network
from tests.bench.trace_data import KANA, LATIN, OTHER_DAY, data_sets, fitted, fold, folder, hershey, kanji, kanjivg
from tests.bench.trace_ink import even, ink
from tests.bench.words import words_of

Floats = NDArray[np.float64]
STEP_MM = 0.05
WORDS = "words"
"""The data set of whole words."""

TIMES = {
    "unipen": 4, "digilets": 4, "uji": 68, "omniglot": 80,
    "kanjivg": 46, "kana": 22, "hershey": 34, "scripts": 8, "cursive": 8, "museum": 16,
    "kanji": 2,
}  # fmt: skip
"""How often each character is inked."""

TIMES_BESIDE_WORDS = {
    "unipen": 6, "digilets": 6, "uji": 48, "omniglot": 56,
    "kanjivg": 36, "kana": 16, "hershey": 26, "scripts": 6, "cursive": 6, "museum": 12,
    "kanji": 2, "words": 9,
}  # fmt: skip
"""How often each is inked where words are among them."""

TIMES_OF_OTHERS = 4
"""How often those are then inked on whom the network for characters is not trained."""

HOOKED = 0.1
"""Share of the characters one stroke of which is given a hook that its writer did not make: what the ink shows must
count anywhere, not only where these few people make hooks."""

KANJI = (0x4E00, 8, 12)
"""The first that is looked at, one in how many, and the most strokes."""


@dataclass(frozen=True, eq=False)
class Written:
    """A character whose strokes are known."""

    source: str
    writer: str
    char: str
    strokes: list[Points]

    @property
    def checked(self) -> bool:
        """Whether nothing is trained on its writer, and the network may be looked at with it."""
        if self.source in BY_LOT or self.source == WORDS:
            return part(self._people, self.writer) == "val"
        return not fitted(self.source, self.writer, self.char)

    @property
    def trains(self) -> bool:
        """Whether the network is trained on it."""
        if self.source == WORDS:
            return self.of_training_part
        known = fitted(self.source, self.writer, self.char)
        return known and (not of_people(self.source) or trains_network(self.source, self.writer))

    @property
    def of_training_part(self) -> bool:
        """Whether its writer is of the training part, A or B."""
        return of_people(self._people) and part(self._people, self.writer) == "train"

    @property
    def _people(self) -> str:
        # UNIPEN's donors of words are among those of characters: whoever is left out there is left out here
        return "unipen" if self.source == WORDS else self.source

    @property
    def fold(self) -> int:
        """The part of the training data that it is in."""
        return fold(self._people, self.writer, self.char)


@dataclass(frozen=True, eq=False)
class Sample:
    """One inked character, as the network sees it, and what is asked of it."""

    source: str
    picture: NDArray[np.uint8]
    """Shape (h, w): darkness in two-hundredths, the pen `skeleton.cues.pen_events.NETWORK_PEN_PX` wide."""

    places: NDArray[np.float32]
    """Shape (n, 2), px of the picture."""

    headings: NDArray[np.float32]
    measured: NDArray[np.float16]
    """Shape (n, FEATURE_COUNT)."""

    asked: NDArray[np.bool_]
    """Shape (n, 3, 2): did the pen land, lift, go here in the heading, and against it?"""

    passed: NDArray[np.uint8]
    """Shape (n,): how often the pen passed."""


def written(paths: Sequence[Path]) -> list[Written]:
    """Return all characters: those that come with the project's dependencies, and those of stroke files."""
    sets = {k: v for k, v in data_sets().items() if k in ("kanjivg", "hershey")}
    out = [Written(k, c.writer, c.char, c.strokes) for k, cases in sets.items() for c in cases] + stored(paths)
    kana = (c for c in kanjivg(KANA, known=False) if fitted("kana", "", c.char))
    out += [Written("kana", "", c.char, c.strokes) for c in kana]
    for font in ("scripts", "cursive"):
        out += [Written(font, "", c.char, c.strokes) for c in hershey(font)]
    for name, habits in (("keeper", KEEPER), ("guest", GUEST)):
        attempts = loose_characters(LATIN, 3, habits=habits, seed=OTHER_DAY)
        out += [Written("museum", name, c.char, list(c.strokes)) for c in attempts]
    return out + [Written("kanji", "", c.char, c.strokes) for c in kanji(*KANJI)]


def stored(paths: Sequence[Path]) -> list[Written]:
    """Return the characters of stroke files, without those that were recorded wrongly (`people.broken`)."""
    sets = {name: cases for path in paths for name, cases in folder(path).items()}
    return [
        Written(source_of(name), c.writer, c.char, c.strokes)
        for name, cases in sets.items()
        for c in cases
        if not broken(source_of(name), c.writer)
    ]


def written_words(file: Path) -> list[Written]:
    """Return the words of a file that `tests.bench.words` reads: their strokes are those of a character."""
    return [Written(WORDS, w.writer, w.text, w.strokes) for w in words_of(file)]


def times_beside_words(character: Written) -> int:
    """Return how often a character is inked where words are among them."""
    return TIMES_BESIDE_WORDS[character.source] if character.trains else TIMES_OF_OTHERS


def samples(
    characters: Sequence[Written],
    *,
    seed: int,
    times: Callable[[Written], int] = lambda w: TIMES.get(w.source, 1),
    broad: bool = False,
) -> Iterator[Sample]:
    """Yield the characters inked as often as `times` has it, the first ink the usual one; `broad`: more broad pens."""
    often = [times(w) for w in characters]
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
        found = pool.map(partial(_several, seed, broad=broad), range(len(characters)), characters, often, chunksize=8)
        for several in found:
            yield from several


def _several(seed: int, number: int, character: Written, times: int, *, broad: bool) -> list[Sample]:
    rng = np.random.default_rng([seed, number])
    found = (_sample(character, rng, usual=k == 0, broad=broad) for k in range(times))
    return [s for s in found if s is not None]


def _sample(character: Written, rng: np.random.Generator, *, usual: bool, broad: bool) -> Sample | None:
    dpi, pen, pressure, kind, discs = 300.0, 0.5, 0.15, "noisy", False
    strokes = [np.asarray(s, float) for s in character.strokes]
    if not usual:
        strokes = varied(strokes, rng)
        if rng.random() < 0.7:
            strokes = swayed(strokes, rng, float(rng.uniform(0, 0.03)))
        if rng.random() < HOOKED:
            strokes = hooked(strokes, rng)
        dpi = float(rng.choice([150, 200, 300, 300, 300, 400, 600]))
        often = rng.uniform(0.4, 1.0) if broad else 0.5
        pen = float(rng.choice([0.5, often, rng.uniform(0.3, 0.8), rng.uniform(0.2, 1.2)]))
        discs = bool(rng.random() < 0.5)
        pressure = float(rng.uniform(0.03, 0.25))
        kind = str(rng.choice(["noisy", "noisy", "noisy", "clean", "skipping"]))
    strokes = [even(s, STEP_MM) for s in strokes]
    lot = int(rng.integers(1 << 30))
    image, off = ink(strokes, dpi=dpi, pen_mm=pen, pressure=pressure, kind=kind, seed=lot, discs=discs)
    apart = build_state_graph_of(image, dpi)
    if apart is None or len(apart[2].here) < 4:
        return None
    found, net, states = apart
    here, along = states.here[::2], np.ascontiguousarray(states.heading[::2])
    measured = features(net, measure(found, here, along), found.pen_px, here, along, states.first)
    picture, inside = picture_of(found, here)
    at = image_from_pixels(here, px_per_mm=found.px_per_mm)
    lines = [s + off for s in strokes]
    ahead, against = passes([s for s in lines if len(s) > 1], at, along, within=0.6 * pen)
    ends = ends_near(lines, at, along, within=max(0.3, 0.6 * pen))
    return Sample(
        character.source,
        np.clip(picture[0] * 200, 0, 255).astype(np.uint8),
        inside.astype(np.float32),
        along.astype(np.float32),
        measured.astype(np.float16),
        np.concatenate([ends, np.stack([ahead > 0, against > 0], axis=1)[:, None]], axis=1),
        np.minimum(ahead + against, 9).astype(np.uint8),
    )


def ends_near(lines: Sequence[Points], places: Points, headings: Points, *, within: float) -> NDArray[np.bool_]:
    """Return whether a line begins, and ends, near every place in its heading and against it, shape (places, 2, 2)."""
    out = np.zeros((len(places), 2, 2), bool)
    for line in lines:
        if len(line) < 2:
            out[np.hypot(*(places - line[0]).T) < within] = True
            continue
        k = min(len(line) - 1, round(0.5 / STEP_MM))
        for e, (end, way) in enumerate(((line[0], line[k] - line[0]), (line[-1], line[-1] - line[-1 - k]))):
            cos = headings @ (way / max(float(np.hypot(*way)), 1e-9))
            near = np.hypot(*(places - end).T) < within
            out[near & (cos > 0.4), e, 0] = True
            out[near & (cos < -0.4), e, 1] = True
    return out


def passes(
    lines: Sequence[Points], places: Points, headings: Points, *, within: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return how often the lines run through the cross-section of every place, in its heading and against it."""
    ahead, against = np.zeros(len(places), np.int64), np.zeros(len(places), np.int64)
    if not lines:
        return ahead, against
    a, b = (np.concatenate([line[k : len(line) - 1 + k] for line in lines]) for k in (0, 1))
    step = (b - a) / np.maximum(np.hypot(*(b - a).T), 1e-9)[:, None]
    for i, near in enumerate(cKDTree(0.5 * (a + b)).query_ball_point(places, within)):
        cos = step[near] @ headings[i]
        before, after = ((p[near] - places[i]) @ headings[i] >= 0 for p in (a, b))
        through = before != after
        ahead[i], against[i] = int((through & (cos > 0.6)).sum()), int((through & (cos < -0.6)).sum())
    return ahead, against


def varied(strokes: Sequence[Points], rng: np.random.Generator) -> list[Points]:
    """Return strokes another size, slant, stretch and turn: as another day or another writer would have it."""
    turn, lean, stretch = rng.normal(0, 0.06), rng.normal(0, 0.12), rng.uniform(0.85, 1.18)
    way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    way = rng.uniform(0.75, 1.3) * way @ np.array([[1, lean], [0, 1]]) @ np.diag([stretch, 1 / stretch])
    return [np.asarray(s, float) @ way.T for s in strokes]


def hooked(strokes: Sequence[Points], rng: np.random.Generator) -> list[Points]:
    """Return strokes, one of them with a hook at its beginning or end: gone along twice, a little aside."""
    out = list(strokes)
    i = int(rng.integers(len(out)))
    line = even(out[i], STEP_MM)
    n = round(min(rng.uniform(0.4, 2.5) / STEP_MM, 0.6 * len(line)))
    if n < 4:
        return out
    late = bool(rng.random() < 0.5)
    line = line[::-1] if late else line
    away = np.gradient(line[:n], axis=0)
    away = away[:, ::-1] * [-1, 1] / np.maximum(np.hypot(*away.T), 1e-9)[:, None]
    hook = line[:n] + away * (rng.normal(0, 0.16) * np.linspace(0, 1, n) ** rng.uniform(0.5, 1.5))[:, None]
    whole = np.concatenate([hook[::-1], line[1:]])
    out[i] = whole[::-1] if late else whole
    return out


def swayed(strokes: Sequence[Points], rng: np.random.Generator, share: float) -> list[Points]:
    """Return strokes bent by three slow waves, each of a height of `share` of the character's size."""
    every = np.concatenate(strokes)
    low = every.min(axis=0)
    size = float(np.ptp(every, axis=0).max()) + 1e-6
    ways, phases = rng.normal(0, 2.2 / size, (3, 2)), rng.uniform(0, 2 * np.pi, 3)
    heights = rng.normal(0, share * size, (3, 2))
    return [s + np.sin((s - low) @ ways.T + phases) @ heights for s in strokes]
