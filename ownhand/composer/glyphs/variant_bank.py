"""The shapes a font can write, its variants and blends between them, in flat arrays to be set by the thousand.

Blends are weighted means of variants with the same ductus, so they are letters of the same hand (see
`fontbuild.glyph.Glyph.ductus`). Each form comes as often as it was written, one that was written once and can be
blended with nothing too: what a hand does now and then is part of it. A character's shapes are made when it is first
asked for.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fontbuild.font import Font
from fontbuild.glyph import Glyph
from ownhand.composer.glyphs.doubts import broken
from ownhand.composer.glyphs.letter_ends import ends_of, join_figures
from ownhand.composer.variation.glyph_measurements import BANDS, GlyphMeasurements, edges, measure_glyphs
from ownhand.composer.variation.handwriting_statistics import STANDS_WITHIN, Array

Index = NDArray[np.int64]

POOL = 56
"""Shapes kept for a character that can be blended. Three lines hold some 25 e's (12.7 % of English letters; Lewand,
Cryptological Mathematics, 2000), and no shape comes back before half of the pool was used."""

MAIN_WEIGHT = (0.7, 1.0)
"""Range of the weight of the variant a blend is mainly made of: nearer to the mean, letters lose their character."""

SPAN = (-0.15, 1.1)
"""Weights that a variant may have in a blend: hardly outside of what the attempts span."""

STRAIGHT = 0.5
"""Share of the bend of shapes that stand alone which letters of one straight line get."""

OTHER_FORM = 0.06
"""Distance given to shapes of different ductus: a usual one, lest the choice run from form to form."""


@dataclass(frozen=True, eq=False)
class Pool:
    """All shapes of one character; index `first + i` into the bank."""

    char: str
    first: int
    size: int
    written: int
    """The first so many are the variants as they were written."""

    apart: tuple[tuple[float, ...], ...]
    """By pair of shapes: their distance as a share of the character's size; `OTHER_FORM` between different ductus."""

    partners: tuple[tuple[int, ...], ...]
    """For each shape: those with the same structure, itself left out."""

    variance: Array
    """Shape (4,): of foot, height, width and lean among the shapes; font units, shares, degrees."""

    squares: Array
    """Shape (4,): sum of the squares of the same, as the written ones differ from their mean."""

    freedom: Array
    """Shape (4,): in so many degrees of freedom."""

    foot: float
    """Mean of the written ones, font units."""

    mean_lean: float
    """Degrees; nan for a character without upright steps."""

    stands: bool
    """On the line: its foot counts."""

    sources: tuple[str, ...] = ()
    """Ids of the attempts that the written ones are."""

    joins: bool = False
    """Whether any was written joined to another letter."""


