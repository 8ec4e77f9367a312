"""Where the pen passed twice: what the ink's width and its place in the figure tell of a retrace.

A retrace misses the first line by some part of a width, here more, there less, so the ink is wider by as much; and it
begins at a tip, a corner, the top of a stem. A small network (two hidden layers) weighs both, trained on people's pen
strokes and on simulated ones; `tests.bench trace_twice` trains and scores it.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.evidence import sample
from skeleton.ink_map import InkMap
from skeleton.network import Network

Floats = NDArray[np.float64]

AROUND = 10
"""Places before and after, half a pen width apart, whose ink is looked at."""

FAR = 20.0
"""Places from an end at which it no longer matters."""

BOUNDS = (-4.0, 5.0)
"""Log odds are kept within these: the ink alone never settles it."""


def widths(ink: InkMap, places: Points, headings: Points) -> Floats:
    """Return the width of the ink across the line at every place, px; NaN where it is not bounded by paper."""
    reach = 1.3 * ink.pen_px
    t = np.linspace(-reach, reach, 2 * int(np.ceil(reach / 0.5)) + 1)
    normal = np.stack([-headings[:, 1], headings[:, 0]], axis=1)
    dark = np.clip(sample(ink, places[:, None] + t[:, None] * normal[:, None]), 0, 1)
    mid = len(t) // 2
    inside = dark > 0.18
    right = np.minimum.accumulate(inside[:, mid:], axis=1)
    left = np.minimum.accumulate(inside[:, mid::-1], axis=1)[:, ::-1]
    run = np.concatenate([left, right[:, 1:]], axis=1)
    out = np.where(run, dark, 0).sum(axis=1) * (t[1] - t[0])
    out[run[:, 0] | run[:, -1]] = np.nan
    return np.asarray(out, float)


def doubled(net: Network, ink: InkMap, places: Points, headings: Points, first: NDArray[np.int32]) -> Floats:
    """Return for every place the log odds that a pen passed twice rather than once, all else equal.

    Parameters
    ----------
    places, headings
        Shape (n, 2), px and unit vectors along the pieces of the network.
    first
        The first place of every piece, and the end of the last.
    """
    told = features(net, widths(ink, places, headings), ink.pen_px, places, headings, first)
    return np.zeros(len(places)) if told is None else np.clip(log_odds(told), *BOUNDS)


def features(
    net: Network, width: Floats, pen_px: float, places: Points, headings: Points, first: NDArray[np.int32]
) -> Floats | None:
    """Return what is told at every place, shape (places, features); None where no width is measured.

    Every place is seen from the nearer free tip of its piece, or going down where there is none, so that lines written
    in any direction look alike.
    """
    known = width[~np.isnan(width)]
    if len(known) < 4:
        return None
    usual, middle, wide = np.maximum(np.percentile(known, [20, 50, 80]), 0.3 * pen_px)
    n = len(width)
    piece = np.repeat(np.arange(len(first) - 1), np.diff(first))
    low, high = first[:-1][piece], first[1:][piece] - 1
    i = np.arange(n)
    free = np.array(net.junction_of)[piece] < 0
    before = np.where(free[:, 0], i - low, FAR)
    after = np.where(free[:, 1], high - i, FAR)
    back = np.where(free.any(axis=1), before > after, headings[:, 1] < 0)
    sign = np.where(back, -1, 1)
    at = i[:, None] + sign[:, None] * np.arange(-AROUND, AROUND + 1)
    inside = np.clip(at, low[:, None], high[:, None])
    window = width[inside] / usual
    unknown = (at != inside) | np.isnan(window)
    window = np.where(unknown, 0.0, np.clip(window - 1.1, -0.5, 1.2))
    close = window[:, AROUND - 4 : AROUND + 5]
    ahead = headings * sign[:, None]

    def turn(k: int) -> list[Floats]:
        a, b = (headings[np.clip(i + d * sign, low, high)] * sign[:, None] for d in (-k, k))
        return [(a * b).sum(axis=1), a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]]

    corner = places.min(axis=0)
    size = max(float(np.ptp(places, axis=0).max()), 1e-6)
    near, far = np.where(back, high - i, i - low), np.where(back, i - low, high - i)
    whole = [wide / usual, middle / usual, usual / pen_px, size / pen_px / 20, float(np.isnan(width).mean())]
    return np.column_stack(
        [window, unknown[:, AROUND - 6 : AROUND + 7], np.minimum(near, FAR), np.minimum(far, FAR),
         free.any(axis=1), free.all(axis=1), ahead, *turn(3), *turn(7), (places - corner) / size,
         *(np.full(n, v) for v in whole), window.mean(axis=1), close.std(axis=1),
         np.abs(np.diff(close, axis=1)).mean(axis=1), window[:, AROUND - 2 : AROUND + 3].mean(axis=1),
         close.min(axis=1), close.max(axis=1)]
    ).astype(float)  # fmt: skip


def log_odds(told: Floats) -> Floats:
    """Return the log odds that the network gives for features, shape (n,)."""
    mean, spread, layers, at = network()
    x = np.clip((told - mean) / spread, -6, 6)
    for weights, offset in layers[:-1]:
        x = np.maximum(x @ weights + offset, 0)
    weights, offset = layers[-1]
    return np.asarray((x @ weights + offset)[:, 0] - at, float)


@lru_cache(maxsize=1)
def network() -> tuple[Floats, Floats, list[tuple[Floats, Floats]], float]:
    """Return the means and spreads of the features, the layers, and the log odds of any place."""
    with (files("skeleton") / "twice.npz").open("rb") as f:
        kept = np.load(f)
        layers = [(kept[f"weights_{k}"].astype(float), kept[f"offsets_{k}"].astype(float)) for k in range(3)]
        return kept["mean"].astype(float), kept["spread"].astype(float), layers, float(kept["at"])
