"""Attempts whose ink failed for a moment, or caught a speck, made whole: a line that broke is one line.

The tracer sees ink, and where a pen skips there is none. What tells a broken line from two lines is the writer's other
attempts, and the usual forms: an attempt is mended only if its pieces, joined across gaps in the direction in which
they run, and without specks, then match one of these stroke for stroke, or come nearer to its ink as a whole. All
else stays as it was read.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.units import Points
from fontbuild.dtw import features, like, stroke_distances
from fontbuild.geometry import nearest_distance
from fontbuild.letterwise import Letterwise, in_turn
from fontbuild.point_cloud_distance import cloud, distances, normal
from fontbuild.variants import AttemptStrokes, forms
from skeleton.ductus import allographs
from skeleton.geometry.arc_length import arc_lengths, line_length

WIDEST_GAP = 0.6
"""x-heights that a pen may have skipped."""

TURN_DEG, TOUCHING_TURN_DEG = 65.0, 40.0
"""How far the line may turn at either end of a gap, and where two ends touch: more is a corner, and at corners pens are
lifted."""

BREADTH = 3
"""Breaks of which each is tried as the one to close next."""

TOUCHING = 0.8
"""Pen widths: ends nearer than this have no gap whose direction could tell anything."""

SPECK = 1.2
"""Pen widths; a longer stroke is no dot."""

DOUBLED = 4.0
"""Pen widths: the longest stroke that may be left out because it lies on the ink of another."""

NEAR = 0.1
"""Elastic distance from its model, x-heights, up to which a mended attempt is believed; see `variants.SAME_FORM`."""

INK_NEAR, LIKER = 0.18, 0.9
"""Distance of ink (see `likeness`) up to which closed breaks are believed without a match stroke for stroke, and the
share of the distance before that it must have come down to."""

MOST_BREAKS = 2
"""Breaks that are closed at most without a match stroke for stroke."""

AIM = 0.3
"""x-heights of line from which its direction at an end is taken."""


@dataclass(frozen=True)
class _Join:
    """Two ends that face each other: (stroke, whether its end rather than its beginning), and the gap between, mm."""

    gap_mm: float
    one: tuple[int, bool]
    other: tuple[int, bool]


def mended(
    letters: Mapping[str, Sequence[AttemptStrokes]],
    *,
    x_height_mm: float,
    keep: Collection[str] = (),
    letterwise: Letterwise = in_turn,
) -> tuple[dict[str, list[AttemptStrokes]], frozenset[str]]:
    """Return the attempts with broken ones made whole where the others tell how, and the ids of those.

    Parameters
    ----------
    letters
        All attempts of the hand by character.
    x_height_mm
        The size in which they are written.
    keep
        Ids that are left as they are, because a person has seen to them.
    letterwise
        How work is done that concerns one character by itself.
    """
    jobs = ((char, group, x_height_mm, {w.id for w in group} & set(keep)) for char, group in letters.items())
    done = dict(zip(letters, letterwise(mended_character, jobs), strict=True))
    return {char: group for char, (group, _) in done.items()}, frozenset().union(*(ids for _, ids in done.values()))


def mended_character(
    char: str, group: Sequence[AttemptStrokes], x_height_mm: float, keep: Collection[str]
) -> tuple[list[AttemptStrokes], frozenset[str]]:
    """Return all attempts at a character with broken ones made whole, and the ids of those; see `mended`."""
    out = list(group)
    changed: set[str] = set()
    usual = [tuple(s * x_height_mm for s in form.strokes) for form in allographs(char)]
    fewest = min(len(strokes) for strokes in [*usual, *(w.strokes for w in group)])
    for i in _alone(group, fewest, x_height_mm):
        if group[i].id in keep:
            continue
        others = [w for w in group if w is not group[i]]
        # an i is like a dotless one too: only what the others have less of may be a speck
        dots = int(np.median([len(_dots(w)) for w in others])) if others else len(_dots(group[i]))
        models = [*(w.strokes for w in others), *usual]
        whole = _whole(group[i], models, dots, x_height_mm)
        if whole is not None:
            out[i] = whole
            changed.add(whole.id)
    return out, frozenset(changed)


def joins(strokes: Sequence[Points], *, pen_mm: float, x_height_mm: float) -> list[_Join]:
    """Return the ends between which a line may have broken, the nearest first.

    strokes: each of shape (n, 2), mm, y up.
    """
    ends = [(k, e) for k, s in enumerate(strokes) if line_length(s) > SPECK * pen_mm for e in (False, True)]
    found = []
    for a, (i, one) in enumerate(ends):
        for j, other in ends[a + 1 :]:
            if i == j:
                continue
            start, onwards = _end(strokes[i], one, AIM * x_height_mm)
            stop, backwards = _end(strokes[j], other, AIM * x_height_mm)
            gap = stop - start
            wide = float(np.hypot(*gap))
            if wide > WIDEST_GAP * x_height_mm:
                continue
            touching = wide <= TOUCHING * pen_mm
            along = onwards if touching else gap / wide
            turn = TOUCHING_TURN_DEG if touching else TURN_DEG
            if min(float(onwards @ along), float(-backwards @ along)) > np.cos(np.radians(turn)):
                found.append(_Join(wide, (i, one), (j, other)))
    return sorted(found, key=lambda f: f.gap_mm)


def _alone(group: Sequence[AttemptStrokes], fewest: int, x_height_mm: float) -> list[int]:
    """Return the attempts with more strokes than the fewest that are like no other as they were read."""
    if all(len(w.strokes) <= fewest for w in group):
        return []
    single = [form[0] for form in forms(group, x_height_mm=x_height_mm) if len(form) == 1]
    return [i for i in single if len(group[i].strokes) > fewest]


def _whole(
    w: AttemptStrokes, models: Sequence[Sequence[Points]], dots: int, x_height_mm: float
) -> AttemptStrokes | None:
    """Return the attempt made whole so that it matches one of the models, None if no way does; `dots` it has anyway."""
    best: tuple[float, tuple[Points, ...]] | None = None
    counts = sorted({len(m) for m in models if len(m) < len(w.strokes)})
    for count in counts:
        for strokes in _ways(w, count, dots, x_height_mm):
            for model in models:
                if len(model) == count and (found := _matched(strokes, model, x_height_mm)) is not None:
                    best = found if best is None or found[0] < best[0] else best
    if best is not None and best[0] <= NEAR:
        return replace(w, strokes=best[1])
    return _closed(w, models, x_height_mm)


def _closed(w: AttemptStrokes, models: Sequence[Sequence[Points]], x_height_mm: float) -> AttemptStrokes | None:
    """Return the attempt with its breaks closed if its ink as a whole is then like that of a model, None if it is not.

    It keeps a form of its own, which is blended with no other.
    """
    clouds = np.array([_ink(m, x_height_mm) for m in models])
    ways = [strokes for _, strokes in _closings(list(w.strokes), MOST_BREAKS, w.width_mm, x_height_mm)]
    far = distances(np.array([_ink(strokes, x_height_mm) for strokes in ways]), clouds).min(axis=1)
    best = int(np.argmin(far))
    return replace(w, strokes=tuple(ways[best])) if far[best] < min(INK_NEAR, LIKER * far[0]) else None


def _ink(strokes: Sequence[Points], x_height_mm: float) -> Points:
    return normal(cloud([s / x_height_mm for s in strokes]))


def _ways(w: AttemptStrokes, count: int, dots: int, x_height_mm: float) -> Iterator[list[Points]]:
    """Yield the strokes of an attempt with specks left out and breaks closed, so that `count` are left."""
    specks = _specks(w, dots)
    for left_out in range(min(len(specks), len(w.strokes) - count) + 1):
        strokes = [s for k, s in enumerate(w.strokes) if k not in specks[:left_out]]
        for times, closed in _closings(strokes, len(strokes) - count, w.width_mm, x_height_mm):
            if times == len(strokes) - count:
                yield closed


def _closings(
    strokes: list[Points], most: int, pen_mm: float, x_height_mm: float
) -> Iterator[tuple[int, list[Points]]]:
    """Yield the strokes with no, one, two ... breaks closed, up to `most`, in the likeliest ways."""
    yield 0, strokes
    if most > 0:
        for join in joins(strokes, pen_mm=pen_mm, x_height_mm=x_height_mm)[:BREADTH]:
            closed = _joined(strokes, join, AIM * x_height_mm)
            yield from ((n + 1, c) for n, c in _closings(closed, most - 1, pen_mm, x_height_mm))


def _specks(w: AttemptStrokes, dots: int) -> list[int]:
    """Return the strokes that may be specks, or lie on the ink of others, the shortest first; `dots` are none."""
    out = _dots(w)[: max(0, len(_dots(w)) - dots)]
    for k, s in enumerate(w.strokes):
        rest = [o for i, o in enumerate(w.strokes) if i != k and line_length(o) > line_length(s)]
        if k in out or not rest or line_length(s) > DOUBLED * w.width_mm:
            continue
        if nearest_distance(s, np.vstack(rest)).max() < TOUCHING * w.width_mm:
            out.append(k)
    return sorted(out, key=lambda k: line_length(w.strokes[k]))


def _dots(w: AttemptStrokes) -> list[int]:
    """Return the strokes that are dots, the shortest first."""
    found = [k for k, s in enumerate(w.strokes) if line_length(s) <= SPECK * w.width_mm]
    return sorted(found, key=lambda k: line_length(w.strokes[k]))


def _joined(strokes: Sequence[Points], join: _Join, reach_mm: float) -> list[Points]:
    """Return the strokes with two of them made one, in the place of the first."""
    (i, one), (j, other) = join.one, join.other
    first = strokes[i] if one else strokes[i][::-1]
    second = strokes[j][::-1] if other else strokes[j]
    line = np.vstack([first, _bridge(first, second[::-1], join.gap_mm, reach_mm), second])
    return [line if k == min(i, j) else s for k, s in enumerate(strokes) if k != max(i, j)]


def _bridge(first: Points, second: Points, gap_mm: float, reach_mm: float) -> Points:
    """Return points between the ends of two strokes, on the cubic that runs on in the direction of both."""
    (start, onwards), (stop, backwards) = _end(first, True, reach_mm), _end(second, True, reach_mm)
    t = np.linspace(0, 1, 12)[1:-1, None]
    a, b = start + onwards * gap_mm / 3, stop + backwards * gap_mm / 3
    return np.asarray((1 - t) ** 3 * start + 3 * (1 - t) * t * ((1 - t) * a + t * b) + t**3 * stop, float)


def _matched(
    strokes: Sequence[Points], model: Sequence[Points], x_height_mm: float
) -> tuple[float, tuple[Points, ...]] | None:
    """Return how far strokes, in the order and direction that suit best, are from a model, and themselves like that."""
    # here, because whoever writes with a font imports this too
    from scipy.optimize import linear_sum_assignment

    n = len(model)
    mine, theirs = ([s / x_height_mm for s in group] for group in (strokes, model))
    there = [features(s) for s in theirs]
    ways = [like(mine, theirs), [s[::-1] for s in like(mine, theirs)]]
    pairs = [(way, i, j) for way in (0, 1) for i in range(n) for j in range(n)]
    a = np.stack([features(ways[way][i]) for way, i, _ in pairs])
    cost = stroke_distances(a, np.stack([there[j] for _, _, j in pairs])).reshape(2, n, n)
    rows, columns = linear_sum_assignment(cost.min(axis=0) * _weights(mine)[:, None])
    order = rows[np.argsort(columns)]
    turned = cost[1, order, np.arange(n)] < cost[0, order, np.arange(n)]
    if any((len(strokes[i]) == 1) != (len(model[j]) == 1) for j, i in enumerate(order)):
        return None
    weight = _weights(mine)[order]
    far = float((cost.min(axis=0)[order, np.arange(n)] * weight).sum() / weight.sum())
    return far, tuple(strokes[i][::-1] if back else strokes[i] for i, back in zip(order, turned, strict=True))


def _weights(strokes: Sequence[Points]) -> Points:
    return np.array([0.15 + line_length(s) for s in strokes])


def _end(stroke: Points, at_end: bool, reach_mm: float) -> tuple[Points, Points]:
    """Return one end of a stroke and the direction in which it runs on there, (0, 0) for a dot."""
    s = stroke if at_end else stroke[::-1]
    way = arc_lengths(s[::-1])
    back = s[::-1][min(int(np.searchsorted(way, reach_mm)), len(s) - 1)]
    return s[-1], _unit(s[-1] - back)


def _unit(d: Points) -> Points:
    long = float(np.hypot(*d))
    return np.asarray(d / long if long > 1e-9 else d * 0.0, float)
