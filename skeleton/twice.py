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
from skeleton.quantiles import quantile
from skeleton.twice_kernels import across, runs_of_ink, told_of_places

Floats = NDArray[np.float64]

BOUNDS = (-4.0, 5.0)
"""Log odds are kept within these: the ink alone never settles it."""


def widths(ink: InkMap, places: Points, headings: Points) -> Floats:
    """Return the width of the ink across the line at every place, px; NaN where it is not bounded by paper."""
    reach = 1.3 * ink.pen_px
    t = np.linspace(-reach, reach, 2 * int(np.ceil(reach / 0.5)) + 1)
    dark = sample(ink, across(places, headings, t))
    return np.asarray(runs_of_ink(dark, float(t[1] - t[0])), float)


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
    return np.zeros(len(places)) if told is None else np.minimum(np.maximum(log_odds(told), BOUNDS[0]), BOUNDS[1])


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
    usual, middle, wide = (max(float(quantile(known, share)), 0.3 * pen_px) for share in (0.2, 0.5, 0.8))
    size = max(float(np.ptp(places, axis=0).max()), 1e-6)
    unknown = (len(width) - len(known)) / len(width)
    whole = np.array([wide / usual, middle / usual, usual / pen_px, size / pen_px / 20, unknown])
    free = np.array(net.junction_of) < 0
    told: Floats = told_of_places(width, usual, whole, places, headings, first, free, places.min(axis=0), size)
    return told


def log_odds(told: Floats) -> Floats:
    """Return the log odds that the network gives for features, shape (n,)."""
    mean, spread, layers, at = network()
    x = np.minimum(np.maximum((told - mean) / spread, -6), 6)
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
