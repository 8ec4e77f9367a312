"""Set lines become pen paths: every letter's shape with the effects of itself, its line and its page, in its place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fontbuild.font import Font
from ownhand.composer.glyphs.variant_bank import Index, VariantBank
from ownhand.composer.layout.letters import Letters
from ownhand.composer.layout.line_breaking import reach_of
from ownhand.composer.layout.line_clearance import Inked, keep_lines_apart, lowered, meeting
from ownhand.composer.layout.line_layout import SetLine, SetText
from ownhand.composer.layout.repeat_avoidance import kinds, separate_repeats
from ownhand.composer.plot.plot_page import PlotPage
from ownhand.composer.settings.life import Life
from ownhand.composer.settings.settings import Settings
from ownhand.composer.variation.handwriting_statistics import Array, Scatter
from ownhand.composer.variation.noise import ar1_noise, draw

FOLLOWS = 0.7
"""On unruled paper a line keeps its distance from the one before rather than from the page: memory of its level."""


@dataclass(frozen=True, eq=False)
class LineEffects:
    """What belongs to whole lines; every array has shape (lines,)."""

    level: Array
    """x-heights, up."""

    slope: Array
    """Tangent, up to the right."""

    tall: Array
    """Factor of the height."""

    lean: Array
    """Tangent."""


@dataclass(frozen=True, eq=False)
class Hand:
    """What pages are written with."""

    font: Font
    bank: VariantBank
    scatter: Scatter
    settings: Settings
    measured_pen_mm: float
    """Width of the line that the hand was written with."""

    pens_mm: tuple[float, ...]
    """Widths of the lines of the settings' pens."""


@dataclass(frozen=True, eq=False)
class _Placed:
    """Letters of one box on one page."""

    ids: Index
    x_mm: Array
    line: Index
    word: Index


@dataclass(frozen=True, eq=False)
class WrittenPage:
    """One page, and what its maker should know of its lines."""

    page: PlotPage

    squeezed: int
    """Lines narrowed to stay in their box."""

    meeting: Counter[str]
    """Lines that run into the next one, by the box that they stand in."""


def line_effects(rng: np.random.Generator, n: int, scatter: Scatter, life: Life, *, ruled: bool) -> LineEffects:
    """Draw what belongs to the n lines of one page."""
    level = scatter.line_level * life.of("level") * draw(rng, n)
    if not ruled:
        level = level + scatter.drift * life.of("drift") * ar1_noise(draw(rng, n), FOLLOWS)
    slope, tall, lean = (draw(rng, n) for _ in range(3))
    return LineEffects(
        level,
        np.tan(np.radians(scatter.line_slope_deg * life.of("slope") * slope)),
        np.exp(scatter.line_height * life.of("height") * tall),
        np.tan(np.radians(scatter.line_slant_deg * life.of("slant") * lean)),
    )


