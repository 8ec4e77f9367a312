"""The white between letters and between words: how it varies, and what it never does."""

from __future__ import annotations

import numpy as np

from fontbuild.font import Font
from fontbuild.spacing import TIGHT, WHITE
from ownhand.composer.glyphs.variant_bank import Index, VariantBank
from ownhand.composer.settings.life import Life
from ownhand.composer.text.characters import SPACE
from ownhand.composer.variation.glyph_measurements import BAND_MIDDLES
from ownhand.composer.variation.handwriting_statistics import Array, Scatter
from ownhand.composer.variation.noise import MOST, draw

NEAREST = 0.02
"""x-heights that stay white between the ink of neighbours when a gap is narrowed."""

TOUCH, APART = 0.1, 0.3
"""Pen widths between the lines of neighbouring letters at least, in a hand that writes as closely as the first figure
of `fontbuild.spacing.TIGHT` and in one that writes as wide as the second: people's letters touch now and then. Twelve
writers (UNIPEN train_r01_v07, donors kai and art; Guyon et al., ICPR 1994): of those with less than .25 x-heights of
white, .48 of all neighbours are nearer than a pen's width and .24 nearer than half of it; of those with more than .4,
.09 and .03, composed .08 and .01 (with .25 and .9 for these figures, and .6 for `KEEP`, .03 and .00)."""

KEEP = 0.3
"""Share of the distance between two letters' lines, up to .6 x-heights of it, that is left at least: two stems stand
farther apart than two bowls, and no hand lets them meet as easily. Of the same writers' pairs of stems .03 are nearer
than half a pen's width and .20 nearer than a pen's, composed .05 and .17 (with .6 here, and wider floors, .03 and
.11); of pairs of bowls .12 and .27, composed .06 and .21 (.04 and .14)."""

MARKS_KEEP = 0.8
"""Share of the white about punctuation that is left of it at least: dots run together otherwise."""

YIELDS = 0.13
"""Share of what a letter is wider than others of its kind by which the gaps beside it are narrower, on each side: the
next letter waits for its turn, not for the end of a tail. In twelve writers (kai and art, as above) gaps fall by .24
and .23 of the width of the letter before and after (.09 to .43, .07 to .43); by their shapes' white alone, composed
ones did by .09 and .12."""

HANGS = 0.2
"""x-heights by which a gap between two letters' boxes may differ from others because one hangs over the other."""

WIDEST = 0.66
"""Share of the word gap that a gap inside a word may reach when it is widened: words must not fall apart."""

MOST_WIDENING = 1.5
"""How much more scatter of gaps may be drawn to make up for what their limits take."""

NARROWEST_SPACE = 0.62
"""Share of the space that is left of it at least."""

LEAST_SPACE = 0.62
"""x-heights of a space that are left at least, where the hand's own is as wide: less, and two words read as one."""

GAMMA = 12.0
"""Shape of the distribution of gaps: skewness 0.6."""


def space(font: Font, scatter: Scatter, bank: VariantBank) -> float:
    """Return the advance of a space: the hand's own where it was measured."""
    x = font.metrics.x_height
    own = font.glyphs[SPACE][0].advance if SPACE in font.glyphs else 1.2 * x
    if scatter.word_gap is None:
        return own
    letter_gap = font.rhythm["letter_gap"] + font.metrics.pen_width if "letter_gap" in font.rhythm else 0.2 * x
    return max(0.4 * x, scatter.word_gap * x - letter_gap)


def nearest(font: Font) -> float:
    """Return how many pen widths stay between the lines of neighbouring letters."""
    white = font.rhythm.get("letter_white", WHITE * font.metrics.x_height) / font.metrics.x_height
    return float(np.interp(white, TIGHT, (TOUCH, APART)))


def clearance(
    bank: VariantBank, shape: Index, wide: Array, lean: Array, left: Array, advance: Array, x: float
) -> Array:
    """Return how near the ink of neighbours comes at any height, shape (n - 1,); inf where they never face."""
    ours = bank.right_edges[shape[:-1]]
    theirs = bank.left_edges[shape[1:]]
    over = (BAND_MIDDLES - 0.5) * x
    ours = left[:-1, None] + (ours - left[:-1, None]) * wide[:-1, None] + lean[:-1, None] * over
    theirs = left[1:, None] + (theirs - left[1:, None]) * wide[1:, None] + lean[1:, None] * over
    # what lies one band higher or lower is near as well
    theirs = np.minimum(theirs, np.minimum(_shifted(theirs, 1), _shifted(theirs, -1)))
    return np.asarray((advance[:-1, None] + theirs - ours).min(axis=1), float)


def _shifted(bands: Array, by: int) -> Array:
    out = np.full_like(bands, np.inf)
    if by > 0:
        out[:, by:] = bands[:, :-by]
    else:
        out[:, :by] = bands[:, -by:]
    return out


def leaning_edges(bank: VariantBank, shape: Index, lean: Array, x: float) -> tuple[Array, Array]:
    """Return by how much the left and the right edge of each letter's box move to the right as it leans.

    Both of shape (n,), font units. What hangs under the line moves the other way.
    """
    if not len(bank.left_edges):  # nothing but spaces
        return np.zeros(len(shape)), np.zeros(len(shape))
    over = lean[:, None] * (BAND_MIDDLES - 0.5) * x
    left, right = bank.left_edges[shape], bank.right_edges[shape]
    with np.errstate(invalid="ignore"):
        moved = (left + over).min(axis=1) - left.min(axis=1), (right + over).max(axis=1) - right.max(axis=1)
    return np.nan_to_num(moved[0]), np.nan_to_num(moved[1])