class VariantBank:
    """Flat arrays of all shapes made so far. Index i of any array is shape i; em frame (y up)."""

    def __init__(self, font: Font) -> None:
        self._font = font
        self.pools: dict[str, Pool] = {}
        self._in_words: dict[str, dict[str, int]] = {}
        self._points: list[Array] = []
        self._sizes: list[int] = []
        self._rows: list[tuple[float, ...]] = []
        self._edges: list[tuple[Array, Array]] = []
        self._dirty = True
        self._n_points = 0
        self.points: Array = np.zeros((0, 2))
        self.sizes: Index = np.zeros(0, np.int64)
        self.left_edges: Array = np.zeros((0, BANDS))
        """Left edge of each shape in horizontal bands; see `variation.glyph_measurements.edges`."""

        self.right_edges: Array = np.zeros((0, BANDS))
        self._table: Array = np.zeros((0, len(COLUMNS)))

    def pool(self, char: str) -> Pool:
        """Return the shapes of a character of the font.

        Raises
        ------
        KeyError
            If the font does not have it.
        """
        if char not in self.pools:
            self.pools[char] = self._make(char, self._font.glyphs[char])
            self._dirty = True
        return self.pools[char]

    def in_words(self, char: str) -> dict[str, int]:
        """Return the shapes of a character that stand in words alone (`Font.in_words`), by their attempts' ids."""
        if char not in self._in_words:
            glyphs = self._font.in_words.get(char, ())
            first = len(self._rows)
            if glyphs:
                groups = [(i, i, _flat(g), g.advance, tuple(len(s) for s in g.strokes)) for i, g in enumerate(glyphs)]
                self._add(char, groups, len(glyphs), [ends_of(g) for g in glyphs])
                own = slice(COLUMNS.index("foot_off"), COLUMNS.index("lean_off") + 1)
                # what they are beside others tells nothing: they stay as they were written
                self._rows[first:] = [(*r[: own.start], 0.0, 0.0, 0.0, 0.0, *r[own.stop :]) for r in self._rows[first:]]
                self._dirty = True
            self._in_words[char] = {g.source: first + k for k, g in enumerate(glyphs)}
        return self._in_words[char]

    def settle(self) -> None:
        """Bring the flat arrays up to date with the pools."""
        if self._dirty and self._edges:
            self.points = np.concatenate(self._points) if self._points else np.zeros((0, 2))
            self.sizes = np.array(self._sizes, np.int64)
            self._table = np.array(self._rows, float).reshape(-1, len(COLUMNS))
            self.left_edges, self.right_edges = (np.concatenate(side) for side in zip(*self._edges, strict=True))
            self._edges = [(self.left_edges, self.right_edges)]
            self._points = [self.points]
            self._dirty = False

    def column(self, name: str) -> Array:
        """Return one figure of all shapes; see `COLUMNS`."""
        return self._table[:, COLUMNS.index(name)]

    def _make(self, char: str, variants: Sequence[Glyph]) -> Pool:
        left_out = broken(variants, _by_ductus(variants), self._font.metrics.pen_width)
        variants = [g for i, g in enumerate(variants) if i not in left_out]
        # a letter is not to vanish where a font holds an empty glyph beside its inked ones
        variants = [g for g in variants if g.strokes] or variants
        groups = _by_ductus(variants)
        rng = np.random.default_rng(zlib.crc32(char.encode()))
        room = max(0, POOL - len(variants)) if any(len(g) > 1 for g in groups) else 0
        shapes: list[tuple[int, int, Array, float, tuple[int, ...]]] = []  # order, group, points, advance, sizes
        for k, group in enumerate(groups):
            sizes = tuple(len(s) for s in variants[group[0]].strokes)
            flat = np.stack([_flat(variants[i]) for i in group])
            advances = np.array([variants[i].advance for i in group])
            shapes += [(i, k, flat[j], float(advances[j]), sizes) for j, i in enumerate(group)]
            # every form as often as it was written, those that can be blended with nothing too
            more = round(room * len(group) / len(variants))
            weights = _weights(len(group), more, rng) if len(group) > 1 else np.ones((more, 1))
            points = np.tensordot(weights, flat, axes=1)
            shapes += [(len(variants) + j, k, points[j], float(weights[j] @ advances), sizes) for j in range(more)]
        shapes.sort(key=lambda s: s[0] if s[0] < len(variants) else len(variants))
        ends = [ends_of(g) for g in variants]
        # a blend goes in and out where the first of its form does
        every = [ends[s[0]] if s[0] < len(variants) else ends[groups[s[1]][0]] for s in shapes]
        return replace(
            self._add(char, shapes, len(variants), every),
            sources=tuple(g.source for g in variants),
            joins=any(max(e) >= 0 for e in ends),
        )

    def _add(
        self,
        char: str,
        shapes: list[tuple[int, int, Array, float, tuple[int, ...]]],
        written: int,
        ends: Sequence[tuple[int, int]],
    ) -> Pool:
        first, n = len(self._rows), len(shapes)
        group_of = np.array([s[1] for s in shapes])
        seen = GlyphMeasurements(*(np.zeros(n) for _ in range(7)))
        apart = np.full((n, n), OTHER_FORM)
        left_edges, right_edges = np.full((n, BANDS), np.inf), np.full((n, BANDS), -np.inf)
        for k in sorted(set(group_of.tolist())):
            at = np.flatnonzero(group_of == k)
            points = np.stack([shapes[i][2] for i in at])
            if points.shape[1]:
                found = measure_glyphs(points, shapes[at[0]][4])
                for name in ("left", "right", "foot", "top", "lean_deg", "middle", "spread"):
                    getattr(seen, name)[at] = getattr(found, name)
                apart[np.ix_(at, at)] = _distances(points)
                left_edges[at], right_edges[at] = edges(points, shapes[at[0]][4], self._font.metrics.x_height)
            else:
                apart[np.ix_(at, at)] = 0.0
        height, width = seen.top - seen.foot, seen.right - seen.left
        x = self._font.metrics.x_height
        mean_height, mean_width = max(height.mean(), 0.25 * x), max(width.mean(), 0.25 * x)
        deviation = np.column_stack(
            [
                seen.foot - seen.foot.mean(),
                (height - height.mean()) / mean_height,
                (width - width.mean()) / mean_width,
                np.nan_to_num(seen.lean_deg - (0.0 if np.isnan(seen.lean_deg).all() else np.nanmean(seen.lean_deg))),
            ]
        )
        for i, (_, _, points, advance, sizes) in enumerate(shapes):
            alone = float((group_of[:written] == group_of[i]).sum() == 1)
            # a straight line has no shape of its own: hands bend it a little, now this way, now that
            alone = max(alone, STRAIGHT) if 0 < len(points) <= 4 else alone
            self._rows.append((
                self._n_points, len(points), len(self._sizes), len(sizes), advance,
                seen.left[i], seen.right[i], seen.foot[i], seen.top[i], alone, float(len(points) > 0),
                *deviation[i], seen.middle[i], seen.spread[i], *join_figures(points, sizes, *ends[i]),
            ))  # fmt: skip
            self._points.append(points)
            self._n_points += len(points)
            self._sizes.extend(sizes)
        self._edges.append((left_edges, right_edges))
        numbers = np.arange(n)
        one_off = np.bincount(group_of[:written], minlength=int(group_of.max()) + 1) == 1
        partners = tuple(
            () if one_off[group_of[i]] else tuple(np.flatnonzero((group_of == group_of[i]) & (numbers != i)).tolist())
            for i in range(n)
        )
        leans = seen.lean_deg[~np.isnan(seen.lean_deg)]
        own = deviation[:written] - deviation[:written].mean(axis=0)
        freedom = np.full(4, float(written - 1))
        freedom[0] *= abs(seen.foot.mean()) < STANDS_WITHIN * x
        freedom[3] *= not np.isnan(seen.lean_deg[:written]).any()
        return Pool(
            char, first, n, written, tuple(map(tuple, apart.tolist())), partners, deviation.var(axis=0),
            np.where(freedom > 0, (own**2).sum(axis=0), 0.0), freedom,
            float(seen.foot[:written].mean()),
            float(leans.mean()) if len(leans) else float("nan"), bool(abs(seen.foot.mean()) < STANDS_WITHIN * x),
        )  # fmt: skip