def write_page(
    number: int, texts: Sequence[tuple[SetText, Letters]], hand: Hand, rng: np.random.Generator
) -> WrittenPage:
    """Return one page with what there is to say of its lines.

    Parameters
    ----------
    number
        From 0; lines of other pages are left out.
    """
    blocks: list[tuple[Array, Index, Index, Index, Index, Index, tuple[str, ...]]] = []
    held: list[Array | None] = []
    meet: Counter[str] = Counter()
    squeezed, lines_before, words_before, letters_before = 0, 0, 0, 0
    for text, letters in texts:
        lines = [line for line in text.lines if line.page == number]
        if not lines:
            continue
        pen_mm = hand.pens_mm[text.box.pen - 1]
        effects = line_effects(rng, len(lines), hand.scatter, hand.settings.life, ruled=text.ruled)
        placed = _place(lines, letters, text.mm_per_unit)
        points, sizes, stroke_letter, point_line = _draw(placed, lines, letters, text, effects, hand)
        points, base, n = _inside(points, point_line, lines, text, pen_mm)
        squeezed += n
        breaks = np.diff([item.y_mm for item in lines], prepend=-np.inf) < 0
        column = np.cumsum(breaks.astype(np.int64))
        if hand.settings.life.strength > 0:
            first = np.searchsorted(stroke_letter, np.arange(len(placed.ids) + 1))
            points = keep_lines_apart(
                Inked(points, sizes, first, placed.line, base[placed.line]),
                x_height_mm=hand.font.metrics.x_height * text.mm_per_unit,
                pen_mm=pen_mm,
            )
            if not text.ruled and not any(box.blank for box in hand.settings.boxes):
                bottom = text.box.y_mm + text.box.height_mm - pen_mm / 2
                points = lowered(points, sizes, placed.line[stroke_letter], column, pen_mm=pen_mm, bottom_mm=bottom)
        meet[text.box.told] += meeting(points, sizes, placed.line[stroke_letter], column, pen_mm=pen_mm)
        word = np.unique(np.column_stack([placed.line, placed.word]), axis=0, return_inverse=True)[1].reshape(-1)
        blocks.append((
            points, sizes, placed.line[stroke_letter] + lines_before, word[stroke_letter] + words_before,
            stroke_letter + letters_before, np.full(len(sizes), text.box.pen, np.int64),
            tuple(letters.chars[i] for i in placed.ids),
        ))  # fmt: skip
        held.append(None if letters.held is None else letters.held[placed.ids])
        lines_before += len(lines)
        words_before += int(word.max()) + 1 if len(word) else 0
        letters_before += len(placed.ids)

    def joined(k: int, kind: type) -> np.ndarray:
        return np.concatenate([b[k] for b in blocks]) if blocks else np.zeros(0, kind)

    sizes = joined(1, np.int64)
    page = PlotPage(
        number + 1, hand.settings.size_mm, hand.settings.margins_mm,
        joined(0, float).reshape(-1, 2), np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        joined(2, np.int64), joined(3, np.int64), joined(4, np.int64), joined(5, np.int64),
        tuple(c for b in blocks for c in b[6]), hand.settings.pens, hand.measured_pen_mm, hand.font.record.family,
        held=None if any(h is None for h in held) or not held else np.concatenate([h for h in held if h is not None]),
    )  # fmt: skip
    return WrittenPage(page, squeezed, +meet)


def _place(lines: Sequence[SetLine], letters: Letters, u: float) -> _Placed:
    """Return where the pen origin of each inked letter of these lines stands."""
    reach, gaps = reach_of(letters.advance), reach_of(letters.gap)
    words = np.cumsum(~letters.inked)
    ids, x, of, word = [], [], [], []
    for k, line in enumerate(lines):
        if line.mark is not None:
            at = np.arange(*line.mark)
            ids.append(at)
            x.append(line.mark_x_mm + (reach[at] - reach[line.mark[0]]) * u)
            of.append(np.full(len(at), k))
            word.append(words[at])
        at = np.arange(line.start, line.end)
        word.append(words[at])
        ids.append(at)
        x.append(
            line.x_mm + (reach[at] - reach[line.start]) * line.narrow * u + line.stretch * (gaps[at] - gaps[line.start])
        )
        of.append(np.full(len(at), k))
        if line.hyphen >= 0:
            long = (reach[line.end] - reach[line.start]) * line.narrow * u
            ids.append(np.array([line.hyphen]))
            x.append(np.array([line.x_mm + long + line.stretch * (gaps[line.end] - gaps[line.start])]))
            of.append(np.array([k]))
            word.append(words[line.end - 1 : line.end])
    all_ids = np.concatenate(ids)
    ink = letters.inked[all_ids]
    return _Placed(all_ids[ink], np.concatenate(x)[ink], np.concatenate(of)[ink], np.concatenate(word)[ink])


