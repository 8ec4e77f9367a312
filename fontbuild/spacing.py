"""Side bearings and pair spacing from the shapes: the same white between all neighbours.

The letters' sides are read in horizontal bands, inked with the pen, and their bays filled up: no deeper than a limit,
and no steeper than 45 degrees, because white that is nearly shut in belongs to the letter. The white between two
letters is the mean over the bands of the x-height zone, and over the capitals' zone as well where both are tall. Side
bearings give each letter half of the hand's white on each side; kerning mends the pairs whose sides interlock. Optical
spacing by area goes back to Kindersley, "Optical Letter Spacing" (1976).

The constants were fitted to the own spacing of four open text fonts, three without and one with serifs (all
pairs of small letters, capital before small, two capitals): what is left between our distances and their designers'
has a standard deviation of 0.03 to 0.05 x-heights, of 0.07 to 0.11 that the distances themselves have.
`python -m tests.bench font` prints it for the first.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fontbuild.font import Metrics
from fontbuild.geometry import glyph_bounds, moved, sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.pair_kinds import POINTS, STAND_OFF, of_words, stand_off

BAND = 20.0
"""Height of a band, font units."""

DEPTH = 0.25
"""x-heights: a bay counts no deeper."""

OVERHANG, TAIL = 0.3, 1.0
"""Share of what bars and heads over the x-height, and tails under the line, stand out beyond the letter's body by which
a bay may be deeper: a j hangs its hook under its neighbour, but a letter does not creep up to the stem of a T. Fitted,
with `WHITE`, to where the writers named there put neighbours."""

STEEPEST = 1.0
"""A bay is filled so that its floor rises no steeper than this, sideways over upwards."""

BELOW, TALL = 0.1, 0.6
"""Weight of bands under the baseline, and of those over the x-height between tall letters; the zone has 1."""

AROUND_POINTS = 0.85
"""Share of the hand's white that stays at least between a punctuation mark and any ink beside it."""

WHITE = 0.42
"""x-heights of white between letters where the hand's own has not been measured: with it the words of eight writers of
UNIPEN train_r01_v07 whose letters are marked (donors kai and art; Guyon et al., ICPR 1994) come out as wide as they
wrote them, by `rule_of_words`; seven others have 0.45. It differs from writer to writer by 0.14: the counters of n, u
and h, how wide the letters are, and how much ink is in them hardly tell by how much."""

