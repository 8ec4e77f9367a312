"""How high, tall, wide and leaning each letter stands: what its shape carries of that, and what is drawn for it.

Every attempt was written with a pose of its own, and these are the hand's poses. So a letter keeps most of what its
shape carries; a share of the variance belongs to its word and its line instead, which all their letters have in common;
a small share is drawn afresh, so that no pose comes back; and where a character has so few attempts that they tell
little of how much it varies, what the hand's other letters vary by fills in (empirical Bayes: Efron and Morris,
"Stein's estimation rule and its competitors", J. Amer. Statist. Assoc. 68, 1973).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from fontbuild.text_spacing_statistics import DESCENDS
from ownhand.composer.glyphs.variant_bank import VariantBank
from ownhand.composer.settings.life import Life
from ownhand.composer.variation.handwriting_statistics import Array, Scatter
from ownhand.composer.variation.noise import draw

FRESH = 0.1
"""Share of the variance that is drawn afresh for every letter at least."""

TRUST = 4.0
"""So many degrees of freedom of one character weigh as much as what all of the hand's characters vary by."""

USUAL_TALL = 1.4
"""x-heights of the letter whose height differs as the hand's letters do on the whole: taller ones differ by less of
their height, as the inverse root of it, and small ones by more. Small letters, tall ones and capitals: .115, .092 and
.085 in 59 people, .159, .121 and .100 in the fifteen of UNIPEN among them (see `handwriting_statistics.DRAWN`)."""

FEET_DIFFER = 0.05
"""x-heights: standard deviation of the characters' mean feet about each other: .034 in ten writers (kai and art, as in
`handwriting_statistics`; .011 to .07), in whose fonts the means of the attempts differ by .035 to .115."""

BELOW = (202, 220)
"""Combining classes of marks under a letter (Unicode Standard, 4.3)."""

FAR_OFF = 0.25
"""x-heights from the line from which a character does not stand on it."""

FIGURES = ("foot", "height", "width", "slant")
DEVIATIONS = ("foot_off", "height_off", "width_off", "lean_off")


@dataclass(frozen=True, eq=False)
class Drawn:
    """One figure of the pose of n letters; both arrays have shape (n,)."""

    keep: Array
    """Share of what the shape carries that is kept."""

    add: Array
    """What comes to it."""

    sd: Array
    """Standard deviation of the whole, at the strength asked for."""


def asked_variance(chars: Sequence[str], bank: VariantBank, scatter: Scatter, x_height: float) -> Array:
    """Return the variance of foot, height, width and lean of the characters, shape (n, 4)."""
    pools = [bank.pools[c] for c in chars]
    hand = np.array([[scatter.foot * x_height, scatter.height, scatter.width, scatter.slant_deg]] * len(pools)) ** 2
    alone = np.array([p.freedom[1] == 0 for p in pools], bool)
    tall = (bank.column("top") - bank.column("foot"))[[p.first for p in pools]]
    hand[:, 1] *= np.where(alone, USUAL_TALL * x_height / np.maximum(tall, x_height), 1.0)
    squares = np.array([p.squares for p in pools]) * np.square(scatter.beyond_attempts)
    freedom = np.array([p.freedom for p in pools])
    return np.asarray((squares + TRUST * hand) / (freedom + TRUST), float)


def on_the_line(chars: Sequence[str], bank: VariantBank, scatter: Scatter, x_height: float) -> Array:
    """Return what is added to the feet of n characters so that what was chance in their attempts does not come back.

    A letter that was written once, and high, would stand high in every word. How far the mean of so few attempts lies
    from the hand's other letters is mostly chance (empirical Bayes, as above). Shape (n,), font units.
    """
    if scatter.level is None:
        return np.zeros(len(chars))
    out = {}
    for char in dict.fromkeys(chars):
        pool = bank.pools.get(char)
        if pool is None or not _stands(char):
            continue
        off = pool.foot - scatter.level * x_height
        true = pool.written * FEET_DIFFER**2
        out[char] = -off * scatter.foot**2 / (true + scatter.foot**2) if abs(pool.foot) < FAR_OFF * x_height else 0.0
    return np.array([out.get(c, 0.0) for c in chars])


@cache
def _stands(char: str) -> bool:
    """Tell whether people write a character on the line, as they write all Latin letters and figures but a few."""
    parts = unicodedata.normalize("NFD", char)
    base, marks = parts[0], parts[1:]
    latin = base.isdecimal() or (base.isalpha() and unicodedata.name(base, "").startswith("LATIN"))
    below = any(unicodedata.combining(m) in BELOW for m in marks)
    return latin and base not in DESCENDS and not below


def draw_poses(
    chars: Sequence[str],
    inked: np.ndarray,
    *,
    bank: VariantBank,
    scatter: Scatter,
    x_height: float,
    blended: float,
    life: Life,
    rng: np.random.Generator,
) -> tuple[Drawn, ...]:
    """Return what is drawn for foot, height, width and lean of n characters.

    Parameters
    ----------
    inked
        Shape (n,): False for spaces, which part words.
    blended
        Share of the shapes' variance that mixing them leaves.
    """
    n = len(chars)
    asked, carried = np.zeros((n, 4)), np.zeros((n, 4))
    known = {c: k for k, c in enumerate(dict.fromkeys(c for c, ink in zip(chars, inked, strict=True) if ink))}
    if known:
        index = np.array([known[c] for c, ink in zip(chars, inked, strict=True) if ink])
        asked[inked] = asked_variance(list(known), bank, scatter, x_height)[index]
        carried[inked] = blended * np.array([bank.pools[c].variance for c in known])[index]
    word = np.cumsum(~inked)
    shares = np.array([0.0, scatter.word_height_share, scatter.word_width_share, scatter.word_slant_share])
    lines = np.array([0.0, scatter.line_height_share, scatter.line_width_share, scatter.line_slant_share])
    out = []
    for k, name in enumerate(FIGURES):
        strength = life.of(name)
        common = np.sqrt(shares[k]) * draw(rng, int(word[-1]) + 1 if n else 0)
        own = 1.0 - shares[k] - lines[k]
        with np.errstate(divide="ignore", invalid="ignore"):
            fits = np.sqrt(np.maximum(own - FRESH, 0.0) * asked[:, k] / carried[:, k])
        keep = np.minimum(1.0, np.nan_to_num(fits, nan=1.0, posinf=1.0)) * min(1.0, strength)
        left = strength**2 * own * asked[:, k] - keep**2 * carried[:, k]
        fresh = np.sqrt(np.maximum(left, strength**2 * FRESH * asked[:, k])) * draw(rng, n)
        sd = strength * np.sqrt(asked[:, k])
        out.append(Drawn(keep, fresh + sd * common[word] if n else fresh, sd))
    return tuple(out)
