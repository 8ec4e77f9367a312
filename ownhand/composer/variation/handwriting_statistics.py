"""How much a hand varies: figures to aim at, and what a font's own variants carry of them already.

The general figures are measured in UNIPEN train_r01_v07 (Guyon, Schomaker, Plamondon, Liberman and Janet, "UNIPEN
project of on-line data exchange and recognizer benchmarks", ICPR 1994; doi 10.5281/zenodo.1195803): those of letters
and of the white between them on fifteen writers whose letters are marked (donors kai, art; 144 to 937 letters each;
every second writer kept aside, both halves agree within a sixth), those of whole lines on two writers of sentences
(art03, art08). A hand's own figures go first, and the general ones only fill what nothing in it tells.

Definitions, for a written letter: *foot* is its lowest point over the line, for characters that stand on it; *height*
and *width* are those of its ink; *lean* is the mean direction of its steps within 40 degrees of the vertical, by
length. The means of its character are taken off foot and lean, and height and width are divided by them. Gaps are
those between the middles of the ink's lines, about what suits the pair of letters.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fontbuild.font import Font
from fontbuild.glyph import Glyph
from ownhand.composer.variation.glyph_measurements import measure_glyphs

Array = NDArray[np.float64]


ENOUGH = 20
"""So many degrees of freedom of a hand's own attempts weigh as much as the general figures."""

CLOSE = (0.1, 0.15)
"""Who writes closely writes evenly: the scatter of white between letters is about the first figure, in x-heights, and
the second for every x-height of white that the hand leaves (the same writers, correlation .65)."""

PAIRS = 0.13
"""x-heights: standard deviation of the gaps between letters' boxes that pairs have by nature, in the same writers; for
fonts that do not tell by how much their own differ."""

LEAST_GAP_SCATTER = 0.03
"""x-heights: an even hand's; what is measured beside `PAIRS` tells no less."""

SHARES = {
    "word_height_share": 0.2, "word_width_share": 0.15, "word_slant_share": 0.17,
    "line_height_share": 0.1, "line_width_share": 0.1, "line_slant_share": 0.1,
}  # fmt: skip
"""Shares of the variance that words, and lines, are usually seen to have in common; see `Scatter`."""

SHARES_DIFFER, MOST_SHARE = 0.1, 0.45
"""Standard deviation of these shares from hand to hand, and what no hand is given more than."""

BEYOND = (0.6, 1.6)
"""Least and most of how much more letters of a text differ than the attempts."""

STANDS_WITHIN = 0.15
"""x-heights: a character whose mean foot is within this of the line stands on it."""


@dataclass(frozen=True)
class Scatter:
    """Standard deviations of a hand; lengths in x-heights, angles in degrees, heights and widths as shares."""

    foot: float = 0.105
    """About the line."""

    level: float | None = None
    """Where letters of which there are several attempts have their feet on the average, if they stand on the line; None
    where no letter was written several times."""

    foot_memory: float = 0.15
    """Correlation of a letter's foot with that of the letter before."""

    height: float = 0.14
    """Of all letters of a character, whatever word and line they stand in; so for the next two."""

    width: float = 0.20
    slant_deg: float = 4.7
    word_height_share: float = 0.2
    """Share of the variance of height that a whole word has in common. The letters of a word correlate, in the writers
    named above, by .23 in height, .18 in width, .20 in slant (the mean of fifteen; they differ by .14, .11, .14). What
    letters of one word owe to their line is in that; noise of measuring, which is much of the slant's scatter, takes
    away from it. With these shares the composed words of two of them correlate by .24, .21 and .15."""

    word_width_share: float = 0.12
    word_slant_share: float = 0.4
    line_height_share: float = 0.1
    """... and a whole line; so for the next two."""

    line_width_share: float = 0.1
    line_slant_share: float = 0.1

    line_level: float = 0.105
    """Of a whole line about its ruled place."""

    line_slope_deg: float = 0.45
    letter_gap: float = 0.165
    """Of the white between neighbouring letters, about what suits the pair."""

    pair_share: float = 1.0
    """What is left of the differences between pairs of letters in the font's spacing: an even hand has less."""

    gap_word_share: float = 0.2
    """Share of its variance that a whole word has in common: a word is written tight or wide."""

    word_gap_share: float = 0.3
    """As a share of the word gap."""

    word_gap: float | None = None
    """Mean white between words; None: the font's space."""

    beyond_attempts: tuple[float, float, float, float] = (1.0, 1.0, 1.0, 1.0)
    """How much more the letters of a text differ than the hand's attempts at them do, as factors of foot, height, width
    and slant: attempts share no word and no line, and those that are far off in size were set aside."""

    drift: float = 0.12
    """Slow wander of the line on unruled paper; our choice, no source."""

    margin: float = 0.35
    """Of the places where lines begin; our choice, no source."""

    @property
    def line_height(self) -> float:
        """Of the means of lines."""
        return float(np.sqrt(self.line_height_share)) * self.height

    @property
    def line_width(self) -> float:
        """Of the means of lines."""
        return float(np.sqrt(self.line_width_share)) * self.width

    @property
    def line_slant_deg(self) -> float:
        """Of the means of lines."""
        return float(np.sqrt(self.line_slant_share)) * self.slant_deg


