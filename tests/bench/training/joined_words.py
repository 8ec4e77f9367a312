"""Words put together of people's single letters, joined as a pen would join them: whose letters they are is known.

Words that people joined are many, but few say where one letter ends. Here letters of one or a few people are set on a
line, and where the pen is to stay down a cubic leads from one's end to the next one's begin in the direction of both.
Dots, bars and accents of joined letters come after the word, as most people write them (common practice, no source).
"""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from capture.units import Points
from skeleton.words.letter_forms import main_strokes
from tests.bench.accented import LINES, accented
from tests.bench.trace_data import Case
from tests.bench.training.letter_forms import X_HEIGHT_MM, single_letter, without_steps
from tests.bench.words import Word

JOINING = (0.0, 0.4, 0.8, 1.0)
"""How often a hand leaves the pen down between letters; each hand has one of these."""

GAP, GAP_OF_WORD, LEAST_GAP = (0.22, 0.12), 0.06, 0.05
"""x-heights between letters: mean and standard deviation over hands, standard deviation within one, and the least."""

STRAY = 0.05
"""x-heights by which letters stand off the line, standard deviation."""

LEAN, SIZE, WIDTH = 0.15, 0.1, 0.12
"""Standard deviations over hands of slant, and of the logarithms of size and width."""

NOT_TO_BE_LEFT = 0.5
"""Share of joins that come about where a letter ends on its left side, or heads back."""

OF_ONE = 0.5
"""Share of words all of whose letters one person wrote, where somebody wrote them all."""

LEAD = 0.25
"""x-heights of line from which a direction is taken."""

BOW = (0.2, 0.45)
"""Shares of a join's length at which its handles end."""

WITHIN = 0.15
"""x-heights of height within which two letters keep apart."""

Letters = Mapping[str, Mapping[str, Sequence[Sequence[Points]]]]
"""By writer and character attempts in x-heights, baseline at y = 0, y down."""


def letters_by_writer(cases: Sequence[Case]) -> Letters:
    """Return letters of people, with those on which accents are drawn, in x-heights on their baseline."""
    out: dict[str, dict[str, list[list[Points]]]] = defaultdict(lambda: defaultdict(list))
    for case in (*cases, *accented(cases)):
        whole = unicodedata.normalize("NFD", case.char)
        # the baseline is that of the letter alone, which its mark may reach below
        strokes = [without_steps(s) for s in case.strokes]
        alone = strokes[: len(strokes) - sum(len(LINES[m]) for m in whole[1:])]
        letter = single_letter(whole[0], alone)
        if letter:
            by = letter[0][0] - alone[0][0] / X_HEIGHT_MM
            out[case.writer][case.char].append([s / X_HEIGHT_MM + by for s in strokes])
    return out


@dataclass(frozen=True)
class Manner:
    """How a hand sets its letters."""

    joins: float
    gap: float
    lean: float
    size: float
    width: float


def manner(rng: np.random.Generator) -> Manner:
    """Return a hand's manner, drawn by lot."""
    return Manner(
        float(rng.choice(JOINING)), max(float(rng.normal(*GAP)), LEAST_GAP), float(rng.normal(0, LEAN)),
        float(np.exp(rng.normal(0, SIZE))), float(np.exp(rng.normal(0, WIDTH))),
    )  # fmt: skip


def composed(text: str, letters: Letters, rng: np.random.Generator) -> Word | None:
    """Return a word put together of people's letters, mm; None where nobody wrote one of its letters."""
    own = [w for w, of in letters.items() if all(c in of for c in text)]
    group = [own[int(rng.integers(len(own)))]] if own and rng.random() < OF_ONE else []
    hand = manner(rng)
    placed: list[list[Points]] = []
    for char in text:
        writers = group or [w for w, of in letters.items() if char in of]
        if not writers:
            return None
        attempts = letters[writers[int(rng.integers(len(writers)))]][char]
        strokes = attempts[int(rng.integers(len(attempts)))]
        shaped = [np.column_stack([s[:, 0] * hand.width - hand.lean * s[:, 1], s[:, 1]]) * hand.size for s in strokes]
        gap = max(hand.gap + float(rng.normal(0, GAP_OF_WORD)), LEAST_GAP)
        at = _beside(placed[-1], shaped, gap) if placed else 0.0
        placed.append([s + np.array([at, float(rng.normal(0, STRAY))]) for s in shaped])
    return _joined(text, placed, hand, rng)