COLUMNS = (
    "start", "count", "stroke_start", "stroke_count", "advance", "left", "right", "foot", "top", "alone", "inked",
    "foot_off", "height_off", "width_off", "lean_off", "middle", "spread",
    "entry", "exit", "entry_y", "entry_deg", "exit_x", "exit_y", "exit_deg",
)  # fmt: skip
"""Figures kept of each shape. The four that are 'off' are its distances from the mean of its character. The last seven
tell joins: 1 where the pen comes in from the letter before, or goes on to the next; where, and in which direction."""


def _by_ductus(variants: Sequence[Glyph]) -> list[list[int]]:
    """Return indices of variants that correspond; each of those that correspond to nothing by itself."""
    groups: dict[object, list[int]] = {}
    for i, glyph in enumerate(variants):
        key: object = (glyph.ductus, tuple(len(s) for s in glyph.strokes)) if glyph.ductus else i
        groups.setdefault(key, []).append(i)
    return list(groups.values())


def _flat(glyph: Glyph) -> Array:
    return np.concatenate(glyph.strokes) if glyph.strokes else np.zeros((0, 2))


def _weights(variants: int, blends: int, rng: np.random.Generator) -> Array:
    """Return weights of shape (blends, variants): each variant in turn the main one, one or two others mixed in.

    A mean lies nearer to the middle than what it is made of, and is smoother: tremor and the places of corners average
    out. So what a blend differs by from the mean of all is enlarged until it differs by as much as a written one does
    (a smoothed bootstrap that keeps the variance: Silverman and Young, "The bootstrap: to smooth or not to smooth?",
    Biometrika 74, 1987), within `SPAN`.
    """
    out = np.zeros((blends, variants))
    for j in range(blends):
        main = j % variants
        others = rng.permutation([i for i in range(variants) if i != main])[: 1 + int(rng.integers(0, 2))]
        weight = rng.uniform(*MAIN_WEIGHT)
        out[j, main] = weight
        out[j, others] = (1 - weight) * rng.dirichlet(np.ones(len(others)))
        away = out[j] - 1 / variants
        out[j] = 1 / variants + away * _enlarged(away, out[j], np.sqrt(1 - 1 / variants))
    return out


def _enlarged(away: Array, weights: Array, length: float) -> float:
    """Return by how much the way from the mean is lengthened towards `length`, no weight leaving `SPAN`."""
    wanted = length / max(float(np.hypot.reduce(away)), 1e-9)
    mean = weights[0] - away[0]
    up = (SPAN[1] - mean) / max(float(away.max()), 1e-9)
    down = (mean - SPAN[0]) / max(float(-away.min()), 1e-9)
    return float(max(1.0, min(wanted, up, down)))


def _distances(points: Array) -> Array:
    """Return root mean square distances between letters of one structure, their places taken off, as share of size."""
    centred = points - points.mean(axis=1, keepdims=True)
    size = max(float(np.ptp(centred, axis=1).max()), 1e-9)
    square = ((centred[:, None] - centred[None, :]) ** 2).sum(axis=-1).mean(axis=-1)
    return np.asarray(np.sqrt(square) / size, float)
