"""Whose edge a pixel is at, against distances measured to the segments one by one.

Source: the distance of a point to a segment, e.g. C. Ericson, Real-Time Collision Detection (2005), section 5.1.2; and
`scipy.spatial.cKDTree` on the same lines in fine steps.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from skeleton.fitting.signed_distance import LANES, NEAR, NEXT, WHOSE, WHOSE_NEXT, at_edges, blank, find_edges, numbered

REACH = 1.3
SIZE = (90, 101)

Floats = NDArray[np.float64]
Strokes = tuple[Floats, Floats, NDArray[np.int64]]
"""Points, half-widths, and the number of every point's stroke."""


def written(seed: int) -> Strokes:
    """Return three wandering lines and a dot."""
    rng = np.random.default_rng(seed)
    lines = [20 + 50 * rng.random(2) + np.cumsum(rng.normal(0, 1.6, (n, 2)), axis=0) for n in (25, 14, 9)]
    lines.append(rng.uniform(10, 80, (1, 2)))
    stroke = np.repeat(np.arange(len(lines)), [len(p) for p in lines])
    return np.concatenate(lines), rng.uniform(2.4, 3.2, len(stroke)), stroke


def asked(strokes: Strokes, *, first: int = 0, every: int = 1) -> Floats:
    """Return what is known of every pixel, shape (4, height, width)."""
    points, half, stroke = strokes
    number, point = numbered(stroke)
    known = blank(*SIZE)
    known[:] = np.nan
    find_edges(points, half, number, REACH, first, every, known)
    flat = known.transpose(2, 0, 1, 3).reshape(4, SIZE[0], -1)[:, :, : SIZE[1]].astype(float)
    for k in (WHOSE, WHOSE_NEXT):
        there = flat[k] >= 0
        flat[k][there] = point[flat[k][there].astype(int)]
    return flat


def one_by_one(strokes: Strokes) -> tuple[Floats, NDArray[np.int64]]:
    """Return the distance of every pixel from the edge of every segment, (segments, height, width), and its start."""
    points, half, stroke = strokes
    last = np.append(stroke[1:] != stroke[:-1], True)
    alone = last & np.append(True, last[:-1])
    starts = np.flatnonzero(~last | alone)
    y, x = np.mgrid[: SIZE[0], : SIZE[1]]
    out = []
    for i in starts:
        j = i if alone[i] else i + 1
        way = points[j] - points[i]
        along = (x - points[i, 0]) * way[0] + (y - points[i, 1]) * way[1]
        u = np.clip(along / max(way @ way, 1e-12), 0, 1)
        away = np.hypot(x - points[i, 0] - u * way[0], y - points[i, 1] - u * way[1])
        out.append(away - half[i] - u * (half[j] - half[i]))
    return np.array(out), starts


@pytest.mark.parametrize("seed", range(8))
def test_every_pixel_near_an_edge_knows_the_nearest(seed: int) -> None:
    strokes = written(seed)
    found, (each, starts) = asked(strokes), one_by_one(strokes)
    near = each.min(axis=0)
    # at the very end of its reach a segment that widens is heard a little further or a little less far
    band = np.abs(near) < REACH - 0.2
    assert band.sum() > 200
    assert np.abs(found[NEAR] - near)[band].max() < 1e-4
    whose = found[WHOSE][band].astype(int)
    assert np.abs(each[np.searchsorted(starts, whose)][:, band][np.arange(len(whose)), np.arange(len(whose))]
                  - near[band]).max() < 1e-4  # fmt: skip


@pytest.mark.parametrize("seed", range(8))
def test_among_strokes_of_one_segment_each_the_two_nearest_are_known(seed: int) -> None:
    rng = np.random.default_rng(seed)
    starts = rng.uniform(15, 75, (14, 2))
    points = np.stack([starts, starts + rng.normal(0, 6, (14, 2))], axis=1).reshape(-1, 2)
    strokes = points, np.full(len(points), 2.8), np.repeat(np.arange(14), 2)
    found, (each, first) = asked(strokes), one_by_one(strokes)
    near, following = np.sort(each, axis=0)[:2]
    both = (np.abs(near) < REACH - 0.2) & (np.abs(following) < REACH - 0.2)
    assert both.sum() > 20
    assert np.abs(found[NEXT] - following)[both].max() < 1e-4
    assert np.array_equal(found[WHOSE_NEXT][both], first[np.argsort(each, axis=0)[1][both]])


def test_the_nearest_edge_is_where_a_general_library_finds_the_nearest_point() -> None:
    points, _, stroke = written(3)
    half = np.full(len(points), 2.7)
    fine = np.concatenate([
        points[i] + np.linspace(0, 1, 60)[:, None] * (points[i + (i + 1 < len(stroke) and stroke[i + 1] == stroke[i])]
                                                       - points[i])
        for i in range(len(points))
    ])  # fmt: skip
    known = blank(*SIZE)
    find_edges(points, half, numbered(stroke)[0], REACH, 0, 1, known)
    found = known[:, :, NEAR].reshape(SIZE[0], -1)[:, : SIZE[1]]
    y, x = np.mgrid[: SIZE[0], : SIZE[1]]
    away = cKDTree(fine).query(np.stack([x, y], axis=-1))[0] - 2.7
    band = np.abs(away) < REACH - 0.1
    assert np.abs(found - away)[band].max() < 0.01


def test_every_second_row_is_what_all_rows_have_there() -> None:
    every = asked(written(5))
    for first in (0, 1):
        rows = asked(written(5), first=first, every=2)
        assert np.array_equal(rows[:, first::2], every[:, first::2])
        assert np.isnan(rows[:, 1 - first :: 2]).all()


def test_pixels_at_edges_are_listed_once_and_none_beyond_the_image() -> None:
    points, half, stroke = written(2)
    known = blank(*SIZE)
    find_edges(points, half, numbered(stroke)[0], REACH, 0, 1, known)
    rows, columns = (np.empty(known.size // 4 + 1, np.int32) for _ in range(2))
    count = at_edges(known, SIZE[1], REACH, 0, 1, rows, columns)
    found = known[:, :, NEAR].reshape(SIZE[0], -1)[:, : SIZE[1]]
    y, x = np.nonzero(np.abs(found) <= REACH)
    assert SIZE[1] % LANES
    assert np.array_equal(rows[:count], y)
    assert np.array_equal(columns[:count], x)
