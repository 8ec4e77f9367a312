"""Letters of joined words: what they have in common, and how far the next one stands from each.

Lengths are font units; arrays have a row for each letter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from fontbuild.joins import LIFTED
from ownhand.composer.glyphs.variant_bank import Index
from ownhand.composer.layout.pose import Drawn
from ownhand.composer.variation.handwriting_statistics import Array

POSE = 0.3
"""Share of what is drawn for the pose of letters of joined words. They carry what the hand varies by, and where one was
cut from the next differs, so that they seem to vary by more. Four joined writers (UNIPEN train_r01_v07, donor cee;
Guyon et al., ICPR 1994), told from their own words by pictures: .67 with all of it, .60 with this, .58 with none."""

OUT_OF_STEP, FARTHEST = 0.6, 2.0
"""Share that is left of what the steps between letters differ by from the hand's own (`fontbuild.letter_steps`), where
the two were not written together, and in how many standard deviations of these at most. Where one letter was cut from
the next differs, so such steps scattered by 1.1 to 1.5 times as much as those of five writers' own words (UNIPEN, donor
kai; 1.0 to 1.15 since)."""

NEARER = 0.25
"""x-heights by which a letter comes nearer for that, at most, where the one before goes out into it: its line would
turn back."""

TIGHTEST = -0.05
"""x-heights of white between the boxes of letters at least where a hand that joins lifts its pen inside a word."""


def white_of_marks(white: Array, mark: np.ndarray, pen: float, x_height: float) -> Array:
    """Return the white between letters' boxes, shape (n - 1,), no less than a mark needs where one stands beside it.

    What a hand leaves where it lifts inside a word was told by letters, which may lie over each other. A full stop that
    does is gone: a pen's width and `LIFTED` are kept between it and the letter's line (common practice, no source).

    mark: shape (n,), whether a character is a mark and no letter or figure.
    """
    return np.asarray(np.where(mark[:-1] | mark[1:], np.maximum(white, pen + LIFTED * x_height), white), float)


def between_boxes(
    rhythm: Mapping[str, float], down: np.ndarray, scatter: float, life: float, x_height: float
) -> tuple[Array, Array]:
    """Return the white between letters' boxes where no written join decides, and its standard deviation.

    Both of shape (n - 1,). A line that leads on takes less room than a lift: the former is told by words' widths
    (`fontbuild.lifted_gap`), the latter by letters' places on ruled lines (`fontbuild.letters_on_lines`).

    Parameters
    ----------
    down
        Shape (n,): whether the pen stays down to the next letter.
    scatter
        Standard deviation of gaps, if nothing was measured.
    life
        How much of the hand's own scatter is wanted.
    """
    usual = rhythm.get("lifted_gap", LIFTED * x_height)
    lifted, own = rhythm.get("pen_up_gap", usual), life * rhythm.get("pen_up_gap_sd", 0.0)
    return np.where(down[:-1], usual, lifted), np.where(down[:-1], scatter, max(scatter, own))


def first_of_those(together: np.ndarray) -> Index:
    """Return for each letter the first of those that were written together with it.

    together: shape (n,), whether a letter and the next one were.
    """
    first = np.arange(len(together))
    for i in np.flatnonzero(together[:-1]) + 1:
        first[i] = first[i - 1]
    return first


def as_joined(pose: Drawn, running: np.ndarray, first: Index) -> Drawn:
    """Return what is drawn for letters, less for those of joined words; what was written together has it in common.

    running: shape (n,), whether a letter is one that the hand wrote in joined words.
    first: shape (n,); see `first_of_those`.
    """
    add = np.where(running, POSE * pose.add[first], pose.add)
    return replace(pose, add=add, keep=np.where(running, 1.0, pose.keep))


def by_joins(
    held: np.ndarray, inked: np.ndarray, has_join: np.ndarray, left: Array, right: Array, ends: Array, wides: Array,
    white: Array, least: float,
) -> Array:  # fmt: skip
    """Return the advance of each letter but the last that joins decide, shape (n - 1,); nan where they do not.

    Where the pen stays down the next letter's entry, its origin, stands where this one goes out; where it is lifted
    beside a letter that was written joined, their boxes keep a little white, more here and less there.

    Parameters
    ----------
    held, inked, has_join
        Shape (n,): whether the pen stays down to the next letter, whether there is ink, whether the shape was joined.
    left, right, ends, wides
        Shape (n,): the edges of the letters, where they go out, and the factor of their width.
    white
        Shape (n - 1,): between boxes where the pen is lifted.
    least
        Of an advance where the pen stays down.
    """
    origin = left[1:] - left[1:] * wides[1:]
    lifted = inked[:-1] & inked[1:] & (has_join[:-1] | has_join[1:])
    apart = np.where(lifted, right[:-1] + white - left[1:], np.nan)
    return np.asarray(np.where(held[:-1], np.maximum(ends[:-1] - origin, least), apart), float)


def in_step(
    advance: Array, down: np.ndarray, together: np.ndarray, letter: np.ndarray, middle: Array, spread: Array,
    closest: Array, rhythm: Mapping[str, float],
) -> Array:  # fmt: skip
    """Return the advance of each letter but the last, with less of what is odd in the steps between letters' middles.

    Where the pen is lifted the mean stays: the letters' places on ruled lines tell it. Of those that it goes on to
    from a letter of another word the mean becomes the hand's own, for letters that suit each other stand wider.

    Parameters
    ----------
    advance
        Shape (n - 1,); nan where joins do not decide.
    down, together, letter
        Shape (n,): whether the pen stays down to the next letter; whether both were so written, one after the other;
        False for spaces and signs.
    middle, spread
        Shape (n,): mean and standard deviation of x of each letter's ink.
    closest
        Shape (n - 1,): the advance is made no less than this.
    rhythm
        The hand's own steps; nothing is changed where it lacks them.
    """
    if "step" not in rhythm:
        return advance
    most = FARTHEST * rhythm["step_sd"]
    off = advance + middle[1:] - middle[:-1] - rhythm["step"] - rhythm["step_share"] * (spread[:-1] + spread[1:])
    by = OUT_OF_STEP * np.clip(off, -most, most) - off
    concerned = letter[:-1] & letter[1:] & np.isfinite(advance)
    lifted = concerned & ~down[:-1]
    if lifted.any():
        by[lifted] -= by[lifted].mean()
    strange = concerned & down[:-1] & ~together[:-1]
    if strange.any():
        by[strange] -= (off + by)[strange].mean()
    return np.where(concerned, np.maximum(advance + by, np.minimum(advance, closest)), advance)
