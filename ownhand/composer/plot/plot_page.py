"""A page for the plotter: pen-down paths in the order in which they are drawn.

Frame: page (mm, origin at the top left corner, y down).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from ownhand.composer.plot.smooth_joins import joined
from ownhand.composer.settings.pens import Pen

Index = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class PlotPage:
    """K pen-down paths of cubic Bezier pieces, end to start. A path of one point is a dot."""

    number: int
    """From 1."""

    size_mm: tuple[float, float]
    margins_mm: tuple[float, float, float, float]
    """Top, right, bottom, left."""

    points_mm: Points
    """Shape (P, 2): the control points of all paths, one after another, each of 3 k + 1."""

    starts: Index
    """Shape (K + 1,): where each path begins in `points_mm`; the last is P."""

    line: Index
    """Shape (K,), as the next three: which line of the page each path belongs to, from 0, top to bottom of each box."""

    word: Index
    letter: Index
    """Words and letters counted from 0 over the page; a path that joins letters bears the number of the first."""

    pen: Index
    """From 1."""

    chars: tuple[str, ...]
    """The character of each letter."""

    pens: tuple[Pen, ...] = (Pen(),)
    pen_mm: float = 0.4
    """Width of the line of pens that have none of their own, as measured in the hand."""

    family: str = ""
    writing_travel_mm: float | None = None
    """Pen-up travel in the order of writing, where the paths are in another."""

    held: NDArray[np.bool_] | None = None
    """For each letter whether the pen stays down to the next, shape (letters,); None: not known, nearness decides."""

    def __len__(self) -> int:
        return len(self.starts) - 1

    def pen_of(self, number: int) -> Pen:
        """Return a pen by its number, from 1; a plain one where there are fewer."""
        return self.pens[number - 1] if number <= len(self.pens) else Pen()

    def width_of(self, number: int) -> float:
        """Return the width of the line that a pen draws, mm."""
        return self.pen_of(number).width_mm or self.pen_mm

    def path(self, k: int) -> Points:
        """Return the control points of path k."""
        return self.points_mm[self.starts[k] : self.starts[k + 1]]

    def paths(self) -> Iterator[Points]:
        """Yield the control points of each path."""
        for a, b in pairwise(self.starts.tolist()):
            yield self.points_mm[a:b]

    @property
    def ends_mm(self) -> tuple[Points, Points]:
        """First and last points of all paths, each of shape (K, 2)."""
        return self.points_mm[self.starts[:-1]], self.points_mm[self.starts[1:] - 1]

    def bounds_mm(self) -> tuple[float, float, float, float]:
        """Return x min, y min, x max, y max of all control points, which hold the curves between them."""
        if not len(self):
            return (0.0, 0.0, 0.0, 0.0)
        (x0, y0), (x1, y1) = self.points_mm.min(axis=0), self.points_mm.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)


def over_edge(
    page: PlotPage, x_mm: tuple[float, float], y_mm: tuple[float, float], *, slack_mm: float
) -> tuple[str, float] | None:
    """Return where the writing leaves a rectangle: the axis, 'x' or 'y', and how far it reaches; None if nowhere.

    x_mm, y_mm: the rectangle's least and greatest; slack_mm: how far over it is let.
    """
    if not len(page):
        return None
    x0, y0, x1, y1 = page.bounds_mm()
    for axis, at, (low, high) in (("x", x0, x_mm), ("x", x1, x_mm), ("y", y0, y_mm), ("y", y1, y_mm)):
        if not low - slack_mm <= at <= high + slack_mm:
            return axis, at
    return None


def reordered(page: PlotPage, order: Index, turned: NDArray[np.bool_] | None = None) -> PlotPage:
    """Return the page with its paths in another order, those of `turned` (by new place) drawn from their other end."""
    sizes = np.diff(page.starts)[order]
    starts = np.concatenate([[0], np.cumsum(sizes)])
    within = np.arange(starts[-1]) - np.repeat(starts[:-1], sizes)
    if turned is not None:
        back = np.repeat(turned, sizes)
        within = np.where(back, np.repeat(sizes, sizes) - 1 - within, within)
    points = page.points_mm[np.repeat(page.starts[:-1][order], sizes) + within]
    return replace(
        page, points_mm=points, starts=starts.astype(np.int64), line=page.line[order], word=page.word[order],
        letter=page.letter[order], pen=page.pen[order],
    )  # fmt: skip


def by_pen(page: PlotPage) -> PlotPage:
    """Return the page with the paths of each pen together, pens ascending, so that every pen is taken once."""
    if len(page) < 2 or bool(np.all(np.diff(page.pen) >= 0)):
        return page
    return reordered(page, np.argsort(page.pen, kind="stable"))


def merged(page: PlotPage, *, within_letter_mm: float, between_letters_mm: float, join_mm: float = 0.0) -> PlotPage:
    """Return the page with each path that begins where the one before it ended drawn without lifting the pen.

    The short way between is bridged by a cubic that runs on in the direction of both.

    Parameters
    ----------
    within_letter_mm, between_letters_mm
        How near the two ends must be, for paths of one letter, and of neighbouring letters of one word. Signs that are
        no letters are joined to nothing.
    join_mm
        Where it is known where the pen stays down: how much of both letters is drawn anew to go on without a corner.
    """
    k = len(page)
    if k < 2:
        return page
    first, last = page.ends_mm
    sizes = np.diff(page.starts)
    away = np.hypot(*(first[1:] - last[:-1]).T)
    step = page.letter[1:] - page.letter[:-1]
    is_letter = np.array([c.isalpha() for c in page.chars], bool)[page.letter]
    beside = (step == 1) & is_letter[1:] & is_letter[:-1]
    if page.held is not None:
        beside &= page.held[page.letter[:-1]]
    near = ((step == 0) & (away <= within_letter_mm)) | (beside & (away <= between_letters_mm))
    meet = (
        near & (page.word[1:] == page.word[:-1]) & (page.line[1:] == page.line[:-1]) & (page.pen[1:] == page.pen[:-1])
    )
    meet &= (sizes[1:] > 1) & (sizes[:-1] > 1)
    if page.held is not None and join_mm:
        return _run_together(page, meet, meet & (step == 1), join_mm)
    at = np.flatnonzero(meet)
    if not len(at):
        return page
    leaving = _unit(last[at] - page.points_mm[page.starts[at + 1] - 2])
    arriving = _unit(page.points_mm[page.starts[at + 1] + 1] - first[at + 1])
    third = (away[at] / 3)[:, None]
    bridge = np.stack([last[at] + leaving * third, first[at + 1] - arriving * third], axis=1).reshape(-1, 2)
    points = np.insert(page.points_mm, np.repeat(page.starts[at + 1], 2), bridge, axis=0)
    begins = np.concatenate([[True], ~meet])
    moved = page.starts[:-1] + 2 * np.concatenate([[0], np.cumsum(meet)])
    keep = np.flatnonzero(begins)
    starts = np.concatenate([moved[keep], [len(points)]]).astype(np.int64)
    return replace(
        page, points_mm=points, starts=starts, line=page.line[keep], word=page.word[keep], letter=page.letter[keep],
        pen=page.pen[keep],
    )  # fmt: skip


def _run_together(page: PlotPage, merge: NDArray[np.bool_], joins: NDArray[np.bool_], reach_mm: float) -> PlotPage:
    """Return the page with paths run together where `merge` says so, by a smooth join where `joins` does."""
    paths: list[Points] = []
    for k, path in enumerate(page.paths()):
        if not k or not merge[k - 1]:
            paths.append(path)
        elif joins[k - 1]:
            paths[-1] = joined(paths[-1], path, reach_mm)
        else:
            between = np.linspace(paths[-1][-1], path[0], 4)[1:3]
            paths[-1] = np.concatenate([paths[-1], between, path])
    keep = np.flatnonzero(np.concatenate([[True], ~merge]))
    starts = np.concatenate([[0], np.cumsum([len(p) for p in paths])]).astype(np.int64)
    return replace(
        page, points_mm=np.concatenate(paths), starts=starts, line=page.line[keep], word=page.word[keep],
        letter=page.letter[keep], pen=page.pen[keep],
    )  # fmt: skip


def _unit(d: Points) -> Points:
    length = np.hypot(d[:, 0], d[:, 1])[:, None]
    return np.asarray(d / np.where(length > 1e-9, length, 1.0), float)


def pen_up_travel_mm(page: PlotPage, *, start_mm: tuple[float, float] = (0.0, 0.0)) -> float:
    """Return how far the pen moves lifted, from `start_mm` to the first path and from path to path."""
    if not len(page):
        return 0.0
    first, last = page.ends_mm
    way = np.vstack([first, [[0.0, 0.0]]])[:-1] - np.vstack([[start_mm], last[:-1]])
    return float(np.hypot(way[:, 0], way[:, 1]).sum())


def flatten(points: Points, starts: Index, *, within_mm: float = 0.01) -> tuple[Points, Index]:
    """Return all paths as polylines that stay within `within_mm` of the curves, and where each begins.

    The number of steps of a piece follows from the second differences of its control points:
    n >= sqrt(3 / 4 * max |difference| / tolerance) (Wang, The subdivision method for finding the intersection between
    two Bezier curves or surfaces, 1984).
    """
    sizes = np.diff(starts)
    pieces = sizes // 3
    n = int(pieces.sum())
    if n == 0:
        return points.copy(), starts.copy()
    path_of = np.repeat(np.arange(len(sizes)), pieces)
    nth = np.arange(n) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    at = starts[:-1][path_of] + 3 * nth
    p0, p1, p2, p3 = (points[at + i] for i in range(4))
    bend = np.maximum(np.hypot(*(p0 - 2 * p1 + p2).T), np.hypot(*(p1 - 2 * p2 + p3).T))
    steps = np.clip(np.ceil(np.sqrt(0.75 * bend / within_mm)), 1, 200).astype(np.int64)
    total = int(steps.sum())
    piece = np.repeat(np.arange(n), steps)
    t = ((np.arange(total) - np.repeat(np.cumsum(steps) - steps, steps) + 1) / steps[piece])[:, None]
    s = 1 - t
    on = s**3 * p0[piece] + 3 * s**2 * t * p1[piece] + 3 * s * t**2 * p2[piece] + t**3 * p3[piece]
    counts = np.bincount(path_of, weights=steps, minlength=len(sizes)).astype(np.int64) + 1
    out_starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    out = np.empty((out_starts[-1], 2))
    is_first = np.zeros(len(out), bool)
    is_first[out_starts[:-1]] = True
    out[is_first] = points[starts[:-1]]
    out[~is_first] = on
    return out, out_starts
