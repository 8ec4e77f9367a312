"""Side bearings and pair spacing from the shapes: the same white between all neighbours.

The letters' sides are read in horizontal bands, inked with the pen. The white between two letters is the mean over the
bands, deep bays counting only down to a limit, bands of the x-height zone counting most. Side bearings give each
letter half of the hand's white on each side; kerning mends the pairs whose sides interlock. The idea of optical
spacing by the area between letters, with capped depth: Kindersley, "Optical Letter Spacing" (1976); the limit and
weights are ours.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fontbuild.font import Metrics
from fontbuild.geometry import moved, sample_glyph
from fontbuild.glyph import Glyph

BAND = 20.0
"""Height of a band, font units."""

DEPTH = 0.55
"""x-heights: white deeper than this counts no more."""

BLANK = 0.3
"""Share of that depth for which a band without ink counts."""

LEAST_KERN = 0.03
"""x-heights: smaller corrections are not kept."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sides:
    """How far the ink stands back from the outermost ink, in each band, on both sides; infinite where there is none."""

    left: Floats
    right: Floats
    x_min: float
    x_max: float


@dataclass(frozen=True, eq=False)
class Rule:
    """The white to aim at, and how it is counted."""

    white: float
    """Mean white between neighbours, font units."""

    depth: float
    weight: Floats
    """Weight of each band between letters that stand in the x-height zone; shape (bands,)."""

    tall: Floats
    """Additional weight where both letters are tall."""

    least: float
    """Ink of neighbours never comes nearer than this."""


def bands(metrics: Metrics) -> Floats:
    """Return the middles of the bands, from the descender to above the ascender."""
    low = np.floor((metrics.descender - 0.2 * metrics.x_height) / BAND) * BAND
    high = metrics.ascender + 0.6 * metrics.x_height
    return np.arange(low, high, BAND) + BAND / 2


def sides(glyph: Glyph, metrics: Metrics) -> Sides:
    """Return the two sides of `glyph`, inked with the hand's pen."""
    at = bands(metrics)
    left, right = np.full(len(at), np.inf), np.full(len(at), -np.inf)
    pen = metrics.pen_width / 2
    for points in sample_glyph(glyph, per_piece=16):
        x, y = points.T
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


def rule(metrics: Metrics, model: Iterable[Glyph], *, letter_gap: float | None = None) -> Rule:
    """Return the white that suits the hand.

    Parameters
    ----------
    model
        Variants of n, u, h: their counters, the white between two stems, set the rhythm.
    letter_gap
        The white between letters, where the hand's running text has been measured; overrides the counters.
    """
    at = bands(metrics)
    x = metrics.x_height
    depth = DEPTH * x
    zone = (at > -0.02 * x) & (at < 1.02 * x)
    weight = np.where(zone, 1.0, np.where(at >= 0, 0.12, 0.06))
    tall = np.where((at >= 1.02 * x) & (at < max(metrics.cap_height, metrics.ascender)), 0.88, 0.0)
    counters = [c for g in model if (c := counter(g, metrics)) > 0]
    white = letter_gap if letter_gap is not None else (0.62 * float(np.median(counters)) if counters else 0.4 * x)
    return Rule(white=white, depth=depth, weight=weight, tall=tall, least=0.6 * metrics.pen_width)


def counter(glyph: Glyph, metrics: Metrics) -> float:
    """Return the white between the stems of an n, u or h: the mean run between outermost ink at mid-height."""
    level = np.linspace(0.3, 0.6, 7) * metrics.x_height
    runs = []
    lines = sample_glyph(glyph, per_piece=16)
    for y in level:
        crossings = []
        for points in lines:
            above = points[:, 1] > y
            for i in np.flatnonzero(above[1:] != above[:-1]):
                (xa, ya), (xb, yb) = points[i], points[i + 1]
                crossings.append(xa + (xb - xa) * (y - ya) / (yb - ya))
        if len(crossings) >= 2:
            runs.append(max(np.diff(sorted(crossings))) - metrics.pen_width)
    return float(np.median(runs)) if len(runs) >= 4 else 0.0


def bearing(side: Floats, by: Rule) -> float:
    """Return the white to leave outside the outermost ink on one side: half of the hand's white, less the bays."""
    bay = np.minimum(np.where(np.isfinite(side), side, BLANK * by.depth), by.depth / 2)
    return by.white / 2 - float((by.weight * bay).sum() / by.weight.sum())


