"""Lettering along a curve: a straight line of writing bent so that its baseline is the curve."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from capture.errors import UsageError
from capture.units import Points
from ownhand.composer.plot.plot_page import PlotPage, flatten
from skeleton.geometry.arc_length import arc_lengths, points_at

LONGEST_MM, SHORTEST_MM = 2000.0, 0.1
"""Of a curve: as long as the longest side of a paper, and a step of it."""

TIGHTEST = 2.5
"""Radius of the curve, in heights of the writing, below which letters would fan out or run into each other."""


@dataclass(frozen=True, eq=False)
class Baseline:
    """A curve to write along, at even steps."""

    points: Points
    """Shape (n, 2), mm, y down."""

    normals: Points
    """Unit vectors to the left of its direction, shape (n, 2)."""

    along: np.ndarray
    """Arc lengths, shape (n,), mm."""

    @property
    def length_mm(self) -> float:
        """How long it is."""
        return float(self.along[-1])


def baseline_of(curve: Points, *, what: str) -> Baseline:
    """Return the baseline that a curve is.

    curve: cubic pieces, shape (3 k + 1, 2), mm, y down.

    Raises
    ------
    UsageError
        If it is shorter than a step, or longer than any paper; `what` is named.
    """
    points, _ = flatten(curve, np.array([0, len(curve)]), within_mm=0.005)
    step = np.hypot(*np.diff(points, axis=0).T)
    points = points[np.concatenate([[True], step > 1e-6])]
    total = float(arc_lengths(points)[-1])
    if not SHORTEST_MM <= total <= LONGEST_MM:
        long = f"its curve is {total:.3g} mm long, not {SHORTEST_MM:g} to {LONGEST_MM:g}"
        raise UsageError(what, long, "Give its path in mm of the page.")
    even = np.linspace(0.0, total, max(8, int(total / SHORTEST_MM)))
    on = points_at(points, even)
    tangent = np.gradient(on, even, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    return Baseline(on, np.column_stack([tangent[:, 1], -tangent[:, 0]]), even)


def bent(page: PlotPage, curve: Baseline, *, baseline_mm: float, what: str) -> PlotPage:
    """Return a page whose one line, written from x = 0 along y = `baseline_mm`, follows the curve.

    Raises
    ------
    UsageError
        If the writing is longer than the curve, or the curve is too tight for its height; `what` is named.
    """
    if not len(page):
        return page
    on, normal, s = curve.points, curve.normals, curve.along
    x, up = page.points_mm[:, 0], baseline_mm - page.points_mm[:, 1]
    if x.max() > s[-1] + 0.5:
        remedy = "Lengthen the curve, shorten the text, or write smaller."
        raise UsageError(what, f"its text is {x.max():.0f} mm long, the curve {s[-1]:.0f} mm", remedy)
    turning = np.abs(np.gradient(np.unwrap(np.arctan2(normal[:, 1], normal[:, 0])), s))
    tall = max(float(np.abs(up).max()), 1e-6)
    # corners of a polygon are single points: the writing is bent by what a letter's width turns on the average
    width = max(1, round(tall / max(s[1] - s[0], 1e-6)))
    tightest = float(np.convolve(turning, np.ones(width) / width, "valid").max()) if len(turning) > width else 0.0
    if tightest * tall * TIGHTEST > 1.0:
        remedy = "Use a wider curve or a smaller x-height."
        raise UsageError(
            what, f"its radius of {1 / tightest:.1f} mm is too small for writing {tall:.1f} mm tall", remedy
        )
    at = np.clip(x, 0.0, s[-1])
    px, py = (np.interp(at, s, on[:, k]) for k in range(2))
    nx, ny = (np.interp(at, s, normal[:, k]) for k in range(2))
    return replace(page, points_mm=np.column_stack([px + nx * up, py + ny * up]))
