"""Areas of the page that stay free of writing: where a line of text may lie beside them.

Places are page-frame mm (y down).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from capture.errors import UsageError
from ownhand.composer.settings.text_box import TextBox

LEAST = 5.0
"""x-heights of room that are worth writing in beside a reserved area."""

CLEAR = 0.5
"""x-heights that stay free about a reserved area: lines wander and slope."""

GIVE_UP = 2000
"""Lines after which there is no room on any page."""


@dataclass(frozen=True)
class Slot:
    """Where one line goes."""

    column: int
    """From 0, counted through all pages."""

    y_mm: float
    """The baseline."""

    left_mm: float
    right_mm: float


@dataclass(frozen=True)
class Column:
    """How lines follow each other down a box, from column to column and from page to page.

    Columns are counted through: of a box with three, 0 to 2 are on its first page, 3 to 5 on its second.
    """

    box: TextBox
    reserved: Sequence[TextBox]
    first_mm: float
    pitch_mm: float
    rise_mm: float
    """From the baseline to the top of the tallest letter."""

    fall_mm: float
    """To the foot of the lowest."""

    below_mm: float
    """What a line needs below its baseline to stay on the page."""

    x_height_mm: float

    @property
    def width_mm(self) -> float:
        """Width of one column."""
        return (self.box.width_mm - (self.box.columns - 1) * self.box.column_gap_mm) / self.box.columns

    def left_mm(self, column: int) -> float:
        """Return where a column begins."""
        return self.box.x_mm + column % self.box.columns * (self.width_mm + self.box.column_gap_mm)

    def bottom_mm(self, column: int) -> float:
        """Return where a column ends: with the box, or above the first area over which its text stops."""
        box = self.box
        stops = [
            r.y_mm - CLEAR * self.x_height_mm
            for r in self.reserved
            if r.around == "stop"
            and _overlap(r.x_mm, r.width_mm, self.left_mm(column), self.width_mm)
            and r.y_mm > box.y_mm
        ]
        return min([box.y_mm + box.height_mm, *stops])

    def after(self, column: int, y_mm: float) -> Slot:
        """Return the first place for a line at `y_mm` of a column or below it.

        Raises
        ------
        UsageError
            If reserved areas leave no room at all.
        """
        for _ in range(GIVE_UP):
            over = y_mm + self.below_mm > self.bottom_mm(column) + 1e-6
            if over and (y_mm > self.first_mm + 1e-6 or not self.box.flows):
                column, y_mm = column + 1, self.first_mm
            left, right = self._widest(column, y_mm)
            if right - left >= min(LEAST * self.x_height_mm, self.width_mm) - 1e-9:
                return Slot(column, y_mm, left, right)
            y_mm += self.pitch_mm
            if not self.box.flows and column >= self.box.columns:
                return Slot(column, y_mm, self.left_mm(column), self.left_mm(column) + self.width_mm)
        raise UsageError(self.box.told, "the areas kept blank leave no room in it", "Make them smaller or move them.")

    def _widest(self, column: int, y_mm: float) -> tuple[float, float]:
        """Return the widest free stretch of the line at `y_mm`."""
        clear = CLEAR * self.x_height_mm
        top, foot = y_mm - self.rise_mm - clear, y_mm + self.fall_mm + clear
        left, right = self.left_mm(column), self.left_mm(column) + self.width_mm
        taken = sorted(
            (r.x_mm - clear, r.x_mm + r.width_mm + clear)
            for r in self.reserved
            if _overlap(r.y_mm, r.height_mm, top, foot - top) and _overlap(r.x_mm, r.width_mm, left, right - left)
        )
        best, at = (left, left), left
        for begin, end in [*taken, (right, right)]:
            if min(begin, right) - at > best[1] - best[0]:
                best = (at, min(begin, right))
            at = max(at, end)
        return best


def _overlap(a: float, long: float, b: float, wide: float) -> bool:
    return a < b + wide and b < a + long