def _beside(before: Sequence[Points], letter: Sequence[Points], gap: float) -> float:
    """Return by how far a letter is moved to the right for the least paper between it and the one before."""
    a, b = np.concatenate(list(before)), np.concatenate(list(letter))
    near = np.abs(a[:, None, 1] - b[None, :, 1]) < WITHIN
    apart = a[:, None, 0] - b[None, :, 0]
    by_ink = float(apart[near].max()) + gap if near.any() else -np.inf
    # a letter does not creep under the one before
    return max(by_ink, float(0.5 * (a[:, 0].min() + a[:, 0].max()) - b[:, 0].min()))


def _joined(text: str, placed: Sequence[Sequence[Points]], hand: Manner, rng: np.random.Generator) -> Word:
    """Return letters as a word, the pen left down where the hand leaves it so."""
    lines: list[Points] = []
    marks: list[Points] = []
    pieces: list[list[Points]] = [[] for _ in text]
    down = False
    for j, (char, strokes) in enumerate(zip(text, placed, strict=True)):
        bare = unicodedata.normalize("NFD", char)[0]
        main = [s for s in main_strokes(bare, strokes) if len(s)]
        kept = {s.tobytes() for s in main}
        late = [s for s in strokes if np.asarray(s, float).tobytes() not in kept]
        first = main[0]
        if down:
            join = _join(lines[-1], first, rng)
            half = len(join) // 2
            lines[-1] = np.concatenate([lines[-1], join, first])
            pieces[j - 1][-1] = np.concatenate([pieces[j - 1][-1], join[: half + 1]])
            pieces[j].append(np.concatenate([join[half:], first]))
        else:
            lines.append(first)
            pieces[j].append(first)
        for s in main[1:]:
            lines.append(s)
            pieces[j].append(s)
        down = j + 1 < len(text) and rng.random() < hand.joins
        if down and not _leads_on(main[-1], np.concatenate(main)):
            down = rng.random() < NOT_TO_BE_LEFT
        # who lifts the pen anyhow often adds the dot at once
        at_once = not down and rng.random() < 1 - hand.joins
        (lines if at_once else marks).extend(late)
        order = late if late else []
        pieces[j] = _last_kept(pieces[j], order, down)
    scaled = [s * X_HEIGHT_MM for s in (*lines, *marks)]
    return Word(
        text, "composed", scaled, [(c, [p * X_HEIGHT_MM for p in of]) for c, of in zip(text, pieces, strict=True)]
    )


def _last_kept(pieces: list[Points], late: Sequence[Points], down: bool) -> list[Points]:
    """Return a letter's pieces with its marks, the piece that a join leads out of being the last."""
    return [*late, *pieces] if down else [*pieces, *late]


def _leads_on(stroke: Points, letter: Points) -> bool:
    """Tell whether a letter ends on its right side, heading on."""
    low, high = float(letter[:, 0].min()), float(letter[:, 0].max())
    return bool(stroke[-1, 0] > 0.5 * (low + high) and _heading(stroke[::-1])[0] < 0.2)


def _heading(line: Points) -> Points:
    """Return the direction in which a line leaves its first point."""
    gone = np.hypot(*(line - line[0]).T)
    k = int(np.argmax(gone > LEAD)) if (gone > LEAD).any() else len(line) - 1
    way = line[k] - line[0]
    out: Points = way / max(float(np.hypot(*way)), 1e-9)
    return out


def _join(before: Points, after: Points, rng: np.random.Generator) -> Points:
    """Return the points between the end of a line and the begin of the next one."""
    a, b = before[-1], after[0]
    size = float(np.hypot(*(b - a)))
    out, into = -_heading(before[::-1]), _heading(after)
    p, q = a + rng.uniform(*BOW) * size * out, b - rng.uniform(*BOW) * size * into
    t = np.linspace(0, 1, max(int(size / 0.05), 3) + 1)[1:-1, None]
    line: Points = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * p + 3 * (1 - t) * t**2 * q + t**3 * b
    return line
