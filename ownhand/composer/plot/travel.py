"""Least pen-up travel: another order of the paths, and another end to begin some of them at.

Nearest neighbour, then 2-opt until nothing gets shorter or the passes are used up (Croes, Operations Research 6, 1958).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from capture.units import Points
from ownhand.composer.plot.plot_page import Index, PlotPage, pen_up_travel_mm, reordered

PASSES = 6
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
    taken = np.zeros(2 * n)
    order, turned = np.zeros(n, np.int64), np.zeros(n, bool)
    for i in range(n):
        end = int(np.argmin(((ends - at) ** 2).sum(axis=1) + taken))
        order[i], turned[i] = end % n, end >= n
        taken[[order[i], order[i] + n]] = np.inf
        at = first[order[i]] if turned[i] else last[order[i]]
    return order, turned


def _untangle(first: Points, last: Points, order: Index, turned: np.ndarray, at: Points) -> tuple[Index, np.ndarray]:
    """Turn round stretches of the tour while that shortens it."""
    n = len(order)
    order, turned = order.copy(), turned.copy()
    for _ in range(PASSES):
        changed = False
        for i in range(n - 1):
            start = np.where(turned[:, None], last[order], first[order])
            end = np.where(turned[:, None], first[order], last[order])
            before = at if i == 0 else end[i - 1]
            j = np.arange(i, n)
            after = np.vstack([start[i + 1 :], start[-1:]])
            closing = np.hypot(*(end[j] - after).T)
            closing_new = np.hypot(*(start[i] - after).T)
            closing[-1] = closing_new[-1] = 0.0
            gain = np.hypot(*(before - start[i])) + closing - np.hypot(*(before - end[j]).T) - closing_new
            best = int(np.argmax(gain))
            if gain[best] > 1e-6:
                stop = i + best + 1
                order[i:stop] = order[i:stop][::-1]
                turned[i:stop] = ~turned[i:stop][::-1]
                changed = True
        if not changed:
            break
    return order, turned