def words_apart(
    inked: np.ndarray, gaps: Array, left: Array, after: Array, advance: Array, space: float, x: float
) -> Array:
    """Return what is added to spaces so that the letters on both sides, too, stand as far apart as words must.

    All arrays have shape (letters,), lengths in font units. inked: whether the letter leaves ink; gaps: 1 for
    spaces; left, after: white before and after each letter's ink; space: the font's space; x: its x-height.
    """
    out = np.zeros(len(inked))
    at = np.flatnonzero((gaps[1:-1] > 0) & inked[:-2] & inked[2:]) + 1
    white = after[at - 1] + advance[at] + left[at + 1]
    out[at] = np.maximum(0.0, min(space + 0.2 * x, LEAST_SPACE * x) - white)
    return out


def even(letter: np.ndarray, left: Array, after: Array, x: float, scatter: Scatter) -> Array:
    """Return what is added to the white between neighbouring letters of a hand whose pairs differ less than the font's.

    What hangs far over or under its neighbour, a j or f, stays. All arrays have shape (letters,), lengths in font
    units. letter: False for spaces and signs; left, after: white before and after each letter's ink.
    """
    out = np.zeros(len(letter))
    pair = letter[:-1] & letter[1:]
    if scatter.pair_share >= 1.0 or not pair.any():
        return out
    white = after[:-1] + left[1:]
    off = np.clip(white - np.median(white[pair]), -HANGS * x, HANGS * x)
    off -= off[pair].mean()
    out[:-1] = np.where(pair, (scatter.pair_share - 1.0) * off, 0.0)
    return out


def yielding(wider: Array, letter: np.ndarray, x: float) -> Array:
    """Return what is added to the white between neighbouring letters because of how wide these are; its mean is 0.

    All arrays have shape (letters,), lengths in font units. wider: by how much than others of their kind; letter: False
    for spaces and signs; x: the x-height.
    """
    beside = letter & np.append(letter[1:], False)
    if not beside.any():
        return np.zeros(len(wider))
    out = -YIELDS * np.clip(wider, -x, x)
    out += np.append(out[1:], 0.0)
    return np.asarray(np.where(beside, out - out[beside].mean(), 0.0), float)


def gap_scatter(
    inked: np.ndarray,
    left: Array,
    after: Array,
    least: Array,
    space: float,
    x: float,
    scatter: Scatter,
    life: Life,
    rng: np.random.Generator,
) -> Array:
    """Return what is added to the white between neighbouring letters, less what their pairing gives already.

    Gaps widen further than they narrow: letters may all but touch, but none is written over another.

    Arrays have shape (letters,), lengths in font units; see `words_apart`. inked: whether a letter has ink; least: the
    narrowest white of a pair.
    """
    n = len(inked)
    shape = GAMMA
    skewed = np.clip((rng.gamma(shape, 1.0, n) - shape) / np.sqrt(shape), -MOST, MOST)
    words = np.cumsum(~inked)
    of_word = draw(rng, int(words[-1]) + 1 if n else 0)
    if n < 2:
        return np.zeros(n)
    z = np.sqrt(1 - scatter.gap_word_share) * skewed + np.sqrt(scatter.gap_word_share) * of_word[words]
    pair = inked[:-1] & inked[1:]
    white = after[:-1] + left[1:]
    add = scatter.letter_gap * x * life.of("letter_gap")
    most = np.maximum(WIDEST * (space + 0.2 * x) - white, 0.0)

    def limited(by: float, shift: float) -> Array:
        return np.where(pair, np.maximum(np.minimum(by * z[:-1] + shift, most), least[:-1]), 0.0)

    # the limits take away from the scatter and move its middle, so more is drawn, within reason, and moved back
    out = np.zeros(n)
    if add <= 0 or not pair.any():
        out[:-1] = limited(add, 0.0)
        return out
    wanted, by, shift = float(np.hypot(add, white[pair].std())), add, 0.0
    for _ in range(3):
        out[:-1] = limited(by, shift)
        drawn = out[:-1][pair]
        shift = max(shift - float(drawn.mean()), -0.1 * x)
        by = min(by * wanted / max(float((white[pair] + drawn).std()), 1e-9), MOST_WIDENING * add)
    out[:-1] = limited(by, shift)
    return out


def word_scatter(
    inked: np.ndarray, gaps: Array, space: float, x: float, scatter: Scatter, life: Life, rng: np.random.Generator
) -> Array:
    """Return what is added to the white between words.

    Arrays have shape (letters,), lengths in font units; see `words_apart`. inked: whether a letter has ink.
    """
    shape = 4.0
    z = np.clip((rng.gamma(shape, 1.0, len(inked)) - shape) / np.sqrt(shape), -MOST, MOST)
    sd = scatter.word_gap_share * (space + 0.2 * x) * life.of("word_gap")
    least = max(NARROWEST_SPACE * space, min(space, LEAST_SPACE * x))
    return np.where(gaps > 0, np.maximum(sd * z, least - space) * np.minimum(gaps, 1.0), 0.0)
