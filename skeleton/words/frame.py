"""Where a word's lines of writing lie: baseline, x-height, slope, slant and width, and how they are found."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.geometry.quantiles import quantile

ROBUST = 0.25
"""x-heights from which a point counts half."""

ROUNDS = 4
WIDEST = 8.0
"""x-heights that a letter of a word is wide at most, with the white beside it."""

LONG = 6.0
"""x-heights of a word from which its slope is measured."""


@dataclass(frozen=True)
class WordFrame:
    """A map from px of the working image (y down) to x-heights: baseline at y = 0, slant taken away, y down."""

    x: float
    """Of the left edge, px."""

    y: float
    """Of the baseline at the left edge, px."""

    x_height: float
    """px."""

    slope: float = 0.0
    """Of the baseline: px down per px to the right."""

    slant: float = 0.0
    """px to the left per px down: positive leans to the right."""

    width: float = 1.0
    """How wide the letters are, against the forms'."""

    def changed(self, x_height: float, slant: float) -> WordFrame:
        """Return the frame with the x-height times a factor, the baseline kept, and another slant."""
        return replace(self, x_height=self.x_height * x_height, slant=slant)

    def place(self, points: Points) -> Points:
        """Return points, px, in x-heights."""
        y = points[:, 1] - self.y - self.slope * (points[:, 0] - self.x)
        x = points[:, 0] - self.x + self.slant * y
        return np.stack([x / (self.x_height * self.width), y / self.x_height], axis=1)

    def direction(self, vectors: Points) -> Points:
        """Return unit vectors that directions, px, have in the frame."""
        y = vectors[:, 1] - self.slope * vectors[:, 0]
        x = (vectors[:, 0] + self.slant * y) / self.width
        return np.stack([x, y], axis=1) / np.maximum(np.hypot(x, y), 1e-9)[:, None]


def first_frame(places: Points, top: float, bottom: float, letters: int, pen_px: float = 0.0) -> WordFrame:
    """Return an upright, level frame in which ink at `places` (px) has the height that its text should have.

    An even line has no height to tell it from: the x-height is at least a pen's width, and what the width of the ink
    tells of so many letters.
    """
    low, high = float(quantile(places[:, 1], 0.005)), float(quantile(places[:, 1], 0.995))
    least = max(pen_px, float(np.ptp(places[:, 0])) / (WIDEST * letters))
    x_height = max((high - low) / max(bottom - top, 0.2), least)
    return WordFrame(float(places[:, 0].min()), high - bottom * x_height, x_height)


def refitted(frame: WordFrame, places: Points, model: Points, letter: NDArray[np.int64]) -> WordFrame:
    """Return the frame in which places (n, 2), px, suit best the model's points that they were found for.

    Weighted least squares, held to the old frame where little is known. letter: which one every point belongs to.
    """
    n, s = len(places), frame.x_height
    x = places[:, 0] - frame.x
    sloped = float(np.ptp(places[:, 0])) > LONG * s
    columns = np.stack([np.ones(n), model[:, 1], *([x] if sloped else [])], axis=1)
    old = np.array([frame.y, s, frame.slope])[: columns.shape[1]]
    held = np.diag([0.0, 0.03 * n, 0.02 * n * s * s][: columns.shape[1]])
    weight = np.ones(n)
    found = old
    for _ in range(ROUNDS):
        weighted = (columns * weight[:, None]).T
        found = np.linalg.solve(weighted @ columns + held, weighted @ places[:, 1] + held @ old)
        weight = 1 / (1 + ((places[:, 1] - columns @ found) / (ROBUST * s)) ** 2)
    y, x_height = float(found[0]), float(np.clip(found[1], 0.6 * s, 1.6 * s))
    slope = float(found[2]) if sloped else frame.slope
    count = np.maximum(np.bincount(letter), 1)

    def about_own_middle(v: NDArray[np.float64]) -> NDArray[np.float64]:
        out: NDArray[np.float64] = v - (np.bincount(letter, v) / count)[letter]
        return out

    across = about_own_middle(places[:, 0])
    own = np.stack([about_own_middle(model[:, 0]), about_own_middle(model[:, 1])], axis=1)
    ridge = np.diag([0.02 * n, 0.02 * n])
    before = np.array([s * frame.width, -s * frame.slant])
    weight = np.ones(n)
    for _ in range(ROUNDS):
        weighted = (own * weight[:, None]).T
        found = np.linalg.solve(weighted @ own + ridge, weighted @ across + ridge @ before)
        weight = 1 / (1 + ((across - own @ found) / (ROBUST * s)) ** 2)
    slant, width = float(np.clip(-found[1] / x_height, -0.8, 1.2)), float(np.clip(found[0] / x_height, 0.5, 2.0))
    return WordFrame(frame.x, y, x_height, slope, slant, width)
