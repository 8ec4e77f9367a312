"""Least pen-up travel: another order of the paths, and another end to begin some of them at.

Nearest neighbour, then 2-opt until nothing gets shorter or the passes are used up (Croes, Operations Research 6, 1958).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from capture.units import Points
from ownhand.composer.plot.plot_page import Index, PlotPage, pen_up_travel_mm, reordered

PASSES = 6

ALL_TRIED = 1500
"""Up to so many paths all stretches are tried, which takes time by the square of their number."""

STRETCH, FEWER_PASSES = 200, 3
"""With more paths, the longest stretch that is tried, and how often: time then grows with their number alone."""

FEW = 500
"""Ends from which on a tree finds the nearest faster than a look at all of them."""
HOME = (0.0, 0.0)


def least_travel(page: PlotPage) -> PlotPage:
    """Return the page in an order with little pen-up travel, never more than it had. Pens stay apart, lowest first."""
    if len(page) < 3:
        return page
    first, last = page.ends_mm
    orders, turns = [], []
    at = np.array(HOME)
    for pen in np.unique(page.pen):
        own = np.flatnonzero(page.pen == pen)
        order, turned = _nearest(first[own], last[own], at)
        order, turned = _untangle(first[own], last[own], order, turned, at)
        orders.append(own[order])
        turns.append(turned)
        k = own[order[-1]]
        at = first[k] if turned[-1] else last[k]
    better = reordered(page, np.concatenate(orders), np.concatenate(turns))
    written = pen_up_travel_mm(page)
    return replace(better, writing_travel_mm=written) if pen_up_travel_mm(better) < written else page


def _nearest(first: Points, last: Points, at: Points) -> tuple[Index, np.ndarray]:
    """Return an order and directions by always going to the nearest end that is left."""
    n = len(first)
    ends = np.vstack([first, last])
    taken = np.zeros(2 * n, bool)
    order, turned = np.zeros(n, np.int64), np.zeros(n, bool)
    near = _Near(ends, taken)
    for i in range(n):
        end = near.nearest(at)
        order[i], turned[i] = end % n, end >= n
        taken[[order[i], order[i] + n]] = True
        at = first[order[i]] if turned[i] else last[order[i]]
    return order, turned


class _Near:
    """Finds the nearest of the ends that are left: all looked at while they are few, in a tree while they are many."""

    def __init__(self, ends: Points, taken: np.ndarray) -> None:
        self._ends, self._taken = ends, taken
        self._plant()

    def _plant(self) -> None:
        self._left = np.flatnonzero(~self._taken)
        self._places = self._ends[self._left]
        # here, because few pages are put into another order, and SciPy takes as long as a page
        from scipy.spatial import cKDTree

        self._tree = cKDTree(self._places) if len(self._left) > FEW else None
        self._asked = 0

    def nearest(self, at: Points) -> int:
        """Return the number of the end nearest to `at`, of equals the first."""
        self._asked += 1
        if self._asked > max(FEW // 4, len(self._left) // 4):
            self._plant()
        if self._tree is not None:
            near = 8
            while near < len(self._left):
                _, found = self._tree.query(at, near)
                free = found[~self._taken[self._left[found]]]
                if len(free):
                    return int(self._left[free[0]])
                near *= 8
        away = ((self._places - at) ** 2).sum(axis=1) + np.where(self._taken[self._left], np.inf, 0.0)
        return int(self._left[int(np.argmin(away))])


def _untangle(first: Points, last: Points, order: Index, turned: np.ndarray, at: Points) -> tuple[Index, np.ndarray]:
    """Turn round stretches of the tour while that shortens it; of many paths only stretches of `STRETCH` are tried."""
    n = len(order)
    order, turned = order.copy(), turned.copy()
    start = np.where(turned[:, None], last[order], first[order])
    end = np.where(turned[:, None], first[order], last[order])
    stretch = n if n <= ALL_TRIED else STRETCH
    for _ in range(PASSES if n <= ALL_TRIED else FEWER_PASSES):
        changed = False
        for i in range(n - 1):
            before = at if i == 0 else end[i - 1]
            top = min(n, i + stretch)
            after = start[i + 1 : top + 1]
            if top == n:
                after = np.vstack([after, start[-1:]])
            closing = np.hypot(*(end[i:top] - after).T)
            closing_new = np.hypot(*(start[i] - after).T)
            if top == n:
                closing[-1] = closing_new[-1] = 0.0
            gain = np.hypot(*(before - start[i])) + closing - np.hypot(*(before - end[i:top]).T) - closing_new
            best = int(np.argmax(gain))
            if gain[best] > 1e-6:
                stop = i + best + 1
                order[i:stop] = order[i:stop][::-1]
                turned[i:stop] = ~turned[i:stop][::-1]
                start[i:stop], end[i:stop] = end[i:stop][::-1].copy(), start[i:stop][::-1].copy()
                changed = True
        if not changed:
            break
    return order, turned