def distances(right: Floats, left: Floats, by: Rule) -> Floats:
    """Return the distances between the outermost inks of neighbours that leave the hand's white between them.

    Parameters
    ----------
    right, left : ndarray of shape (pairs, bands)
        Right sides of the first letters, left sides of the second.
    """
    blank = BLANK * by.depth
    both = np.isfinite(right) & np.isfinite(left)
    between = np.where(np.isfinite(right), right, blank) + np.where(np.isfinite(left), left, blank)
    tall = np.asarray(np.any(both & (by.tall > 0), axis=1))
    weight = by.weight + np.outer(tall, by.tall)
    total = weight.sum(axis=1)
    limit = by.depth + by.white
    low, high = np.full(len(between), -limit), np.full(len(between), limit)
    for _ in range(16):  # the white grows with the distance, so halving finds it
        middle = (low + high) / 2
        white = (weight * np.clip(between + middle[:, None], 0.0, limit)).sum(axis=1) / total
        low, high = np.where(white < by.white, middle, low), np.where(white < by.white, high, middle)
    nearest = np.min(_near(right) + _near(left), axis=1)
    free = np.where(np.isfinite(nearest), by.least - nearest, -limit)
    return np.asarray(np.maximum((low + high) / 2, free), float)


def _near(side: Floats) -> Floats:
    """Return the nearest ink in each band and its neighbours, so that ink is kept apart slantwise too."""
    padded = np.pad(side, ((0, 0), (1, 1)), constant_values=np.inf)
    return np.minimum(np.minimum(padded[:, :-2], padded[:, 2:]), side)


def space_glyphs(
    glyphs: Mapping[str, Sequence[Glyph]], metrics: Metrics, *, letter_gap: float | None = None
) -> tuple[dict[str, tuple[Glyph, ...]], Rule]:
    """Return all glyphs with their side bearings and advance, each variant by its own shape, and the rule used.

    Combining marks keep their place and get no advance.
    """
    by = rule(metrics, [g for c in "nuh" for g in glyphs.get(c, ())], letter_gap=letter_gap)
    return {char: tuple(space_glyph(g, metrics, by) for g in variants) for char, variants in glyphs.items()}, by


def space_glyph(glyph: Glyph, metrics: Metrics, by: Rule) -> Glyph:
    """Return `glyph` between its side bearings."""
    if not glyph.strokes:
        return glyph
    if glyph.char and all(unicodedata.combining(c) for c in glyph.char):
        return replace(glyph, advance=0.0)
    both = sides(glyph, metrics)
    left, right = bearing(both.left, by), bearing(both.right, by)
    # Hundredths of a unit, as in the files: a font read back is the font that was built.
    shift = round(left - both.x_min, 2)
    out = moved(glyph, shift)
    strokes = tuple(np.round(s, 2) for s in out.strokes)
    return replace(out, strokes=strokes, advance=round(both.x_max + shift + right, 2))


def kerning(glyphs: Mapping[str, Sequence[Glyph]], metrics: Metrics, by: Rule) -> dict[tuple[str, str], float]:
    """Return what to add to the advance of the first letter of a pair, for pairs where it shows.

    Sides are the median over the variants of a character: kerning is by character.
    """
    chars = [c for c, variants in glyphs.items() if _kerned(c) and variants and variants[0].strokes]
    if not chars:
        return {}
    left, right, before, after = [], [], [], []
    for c in chars:
        each = [sides(g, metrics) for g in glyphs[c]]
        left.append(np.median([s.left for s in each], axis=0))
        right.append(np.median([s.right for s in each], axis=0))
        before.append(np.median([s.x_min for s in each]))
        after.append(np.median([g.advance - s.x_max for g, s in zip(glyphs[c], each, strict=True)]))
    out: dict[tuple[str, str], float] = {}
    every = np.array(left)
    for i, first in enumerate(chars):
        partners = [j for j, second in enumerate(chars) if _meets(first, second)]
        if not partners:
            continue
        mine = np.repeat(right[i][None], len(partners), axis=0)
        wanted = distances(mine, every[partners], by)
        for j, distance in zip(partners, wanted, strict=True):
            k = float(np.clip(distance - after[i] - before[j], -0.5 * metrics.x_height, 0.4 * metrics.x_height))
            if abs(k) >= LEAST_KERN * metrics.x_height:
                out[first, chars[j]] = round(k, 1)
    return out


def _kerned(char: str) -> bool:
    return not char.isspace() and not all(unicodedata.combining(c) for c in char)


def _meets(first: str, second: str) -> bool:
    """Return whether the two stand side by side in text: not a small letter before a capital, digits with digits."""
    kinds = [unicodedata.category(c[0]) for c in (first, second)]
    if kinds == ["Ll", "Lu"]:
        return False
    if "Nd" in kinds:
        return all(k == "Nd" or k.startswith("P") for k in kinds)
    return True


def tabular(glyphs: Sequence[Glyph]) -> tuple[Glyph, ...]:
    """Return figures on one common advance (the mean), each centred on it."""
    if not glyphs:
        return ()
    width = float(np.mean([g.advance for g in glyphs]))
    return tuple(replace(moved(g, (width - g.advance) / 2), advance=width) for g in glyphs)