DRAWN = Scatter(foot=0.075, height=0.1, width=0.15, slant_deg=4.2, letter_gap=0.12)
"""For fonts that were drawn, in which no letter has two shapes. Nothing tells of a hand there, and drawn letters are
even, so these are the means of more people: the fifteen above, 39 who wrote the alphabet several times (DigiLeTs;
Fabi, Otte, Wiese and Butz 2020), five of UJI Pen Characters 2 (Llorens et al., LREC 2008): height .138, .088, .106,
width .197, .134, .127, slant 4.4, 4.1, 4.5 degrees. Feet and gaps, which letters written alone do not tell, are less by
as much as height is."""


def scatter_of(font: Font) -> Scatter:
    """Return the figures for a hand: its own, and the general ones as far as nothing in the hand tells."""
    x = font.metrics.x_height
    squares, freedom, level = _own(font)
    rhythm: Mapping[str, float] = font.rhythm
    plain, changes = Scatter() if freedom.any() or rhythm else DRAWN, dict[str, float]()
    for key in SHARES:
        if key in rhythm:
            changes[key] = _share(rhythm[key], rhythm[f"{key}_error"], SHARES[key], getattr(plain, key))
    general = np.array([plain.foot * x, plain.height, plain.width, plain.slant_deg])
    # by their logarithms: hands differ in this by factors
    found = np.sqrt(np.divide(squares, freedom, out=general**2, where=(freedom > 0) & (squares > 0)))
    share = freedom / (freedom + ENOUGH)
    common = [sum(changes.get(f"{of}_{name}_share", getattr(plain, f"{of}_{name}_share")) for of in ("word", "line"))
              for name in ("height", "width", "slant")]  # fmt: skip
    # letters of cells have no word or line in common
    own = (found / np.sqrt(1.0 - np.array([0.0, *common]))) ** share * general ** (1 - share)
    text = np.array([rhythm.get(name, np.nan) for name in ("height_sd", "width_sd", "slant_sd")])
    seen = rhythm.get("letters_seen", 0.0)
    told = np.where(np.isfinite(text) & (text > 0), seen / (seen + ENOUGH), 0.0)
    own[1:] = np.where(told > 0, text, 1.0) ** told * own[1:] ** (1 - told)
    changes |= {"foot": own[0] / x, "height": own[1], "width": own[2], "slant_deg": own[3]}
    beyond = np.clip(own / (found**share * general ** (1 - share)), *BEYOND)
    if "foot_sd" in rhythm:
        changes["foot"] = rhythm["foot_sd"] / x
    changes["letter_gap"] = _gap_scatter(rhythm, x, plain.letter_gap)
    changes["pair_share"] = _pair_share(rhythm, x)
    if "word_gap" in rhythm:
        # measured between inks; here gaps are counted between the lines that the pen's middle drew
        changes["word_gap"] = (rhythm["word_gap"] + font.metrics.pen_width) / x
    if "word_gap_sd" in rhythm and rhythm.get("word_gap", 0.0) > 0:
        changes["word_gap_share"] = rhythm["word_gap_sd"] / (rhythm["word_gap"] + font.metrics.pen_width)
    if "line_slope_sd_deg" in rhythm:
        changes["line_slope_deg"] = rhythm["line_slope_sd_deg"]
    if "line_level_sd" in rhythm:
        changes["line_level"] = rhythm["line_level_sd"] / x
    figures: dict[str, Any] = {name: float(value) for name, value in changes.items()}
    # feet are told by the copied lines themselves
    return replace(
        plain, **figures, level=None if level is None else level / x, beyond_attempts=(1.0, *beyond[1:].tolist())
    )


