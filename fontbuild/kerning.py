"""Kerning: what the space between two letters lacks or has too much when both keep their side bearings."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

import numpy as np

from fontbuild.font import Metrics
from fontbuild.geometry import glyph_bounds
from fontbuild.glyph import Glyph
from fontbuild.marks import DOTLESS
from fontbuild.pair_kinds import stand_off
from fontbuild.spacing import Rule, distances, is_point, sides
from fontbuild.stroked_letters import BARRED

LEAST_KERN = 0.03
"""x-heights: smaller corrections are not kept."""


def kerning(glyphs: Mapping[str, Sequence[Glyph]], metrics: Metrics, by: Rule) -> dict[tuple[str, str], float]:
    """Return what to add to the advance of the first letter of a pair, for pairs where it shows.

    Sides are the median over the variants of a character: kerning is by character.
    """
    chars = [c for c, v in glyphs.items() if _kerned(c) and v and v[0].strokes and not _built(v[0])]
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
        points = np.array([is_point(first) or is_point(chars[j]) for j in partners])
        wanted = distances(mine, every[partners], by, points=points)
        wanted += stand_off([(first, chars[j]) for j in partners], by.off)
        for j, distance in zip(partners, wanted, strict=True):
            k = float(np.clip(distance - after[i] - before[j], -0.5 * metrics.x_height, 0.4 * metrics.x_height))
            if abs(k) >= LEAST_KERN * metrics.x_height:
                out[first, chars[j]] = float(round(k))
    return _shared(out, {c: _leader(c) for c, v in glyphs.items() if v and _built(v[0])})


def gap_sd(
    glyphs: Mapping[str, Sequence[Glyph]],
    pairs: Mapping[tuple[str, str], float],
    words: Iterable[str],
    *,
    share: float,
) -> float | None:
    """Return the standard deviation of the gaps between letters' boxes as the font sets words, any variant of each.

    Of the words whose letters it sets farthest apart: the gaps of a hand's own words are seen in those of which no two
    letters touch.

    Parameters
    ----------
    pairs
        The kerning, font units.
    share
        Share of the gaps that were seen.

    Returns
    -------
    float or None
        Font units; None where no neighbours of the words are in the font.
    """
    known = [list(pairwise(w)) for w in words if len(w) > 1 and all(glyphs.get(c) for c in w)]
    if not known:
        return None
    before, after = {}, {}
    for c in {c for word in known for p in word for c in p}:
        boxes = [(glyph_bounds(g), g.advance) for g in glyphs[c]]
        before[c] = np.array([box[0] for box, _ in boxes])
        after[c] = np.array([advance - box[2] for box, advance in boxes])
    mean = [[float(after[a].mean() + pairs.get((a, b), 0.0) + before[b].mean()) for a, b in word] for word in known]
    apart = sorted(range(len(mean)), key=lambda k: -min(mean[k]))
    upto = np.cumsum([len(mean[k]) for k in apart])
    clear = apart[: max(1, int(np.searchsorted(upto, share * upto[-1])))]
    shapes = [after[a].var() + before[b].var() for k in clear for a, b in known[k]]
    return float(np.sqrt(np.var([gap for k in clear for gap in mean[k]]) + np.mean(shapes)))


def _leader(char: str) -> str:
    """Return the letter without marks and bars."""
    plain = {lone: dotted for dotted, lone in DOTLESS.items()}
    return BARRED[char].base if char in BARRED else plain.get(char, unicodedata.normalize("NFD", char)[0])


def _built(glyph: Glyph) -> bool:
    return glyph.source.startswith("built:")


def _shared(pairs: dict[tuple[str, str], float], leaders: Mapping[str, str]) -> dict[tuple[str, str], float]:
    """Return the pairs with those of built letters, which are kerned as their base is."""
    followers: dict[str, list[str]] = {}
    for char, leader in leaders.items():
        followers.setdefault(leader, [leader]).append(char)
    return {
        (a, b): k
        for (first, second), k in pairs.items()
        for a in followers.get(first, [first])
        for b in followers.get(second, [second])
    }


def _kerned(char: str) -> bool:
    return not char.isspace() and not all(unicodedata.combining(c) for c in char)


def _meets(first: str, second: str) -> bool:
    """Return whether the two stand side by side in text: not a small letter before a capital, digits with digits."""
    kinds = [unicodedata.category(c[0]) for c in (first, second)]
    if kinds == ["Ll", "Lu"]:
        return False
    if "Nd" in kinds:
        return all(k == "Nd" or k[0] in "PS" for k in kinds)
    return True