def _draw(
    placed: _Placed, lines: Sequence[SetLine], letters: Letters, text: SetText, effects: LineEffects, hand: Hand
) -> tuple[Array, Index, Index, Index]:
    """Return control points (mm), path sizes, the letter of each path and the line of each point."""
    bank, x_height, u = hand.bank, hand.font.metrics.x_height, text.mm_per_unit
    ids, line = placed.ids, placed.line
    shape, other, share = letters.shape[ids], letters.other[ids], letters.share[ids]
    count = bank.column("count")[shape].astype(np.int64)
    total = int(count.sum())
    within = np.arange(total) - np.repeat(np.cumsum(count) - count, count)

    def gathered(which: Index) -> Array:
        return np.asarray(bank.points[np.repeat(bank.column("start")[which].astype(np.int64), count) + within], float)

    def each(of_letters: Array) -> Array:
        return np.repeat(of_letters, count)

    mix = each(share)[:, None]
    local = (1 - mix) * gathered(shape) + mix * gathered(other)

    narrow = np.array([item.narrow for item in lines])[line]
    left = bank.column("left")[shape]
    foot, top = bank.column("foot")[shape], bank.column("top")[shape]
    px, py = local[:, 0], local[:, 1]
    up = (py - each(foot)) / each(np.maximum(top - foot, 0.2 * x_height))
    x = (each(left) + (px - each(left)) * each(letters.wide[ids])) * each(narrow)
    x += each(letters.bend[ids]) * x_height * 4 * up * (1 - up)
    y = py * each(letters.tall[ids] * effects.tall[line])
    x += each(letters.lean[ids] + effects.lean[line]) * (y - 0.5 * x_height)
    rise = letters.foot[ids] + effects.level[line] * x_height
    if not text.ruled:
        rise = rise + letters.drift[ids]
    y += each(rise)

    x_mm = each(placed.x_mm) + x * u
    # about the middle of what the line holds, so that slope and level stay apart
    held = np.bincount(line, minlength=len(lines))
    middle = each((np.bincount(line, placed.x_mm, len(lines)) / np.maximum(held, 1))[line])
    base = np.array([item.y_mm for item in lines])[line]
    y_mm = each(base) - y * u - each(effects.slope[line]) * (x_mm - middle)

    strokes = bank.column("stroke_count")[shape].astype(np.int64)
    nth = np.arange(int(strokes.sum())) - np.repeat(np.cumsum(strokes) - strokes, strokes)
    sizes = bank.sizes[np.repeat(bank.column("stroke_start")[shape].astype(np.int64), strokes) + nth]
    stroke_letter = np.repeat(np.arange(len(ids)), strokes)
    points = np.column_stack([x_mm, y_mm])
    if hand.settings.life.of("variants") > 0:
        kind = kinds([letters.chars[i] for i in ids], count)
        points = separate_repeats(points, kind, count, line, x_height * u)
    return points, sizes, stroke_letter, np.repeat(line, count)


def _inside(
    points: Array, line: Index, lines: Sequence[SetLine], text: SetText, pen_mm: float
) -> tuple[Array, Array, int]:
    """Return the points with every line inside the box, the y of each line, and how many were squeezed by over 2 %.

    A line that pokes out is moved; one that is too long for the box, or too tall, is squeezed.
    """
    stands = np.array([item.y_mm for item in lines])
    if not len(points):
        return points, stands, 0
    begins = np.flatnonzero(np.concatenate([[True], np.diff(line) != 0]))
    which, per_line = line[begins], np.diff(np.concatenate([begins, [len(line)]]))
    low, high = np.minimum.reduceat(points, begins), np.maximum.reduceat(points, begins)
    box = text.box
    half = min(pen_mm / 2, box.width_mm / 4, box.height_mm / 4)
    # across, a line has the stretch that areas kept blank leave it
    left, right = np.array([(lines[k].left_mm, lines[k].right_mm) for k in which], float).T
    corner = np.column_stack([left + half, np.full(len(which), box.y_mm + half)])
    room = np.column_stack([right - left - 2 * half, np.full(len(which), box.height_mm - 2 * half)])
    # a line that begins inside keeps its beginning and is narrowed; else it is moved
    start = np.maximum(low, corner)
    base = np.column_stack([start[:, 0], stands[which]])
    scale = np.ones_like(low)
    scale[:, 0] = np.minimum(1.0, (corner[:, 0] + room[:, 0] - start[:, 0]) / np.maximum(high[:, 0] - low[:, 0], 1e-9))
    scale[:, 1] = np.minimum(1.0, room[:, 1] / np.maximum(high[:, 1] - low[:, 1], 1e-9))
    from_ = np.column_stack([low[:, 0], base[:, 1]])
    new_low = base + (low - from_) * scale
    new_high = base + (high - from_) * scale
    shift = np.maximum(corner - new_low, 0.0) - np.maximum(new_high - corner - room, 0.0)
    if not (np.any(scale < 1) or np.any(shift) or np.any(low < corner)):
        return points, stands, 0
    stands[which] += shift[:, 1]

    def each(of_lines: Array) -> Array:
        return np.repeat(of_lines, per_line, axis=0)

    out = each(base + shift) + (points - each(from_)) * each(scale)
    # rounding must not put anything out
    return np.clip(out, each(corner), each(corner + room)), stands, int((scale < 0.98).any(axis=1).sum())