LEAST, TOUCHING, TIGHT = 0.5, -0.7, (0.25, 0.4)
"""Pen widths of white that stay at least between neighbours, the same for a hand that writes as closely as the first
figure (x-heights), and from where on there is nothing to allow. Of the writers named above, those with a white under
0.3 let a third of their letters touch or overlap."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sides:
    """How far the ink stands back from the outermost ink, in each band, on both sides; infinite where there is none."""

    left: Floats
    """Shape (bands,), font units."""

    right: Floats
    """Shape (bands,), font units."""

    x_min: float
    x_max: float


@dataclass(frozen=True, eq=False)
class Rule:
    """The white to aim at, and how it is counted."""

    white: float
    """Mean white between neighbours, font units."""

    at: Floats
    """Middles of the bands, shape (bands,), font units."""

    depth: float
    weight: Floats
    """Weight of each band between letters that stand in the x-height zone; shape (bands,)."""

    tall: Floats
    """Additional weight where both letters are tall; shape (bands,)."""

    least: float
    """Ink of neighbours never comes nearer than this."""

    off: tuple[float, ...]
    """What is added between pairs of some kinds; see `fontbuild.pair_kinds`. Font units."""


def bands(metrics: Metrics) -> Floats:
    """Return the middles of the bands, from the descender to above the ascender.

    Shape (n,), font units, y up.
    """
    low = np.floor((metrics.descender - 0.2 * metrics.x_height) / BAND) * BAND
    high = metrics.ascender + 0.6 * metrics.x_height
    return np.arange(low, high, BAND) + BAND / 2


def sides(glyph: Glyph, metrics: Metrics) -> Sides:
    """Return the two sides of `glyph`, inked with the hand's pen and with the hand's slant taken out.

    Upright or slanted, two letters are as far apart along each line; set upright, their sides are comparable, and a
    slanted letter leans over its advance as italics do.
    """
    at = bands(metrics)
    lean = np.tan(np.radians(metrics.slant_deg))
    left, right = np.full(len(at), np.inf), np.full(len(at), -np.inf)
    pen = metrics.pen_width / 2
    for points in sample_glyph(glyph, per_piece=16):
        x, y = points[:, 0] - lean * points[:, 1], points[:, 1]
        # Between two samples the line may cross bands: put in points closer than a band is high.
        if len(points) > 1:
            t = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
            fine = np.linspace(0, t[-1], max(2, int(t[-1] / (BAND / 4)) + 1))
            x, y = np.interp(fine, t, x), np.interp(fine, t, y)
        for lift in np.linspace(-pen, pen, 7):
            reach = np.sqrt(max(pen**2 - lift**2, 0.0))
            band = np.floor((y + lift - at[0] + BAND / 2) / BAND).astype(int)
            inside = (band >= 0) & (band < len(at))
            np.minimum.at(left, band[inside], x[inside] - reach)
            np.maximum.at(right, band[inside], x[inside] + reach)
    x_min, x_max = float(left.min()), float(right.max())
    if not np.isfinite(x_min):
        return Sides(left, -right, 0.0, 0.0)
    return Sides(left - x_min, x_max - right, x_min, x_max)


def rule(metrics: Metrics) -> Rule:
    """Return the white that people leave."""
    at = bands(metrics)
    x = metrics.x_height
    weight = np.where((at > 0) & (at < x), 1.0, np.where(at < 0, BELOW, 0.0))
    tall = np.where((at >= x) & (at < max(metrics.cap_height, metrics.ascender)), TALL, 0.0)
    return Rule(WHITE * x, at, DEPTH * x, weight, tall, LEAST * metrics.pen_width, tuple(g * x for g in STAND_OFF))


def rule_with(by: Rule, white: float, metrics: Metrics) -> Rule:
    """Return the rule with another white; a hand that writes closely lets its letters touch."""
    tight = np.clip((TIGHT[1] * metrics.x_height - white) / ((TIGHT[1] - TIGHT[0]) * metrics.x_height), 0.0, 1.0)
    least = LEAST + (TOUCHING - LEAST) * float(tight)
    return replace(by, white=white, least=least * metrics.pen_width)


def filled(side: Floats, by: Rule) -> Floats:
    """Return sides, shape (..., bands), with their bays filled up to the steepest slope and the greatest depth."""
    ramp = STEEPEST * by.at
    upwards = np.minimum.accumulate(side - ramp, axis=-1) + ramp
    downwards = np.flip(np.minimum.accumulate(np.flip(side + ramp, -1), axis=-1), -1) - ramp
    body = side[..., by.weight == 1].min(axis=-1)
    over = side[..., (by.weight != 1) & (by.at > 0)].min(axis=-1)
    under = side[..., by.at <= 0].min(axis=-1)
    deeper = np.where(np.isfinite(body), body, 0.0) * np.where(over <= under, OVERHANG, TAIL)
    return np.asarray(np.minimum(np.minimum(upwards, downwards), (by.depth + deeper)[..., None]), float)


def bearing(side: Floats, by: Rule) -> float:
    """Return the white to leave outside the outermost ink on one side: half of the hand's white, less the bays.

    A tall letter's neighbour may be small or tall; its bearing is the mean of what suits either.

    side: shape (bands,), white in each band in font units, inf where there is no ink. Returned: font units.
    """
    bays = filled(side, by)
    is_tall = bool(np.any(np.isfinite(side) & (by.tall > 0)))
    weights = [by.weight, by.weight + by.tall] if is_tall else [by.weight]
    return by.white / 2 - float(np.mean([(w * bays).sum() / w.sum() for w in weights]))


def distances(right: Floats, left: Floats, by: Rule, *, points: NDArray[np.bool_] | None = None) -> Floats:
    """Return the distances between the outermost inks of neighbours that leave the hand's white between them.

    Parameters
    ----------
    right, left : ndarray of shape (pairs, bands)
        Right sides of the first letters, left sides of the second.
    points : ndarray of shape (pairs,)
        Whether one of the two is a punctuation mark: it has too little ink to be held off by the mean white.
    """
    between = filled(right, by) + filled(left, by)
    both_tall = np.asarray(np.any(np.isfinite(right) & np.isfinite(left) & (by.tall > 0), axis=1))
    weight = by.weight + np.outer(both_tall, by.tall)
    total = weight.sum(axis=1)
    low, high = np.full(len(between), -3 * by.depth), np.full(len(between), by.white + 3 * by.depth)
    for _ in range(14):  # the white grows with the distance, so halving finds it
        middle = (low + high) / 2
        white = (weight * np.maximum(between + middle[:, None], 0.0)).sum(axis=1) / total
        low, high = np.where(white < by.white, middle, low), np.where(white < by.white, high, middle)
    nearest = np.min(_near(right) + _near(left), axis=1)
    free = np.where(np.isfinite(nearest), by.least - nearest, -np.inf)
    if points is not None:
        free = np.where(points, np.maximum(free, AROUND_POINTS * by.white - between.min(axis=1)), free)
    return np.asarray(np.maximum((low + high) / 2, free), float)


def _near(side: Floats) -> Floats:
    """Return the nearest ink in each band and its neighbours, so that ink is kept apart slantwise too."""
    padded = np.pad(side, ((0, 0), (1, 1)), constant_values=np.inf)
    return np.minimum(np.minimum(padded[:, :-2], padded[:, 2:]), side)


def space_glyphs(
    glyphs: Mapping[str, Sequence[Glyph]],
    metrics: Metrics,
    *,
    letter_gap: float | None = None,
    words: Sequence[tuple[str, float]] = (),
    apart: Mapping[str, Sequence[Glyph]] | None = None,
) -> tuple[dict[str, tuple[Glyph, ...]], Rule]:
    """Return all glyphs with their side bearings and advance, each variant by its own shape, and the rule used.

    Combining marks get no advance.

    Parameters
    ----------
    letter_gap
        Median gap between the boxes of neighbouring letters, where the hand's running text has been measured;
        overrides the general figure.
    words
        Words of the hand's running text and their width from the first to the last line, font units; they override
        both.
    apart
        The glyphs that were not written joined, where some were: they alone tell the white, since lines that join
        reach into the neighbour.
    """
    by = rule(metrics)
    if letter_gap is not None and (usual := box_gap(glyphs, metrics, by)) is not None:
        white = np.clip(by.white + letter_gap - usual, 0.1 * metrics.x_height, 1.5 * metrics.x_height)
        by = rule_with(by, float(white), metrics)
    if words:
        by = rule_of_words(apart or glyphs, metrics, by, words)
    return {char: tuple(space_glyph(g, metrics, by) for g in variants) for char, variants in glyphs.items()}, by


COMMON = (
    "th he in er an re on at en nd ti es or te of ed is it al ar st to nt ng se ha as ou io le ve co me de hi ri ro"
)
"""Frequent pairs of letters in the languages written in Latin letters; general knowledge."""


def box_gap(glyphs: Mapping[str, Sequence[Glyph]], metrics: Metrics, by: Rule) -> float | None:
    """Return the median gap between the inked boxes of frequent neighbours under a rule, None without any of them."""
    pairs = [(p[0], p[1]) for p in COMMON.split() if glyphs.get(p[0]) and glyphs.get(p[1])]
    pairs = pairs or [(c, c) for c in glyphs if c.isalpha() and glyphs[c]]
    gaps = []
    for a, b in pairs:
        one, two = glyphs[a][0], glyphs[b][0]
        left, right = sides(one, metrics), sides(two, metrics)
        apart = float(distances(left.right[None], right.left[None], by)[0])
        # From the distance in upright shapes to that of the boxes as they lean.
        lean = (glyph_bounds(one)[2] - left.x_max) - (glyph_bounds(two)[0] - right.x_min) + metrics.pen_width
        gaps.append(apart - lean)
    return float(np.median(gaps)) if gaps else None


ROUNDS = 3
STRAY = 4.0
"""Robust standard deviations a gap by which a word counts as wider or narrower than the others at most: it was read
wrongly, or ends in a long tail, as words do. Left out altogether, the wide ones of a hand would be missing."""


def rule_of_words(
    glyphs: Mapping[str, Sequence[Glyph]], metrics: Metrics, by: Rule, words: Sequence[tuple[str, float]]
) -> Rule:
    """Return the rule whose white makes words as wide as the hand writes them.

    Whole words tell more than the gaps between pieces of ink: pieces are counted for letters only where no two touch,
    and so the gaps of the widest words alone.
    """
    known = [(w, wide) for w, wide in words if len(w) > 1 and all(glyphs.get(c) for c in w)]
    if not known:
        return by
    need = {c for w, _ in known for c in w}
    both = {c: [sides(g, metrics) for g in glyphs[c]] for c in need}
    mean = {c: (np.mean([s.x_min for s in v]), np.mean([s.x_max for s in v])) for c, v in both.items()}
    boxes = {c: np.mean([[glyph_bounds(g)[0], glyph_bounds(g)[2]] for g in glyphs[c]], axis=0) for c in need}
    left = {c: np.median([s.left for s in v], axis=0) for c, v in both.items()}
    right = {c: np.median([s.right for s in v], axis=0) for c, v in both.items()}
    pairs = sorted({(a, b) for w, _ in known for a, b in pairwise(w)})
    gaps = np.array([len(w) - 1 for w, _ in known], float)
    texts = [w for w, _ in known]
    points = np.array([is_point(a) or is_point(b) for a, b in pairs])
    rights, lefts = np.array([right[a] for a, _ in pairs]), np.array([left[b] for _, b in pairs])
    for _ in range(ROUNDS):
        wanted = distances(rights, lefts, by, points=points) + stand_off(pairs, by.off)
        apart = dict(zip(pairs, wanted, strict=True))
        short = []
        for (word, wide), n in zip(known, gaps, strict=True):
            at = boxes[word[0]][0]
            end = 0.0
            for a, b in pairwise(word):
                end += mean[a][1] + apart[a, b] - mean[b][0]
            short.append((wide - (end + boxes[word[-1]][1] - at)) / n)
        away = np.array(short)
        middle = float(np.median(away))
        most = STRAY * 1.4826 * float(np.median(np.abs(away - middle)))
        near = np.clip(away, middle - most, middle + most)
        more, off = of_words(texts, near * gaps, by.off, x_height=metrics.x_height)
        white = np.clip(by.white + more, -0.2 * metrics.x_height, 1.5 * metrics.x_height)
        by = replace(rule_with(by, float(white), metrics), off=off)
    return by


def space_glyph(glyph: Glyph, metrics: Metrics, by: Rule) -> Glyph:
    """Return `glyph` between its side bearings."""
    if not glyph.strokes:
        return glyph
    both = sides(glyph, metrics)
    if glyph.char and all(unicodedata.combining(c) for c in glyph.char):
        # Where anchors are not understood, a mark falls on the middle of the letter before it.
        back = round(-0.5 * metrics.x_height - (both.x_min + both.x_max) / 2, 2)
        return replace(moved(glyph, back), advance=0.0)
    floor = AROUND_POINTS * by.white / 2 if is_point(glyph.char) else -np.inf
    left, right = (max(bearing(side, by), floor) for side in (both.left, both.right))
    left += by.off[0] if glyph.char in POINTS else 0.0
    # Hundredths of a unit, as in the files: a font read back is the font that was built.
    shift = round(left - both.x_min, 2)
    out = moved(glyph, shift)
    strokes = tuple(np.round(s, 2) for s in out.strokes)
    return replace(out, strokes=strokes, advance=round(both.x_max + shift + right, 2))


def is_point(char: str) -> bool:
    """Return whether a character is a punctuation mark or sign of little ink."""
    return unicodedata.category(char[0]) in ("Po", "Pi", "Pf", "Sm", "Pd") and char not in "&@%#*/\\"


def tabular(glyphs: Sequence[Glyph]) -> tuple[Glyph, ...]:
    """Return figures on one common advance (the mean), each centred on it."""
    if not glyphs:
        return ()
    width = float(np.mean([g.advance for g in glyphs]))
    return tuple(replace(moved(g, (width - g.advance) / 2), advance=width) for g in glyphs)
