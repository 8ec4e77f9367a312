"""The value of this package: one way of writing one character."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capture.units import Points
from skeleton.geometry.stroke import read_only


@dataclass(frozen=True, eq=False)
class Allograph:
    """One way of writing a character, with the pen's lifts, order, directions and retraces.

    Frame: unit = x-height, baseline at y = 0, y up; ascenders reach about 2, capitals 1.9, descenders -1.

    Raises
    ------
    ValueError
        If there is no stroke, a stroke is not of shape (n >= 1, 2), a point is not finite, a stroke of several points
        has no length, or the prior is not in 0 < prior <= 1.
    """

    name: str
    """Unique among the forms of `char`: 'one-storey', 'four strokes'."""

    char: str
    """The character, NFC."""

    strokes: tuple[Points, ...]
    """One array of shape (n, 2) per pen-down movement, in writing order and direction, about 0.05 apart; read-only.
    A dot is a stroke of one point; a line written twice is there twice, as the pen goes."""

    prior: float
    """Share of writers who write it so, an estimate from general knowledge; sums to 1 over a character's forms."""

    def __post_init__(self) -> None:
        strokes = tuple(read_only(s) for s in self.strokes)
        if not strokes:
            raise ValueError(f"{self.char!r} {self.name}: an allograph needs at least one stroke")
        for k, s in enumerate(strokes, 1):
            where = f"{self.char!r} {self.name}, stroke {k}"
            if s.ndim != 2 or s.shape[1] != 2 or len(s) < 1:
                raise ValueError(f"{where}: expected shape (n >= 1, 2), got {s.shape}")
            if not np.isfinite(s).all():
                raise ValueError(f"{where}: a point is not finite")
            if len(s) > 1 and (s == s[0]).all():
                raise ValueError(f"{where}: {len(s)} points without length")
        if not 0 < self.prior <= 1:
            raise ValueError(f"{self.char!r} {self.name}: expected 0 < prior <= 1, got {self.prior}")
        object.__setattr__(self, "strokes", strokes)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of all strokes."""
        points = np.vstack(self.strokes)
        (x0, y0), (x1, y1) = points.min(0), points.max(0)
        return float(x0), float(y0), float(x1), float(y1)
