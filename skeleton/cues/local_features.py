"""What is measured at every place of the lines: the ink's width and centre there, and where in the figure it lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.cues.local_features_kernels import FEATURE_COUNT, across, ink_runs, place_features
from skeleton.geometry.quantiles import quantile
from skeleton.graph.junctions import Network
from skeleton.ink.darkness import sample
from skeleton.ink.ink_map import InkMap

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Measured:
    """The ink across the line at every place."""

    width: Floats
    """Shape (n,), px; NaN where it is not bounded by paper."""

    centre: Points
    """Shape (n, 2), px: the middle of the ink across the line, nearer to where the pen went than the thinned line is;
    the place itself where it is not bounded."""

    usual: float
    """Width of the ink where the pen passed once, px."""


def measure(ink: InkMap, places: Points, headings: Points) -> Measured:
    """Return what the ink is like across the line at places, (n, 2) px; headings (n, 2), unit vectors along it."""
    reach = 1.3 * ink.pen_px
    t = np.linspace(-reach, reach, 2 * int(np.ceil(reach / 0.5)) + 1)
    dark = sample(ink, across(places, headings, t))
    width, off = ink_runs(dark, float(t[1] - t[0]))
    normal = np.stack([-headings[:, 1], headings[:, 0]], axis=1)
    known = width[~np.isnan(width)]
    usual = max(float(quantile(known, 0.2)), 0.3 * ink.pen_px) if len(known) else ink.pen_px
    return Measured(width, places + off[:, None] * normal, usual)


def features(
    net: Network, measured: Measured, pen_px: float, places: Points, headings: Points, first: NDArray[np.int32]
) -> Floats:
    """Return what is told at every place, shape (places, FEATURE_COUNT); zeros where hardly any width is measured.

    Every place is seen from the nearer free tip of its piece, or going down where there is none, so that lines written
    in any direction look alike.

    Parameters
    ----------
    places, headings
        Shape (n, 2), px and unit vectors along the pieces of the network.
    first
        The first place of every piece, and the end of the last.
    """
    width, usual = measured.width, measured.usual
    known = width[~np.isnan(width)]
    if len(known) < 4:
        return np.zeros((len(width), FEATURE_COUNT))
    middle, wide = (max(float(quantile(known, share)), 0.3 * pen_px) for share in (0.5, 0.8))
    size = max(float(np.ptp(places, axis=0).max()), 1e-6)
    unknown = (len(width) - len(known)) / len(width)
    whole = np.array([wide / usual, middle / usual, usual / pen_px, size / pen_px / 20, unknown])
    free = np.array(net.junction_of) < 0
    told: Floats = place_features(width, usual, whole, places, headings, first, free, places.min(axis=0), size)
    return told
