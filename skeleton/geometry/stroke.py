"""The value that everything later is made of: one pen-down movement."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capture.units import Points
from skeleton.geometry.arc_length import line_length


def read_only(array: np.ndarray) -> np.ndarray:
    """Return a float copy of `array`, of the same shape, that cannot be written to."""
    out = np.array(array, float)
    out.flags.writeable = False
    return out


@dataclass(frozen=True, eq=False)
class Stroke:
    """One pen-down movement, in the order the pen makes it.

    Frame: as its maker says: `skeleton.trace` gives the image's (mm, origin top left, y down), an `Attempt`'s strokes
    are in the cell's (mm, baseline at y = 0, y up). The pen lands at `points_mm[0]`.

    Raises
    ------
    ValueError
        If `points_mm` does not have shape (n >= 1, 2).
    """

    points_mm: Points
    """Shape (n, 2), n >= 1; read-only. A dot is a stroke of one point."""

    width_mm: float = 0.0
    """Median width of the ink; shown in review, never plotted."""

    widths_mm: np.ndarray | None = None
    """Shape (n,): width of the ink at each point, or None where it was not measured; read-only."""

    closed: bool = False
    """True when the pen ends where it began; the first point is then repeated as the last."""

    def __post_init__(self) -> None:
        points = read_only(self.points_mm)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) < 1:
            raise ValueError(f"points_mm must have shape (n >= 1, 2), got {points.shape}")
        object.__setattr__(self, "points_mm", points)
        if self.widths_mm is not None:
            widths = read_only(self.widths_mm)
            if widths.shape != (len(points),):
                raise ValueError(f"widths_mm must have shape ({len(points)},), got {widths.shape}")
            object.__setattr__(self, "widths_mm", widths)

    @property
    def length_mm(self) -> float:
        """Length of the line; 0 for a dot."""
        return line_length(self.points_mm)

    @property
    def is_dot(self) -> bool:
        """True for a stroke of one point."""
        return len(self.points_mm) == 1

    def turned(self) -> Stroke:
        """Return the same line written from its other end."""
        widths = None if self.widths_mm is None else self.widths_mm[::-1]
        return Stroke(self.points_mm[::-1], self.width_mm, widths, self.closed)
