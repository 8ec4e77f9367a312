"""The letters of a text as they will be written: their shapes, and what is particular to each of them.

Lengths are font units, so that nothing here depends on the size of the writing. One row for each character of the
text, in writing order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fontbuild.font import Font
from fontbuild.joins import LIFTED, STEP
from ownhand.composer.glyphs.joined_words import JoinedWords
from ownhand.composer.glyphs.variant_bank import Index, VariantBank
from ownhand.composer.glyphs.variant_selector import VariantSelector
from ownhand.composer.layout.joined_letters import (
    NEARER,
    TIGHTEST,
    as_joined,
    between_boxes,
    by_joins,
    first_of_those,
    in_step,
    white_of_marks,
)
from ownhand.composer.layout.letterspacing import (
    KEEP,
    MARKS_KEEP,
    NEAREST,
    clearance,
    even,
    gap_scatter,
    leaning_edges,
    nearest,
    space,
    word_scatter,
    words_apart,
    yielding,
)
from ownhand.composer.layout.pose import Drawn, draw_poses, on_the_line
from ownhand.composer.plot.delayed_strokes import GAP_SHARE
from ownhand.composer.settings.life import Life
from ownhand.composer.text.characters import SPACE, TAB
from ownhand.composer.variation.handwriting_statistics import Array, Scatter
from ownhand.composer.variation.noise import ar1_noise, draw, pink_noise

TREND = 0.11
"""What measuring about the fitted slope of a line, and letters in between that hang below it, take off the correlation
of neighbours; measured on our pages."""

MOST_MEMORY = 0.7
"""Memory of the feet is never more, or whole words would climb."""

DOUBLES = (0.09, 3.0)
"""Least difference of doubled letters in height, as a share, and in lean, in degrees."""

COMMA, LARGEST_COMMA = 2.0, 1.8
"""Pen widths that a comma is high at least, and how much it is enlarged for that at most."""

BEND = 0.05
"""Curving of shapes that cannot be blended, as share of the x-height: they would come back otherwise."""


@dataclass(frozen=True, eq=False)
class Letters:
    """Shapes and effects of n characters; every array has shape (n,)."""

    chars: tuple[str, ...]
    shape: Index
    other: Index
    share: Array
    """How much of the second shape is mixed in."""

    inked: np.ndarray
    """False for spaces and gaps."""

    advance: Array
    """To the pen origin of the next: width, kerning and gap with their scatter."""

    gap: Array
    """Width of a space in word gaps, 0 for all else."""

    foot: Array
    """Added to y."""

    tall: Array
    """Factor of y, about the line."""

    wide: Array
    """Factor of x, from the left edge of the ink."""

    lean: Array
    """Tangent added to the slope of the stems."""

    bend: Array
    """Share of the x-height by which the letter curves."""

    drift: Array
    """Slow wander, added to y on unruled paper."""

    held: np.ndarray | None = None
    """Where the pen stays down to the next letter; None where it is not known and nearness decides."""

    together: np.ndarray | None = None
    """... and both were so written, one after the other."""


def make_letters(
    chars: Sequence[str],
    gaps: Sequence[float],
    *,
    font: Font,
    bank: VariantBank,
    chooser: VariantSelector,
    scatter: Scatter,
    life: Life,
    rng: np.random.Generator,
    pen: float | None = None,
    goes_on: bool = False,
    joined: JoinedWords | None = None,
) -> Letters:
    """Return the letters of a text.

    Parameters
    ----------
    chars
        Characters of the font, SPACE, TAB, or '' for a gap where one is missing.
    gaps
        Width of each space, in word gaps.
    pen
        Width of the pen at the size of the writing, font units; None: as measured.
    goes_on
        Whether the pen goes on from letter to letter, which then stand where it takes them.
    joined
        Chooses the shapes, instead of `chooser`, where it is known how the hand joins.
    """
    n = len(chars)
    lifted_sd = scatter.letter_gap * life.of("letter_gap")
    if goes_on:
        scatter = replace(scatter, letter_gap=GAP_SHARE * scatter.letter_gap)
    x = font.metrics.x_height
    pen = font.metrics.pen_width if pen is None else pen
    inked = np.array([c not in (SPACE, TAB, "") for c in chars], bool)
    shape, other, share = np.zeros(n, np.int64), np.zeros(n, np.int64), np.zeros(n)
    held = together = down = None
    if joined is not None:
        picked = joined.choose(chars, inked)
        shape, other, share, held, together = picked.shape, picked.other, picked.share, picked.held, picked.together
        down = held | picked.led
    else:
        found = chooser.choose([c for c, ink in zip(chars, inked, strict=True) if ink])
        shape[inked], other[inked], share[inked] = found
    bank.settle()

    def mixed(name: str) -> Array:
        column = bank.column(name)
        if not len(column):
            return np.zeros(n)
        return np.where(inked, (1 - share) * column[shape] + share * column[other], 0.0)

    blended = float(np.mean((1 - share) ** 2 + share**2)) if share.any() else 1.0
    foot, tall, wide, lean = draw_poses(
        chars, inked, bank=bank, scatter=scatter, x_height=x, blended=blended, life=life, rng=rng
    )
    first = None
    if together is not None:
        first = first_of_those(together)
        has_join = (mixed("entry") > 0) | (mixed("exit") > 0)
        mostly = joined is not None and joined.mostly
        running = np.array([mostly and ink and bank.pools[c].joins for c, ink in zip(chars, inked, strict=True)], bool)
        foot, tall, wide, lean = (as_joined(p, running, first) for p in (foot, tall, wide, lean))
    memory = min(MOST_MEMORY, scatter.foot_memory + TREND) if scatter.foot_memory > 0 else 0.0
    feet = _feet(chars, bank, inked, mixed("foot_off"), foot, memory, rng)
    feet = feet if first is None else feet[first]
    levelled = min(1.0, life.of("foot")) * on_the_line(chars, bank, scatter, x)
    # what was written together stays as it was
    feet += levelled if together is None else np.where(together | np.append(False, together[:-1]), 0.0, levelled)
    talls = np.exp(tall.add) / (1 + (1 - tall.keep) * np.clip(mixed("height_off"), -0.5, 1.0))
    wides = np.exp(wide.add) / (1 + (1 - wide.keep) * np.clip(mixed("width_off"), -0.5, 1.0))
    degrees = lean.add - (1 - lean.keep) * mixed("lean_off")
    grown = _commas(chars, mixed("top") - mixed("foot"), pen)
    talls, wides = talls * grown, wides * grown
    _set_doubles_apart(chars, talls, degrees, 1 + mixed("height_off"), mixed("lean_off"), life)
    alone = mixed("alone") * min(1.0, life.of("variants"))

    left, right = mixed("left"), mixed("right")
    after = mixed("advance") - right
    advance = left + (right - left) * wides + after
    kern = np.zeros(n)
    if font.kerning:
        get = font.kerning.get
        kern[:-1] = [get(pair, 0.0) for pair in pairwise(chars)]
    word_space = space(font, scatter, bank)
    advance = np.where(inked, advance, word_space * np.where(np.array(gaps) > 0, gaps, 1.0))
    if n > 1 and inked.any():
        advance[:-1] += kern[:-1]
    white = after + kern
    # gaps are those of the boxes as they lean
    leaning = leaning_edges(bank, shape, np.tan(np.radians(degrees)), x) if n else (left, left)
    box_left, box_white = left + leaning[0], white - leaning[1]
    letter = inked & np.array([c.isalpha() for c in chars], bool)
    yields = yielding((right - left) * (wides - 1 / (1 + np.maximum(mixed("width_off"), -0.5))), letter, x)
    evened = even(letter, box_left, box_white, x, scatter) + yields
    # what widths tell of the gaps is no longer left to chance
    by_widths = float(yields @ yields) / max(n, 1) / x**2
    scatter = replace(scatter, letter_gap=float(np.sqrt(max(scatter.letter_gap**2 - by_widths, 0.0))))
    advance, white, box_white = advance + evened, white + evened, box_white + evened
    mark = np.array([not c.isalnum() for c in chars], bool)
    least = np.zeros(n)
    if n > 1 and inked.any():
        # neighbours keep a pen's width of white, or what the font gives them when that is less
        plain = clearance(bank, shape, np.ones(n), np.zeros(n), left, mixed("advance") + kern + evened, x)
        clear = clearance(bank, shape, wides, np.tan(np.radians(degrees)), left, advance, x)
        by_mark = np.maximum(pen + NEAREST * x, MARKS_KEEP * np.minimum(plain, 0.4 * x))
        by_letter = np.maximum(np.minimum(nearest(font) * pen + NEAREST * x, plain), KEEP * np.minimum(plain, 0.6 * x))
        floor = np.where(mark[:-1] | mark[1:], by_mark, by_letter)
        least[:-1] = floor - clear
        # where two never face each other, a quotation mark over the shoulder of a letter would let the next one run
        # into that letter: their boxes stay apart
        facing = np.isfinite(clear)
        least[:-1] = np.where(facing, least[:-1], np.where(mark[:-1] | mark[1:], -white[:-1] - left[1:], -np.inf))
    advance += gap_scatter(inked, box_left, box_white, least, word_space, x, scatter, life, rng)
    advance += word_scatter(inked, np.array(gaps), word_space, x, scatter, life, rng)
    advance += words_apart(inked, np.array(gaps), left, white, advance, word_space, x) if n > 2 else 0.0
    if held is not None and down is not None and together is not None and n > 1:
        ends = left + (mixed("exit_x") - left) * wides
        usual, differ = between_boxes(font.rhythm, down, lifted_sd * x, life.of("letter_gap"), x)
        lifted = np.maximum(TIGHTEST * x, usual + yields[:-1] + differ * draw(rng, n - 1))
        lifted = white_of_marks(lifted, mark, pen, x)
        joined_advance = by_joins(
            held, inked, has_join, left, left + (right - left) * wides, ends, wides, lifted, STEP * x
        )
        # a join that was written is not turned back, a line that leads on has room
        closest = left[:-1] + (right - left)[:-1] * wides[:-1] + TIGHTEST * x - left[1:]
        closest = np.where(held[:-1], joined_advance - NEARER * x, closest)
        middle, spread = left + (mixed("middle") - left) * wides, mixed("spread") * wides
        joined_advance = in_step(joined_advance, down, together, letter, middle, spread, closest, font.rhythm)
        joined_advance = np.where(together[:-1], ends[:-1] - (left[1:] - left[1:] * wides[1:]), joined_advance)
        advance[:-1] = np.where(np.isfinite(joined_advance), joined_advance, advance[:-1])
        ends_word = inked[:-1] & ~inked[1:] & has_join[:-1]
        beyond = left[:-1] + (right - left)[:-1] * wides[:-1] + LIFTED * x
        advance[:-1] = np.where(ends_word, np.maximum(advance[:-1], beyond), advance[:-1])
        before_word = ~inked[:-1] & inked[1:] & has_join[1:]
        advance[:-1] -= np.where(before_word, np.minimum(left[1:], 0.0), 0.0)
    return Letters(
        tuple(chars), shape, other, share, inked, np.maximum(advance, 0.02 * x), np.array(gaps, float),
        feet, talls, wides, np.tan(np.radians(np.clip(degrees, -30, 30))),
        BEND * alone * draw(rng, n), scatter.drift * x * life.of("drift") * pink_noise(rng, n), down, together,
    )  # fmt: skip


def _commas(chars: Sequence[str], height: Array, pen: float) -> Array:
    """Return how much larger commas are written so that, in small writing with the same pen, none looks like a dot."""
    is_comma = np.array([c == "," for c in chars], bool)
    return np.where(is_comma, np.clip(COMMA * pen / np.maximum(height, 1e-9), 1.0, LARGEST_COMMA), 1.0)


def _set_doubles_apart(
    chars: Sequence[str], tall: Array, lean_deg: Array, own_tall: Array, own_lean: Array, life: Life
) -> None:
    """Make doubled letters differ by at least `DOUBLES` in height and lean, their shapes' own included.

    Changes `tall` and `lean_deg` in place.
    """
    by_height = np.log1p(DOUBLES[0]) * min(1.0, life.of("height"))
    by_lean = DOUBLES[1] * min(1.0, life.of("slant"))
    written = [k for k, c in enumerate(chars) if c not in (SPACE, TAB, "")]
    for h, i in ((h, i) for h, i in pairwise(written) if chars[h] == chars[i] and chars[i].isalpha()):
        apart = float(np.log(tall[i] * own_tall[i] / (tall[h] * own_tall[h])))
        if abs(apart) < by_height:
            tall[i] *= np.exp(np.copysign(by_height, apart) - apart)
        apart = float(lean_deg[i] + own_lean[i] - lean_deg[h] - own_lean[h])
        if abs(apart) < by_lean:
            lean_deg[i] += np.copysign(by_lean, apart) - apart


def _feet(
    chars: Sequence[str], bank: VariantBank, inked: np.ndarray, own: Array, foot: Drawn, memory: float,
    rng: np.random.Generator,
) -> Array:  # fmt: skip
    """Return what is added to the letters' feet so that each remembers the one before, over spaces too.

    What was written cell by cell has no neighbour to remember. So a letter's own foot is what is new in a series with
    a memory, and the remembered foot of the letter before comes on top. Of letters that hang below the line or stand
    over it, the lowest point says nothing about the line, and they only pass on what they remember.

    Parameters
    ----------
    own
        Shape (n,): how far the foot of each shape lies from the mean of its character.
    """
    stands = np.array([ink and bank.pools[c].stands for c, ink in zip(chars, inked, strict=True)], bool)
    new = np.where(stands, foot.keep * own + foot.add, foot.sd * draw(rng, len(chars)))
    feet = np.where(stands, 0.0, foot.keep * own) - own
    feet[inked] += ar1_noise(new[inked], memory)
    return feet