def _share(found: float, error: float, usual: float, general: float) -> float:
    """Return a share of the variance, the hand's own as far as it is surely known (see `SHARES`).

    Parameters
    ----------
    found, error
        What the hand's running text tells, and its standard error.
    usual
        What people's running text tells, seen likewise.
    general
        The share with which pages are composed that look so.
    """
    trust = SHARES_DIFFER**2 / (SHARES_DIFFER**2 + error**2)
    return float(np.clip(general * (1.0 + trust * (found / usual - 1.0)), 0.0, MOST_SHARE))


def _gap_scatter(rhythm: Mapping[str, float], x: float, general: float) -> float:
    """Return the scatter of gaps about what suits the pair, x-heights: the hand's own as far as it was seen.

    Gaps are measured in words of which no two letters touch. Of a hand whose letters often touch these are the even
    ones: the fewer there are, the more counts what hands have in common.
    """
    usual = CLOSE[0] + CLOSE[1] * rhythm["letter_white"] / x if "letter_white" in rhythm else general
    if "letter_gap_sd" not in rhythm:
        return usual
    # of all gaps; what pairs of letters differ by is in the font's spacing
    pairs = rhythm["pair_gap_sd"] / x if "pair_gap_sd" in rhythm else PAIRS
    noise = np.sqrt(max(0.0, (rhythm["letter_gap_sd"] / x) ** 2 - pairs**2))
    own = max(float(noise), LEAST_GAP_SCATTER)
    share = rhythm.get("letter_gap_share", 1.0)
    return float(own**share * usual ** (1 - share))


def _pair_share(rhythm: Mapping[str, float], x: float) -> float:
    """Return what is left of the differences between pairs so that all gaps scatter as the hand's own do, 0 to 1."""
    if "letter_gap_sd" not in rhythm or rhythm.get("pair_gap_sd", 0.0) <= 0:
        return 1.0
    own = np.sqrt(max(0.0, rhythm["letter_gap_sd"] ** 2 - (LEAST_GAP_SCATTER * x) ** 2))
    return float(min(1.0, own / rhythm["pair_gap_sd"]) ** rhythm.get("letter_gap_share", 1.0))


def own_scatter(font: Font) -> tuple[Array, Array]:
    """Return how foot, height, width and lean differ among a hand's attempts at the same character.

    Both of shape (4,): sums of squares about the characters' means (font units, shares, degrees), and degrees
    of freedom.
    """
    squares, freedom, _ = _own(font)
    return squares, freedom


def _own(font: Font) -> tuple[Array, Array, float | None]:
    """Return what `own_scatter` does, and the mean foot of the letters that stand on the line, font units."""
    squares, freedom = np.zeros(4), np.zeros(4)
    feet: list[float] = []
    x = font.metrics.x_height
    # built letters only say once more what their bases said
    letters = [
        [g for g in variants if g.strokes and not g.source.startswith("built")]
        for char, variants in font.glyphs.items()
        if char.isalpha()
    ]
    several = [written for written in letters if len(written) > 1]
    measured = iter(_measured([g for written in several for g in written]).tolist())
    for written in several:
        foot, top, left, right, lean = np.array([next(measured) for _ in written]).T
        height, width = top - foot, right - left
        feet += foot.tolist() if abs(foot.mean()) < STANDS_WITHIN * x else []
        for k, (values, use) in enumerate((
            (foot, abs(foot.mean()) < STANDS_WITHIN * x),
            (height / max(height.mean(), 0.25 * x), True),
            (width / max(width.mean(), 0.25 * x), True),
            (lean, not np.isnan(lean).any()),
        )):  # fmt: skip
            if use:
                squares[k] += float(((values - values.mean()) ** 2).sum())
                freedom[k] += len(written) - 1
    return squares, freedom, float(np.mean(feet)) if feet else None


def _measured(glyphs: Sequence[Glyph]) -> Array:
    """Return foot, top, left, right and lean of glyphs, shape (n, 5); those of one structure are measured together."""
    alike: dict[tuple[int, ...], list[int]] = {}
    for i, g in enumerate(glyphs):
        alike.setdefault(tuple(len(s) for s in g.strokes), []).append(i)
    out = np.zeros((len(glyphs), 5))
    for sizes, at in alike.items():
        seen = measure_glyphs(np.stack([np.concatenate(glyphs[i].strokes) for i in at]), sizes)
        out[at] = np.stack([seen.foot, seen.top, seen.left, seen.right, seen.lean_deg], axis=1)
    return out
