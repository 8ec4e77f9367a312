"""Several pages on one sheet of the plotter: how many, where, and the marks to cut them apart by."""

from __future__ import annotations

from dataclasses import dataclass

from capture.errors import UsageError
from ownhand.composer.settings.paper_sizes import paper_size


@dataclass(frozen=True)
class Imposition:
    """A grid of pages on a sheet. Lengths in mm, from the sheet's top left corner, y down."""

    paper: str | tuple[float, float] = "A3"
    landscape: bool = False
    margins_mm: tuple[float, float, float, float] = (10.0, 10.0, 10.0, 10.0)
    """Top, right, bottom, left of the sheet: pages and their marks keep off them."""

    gap_mm: tuple[float, float] = (4.0, 4.0)
    """Between pages, across and down."""

    columns: int = 0
    rows: int = 0
    """0: as many as there is room for."""

    crop_marks: bool = True
    """Short lines at the pages' corners, outside the pages."""

    mark_mm: float = 3.0
    pen: int = 1
    """Which pen draws the marks."""

    def __post_init__(self) -> None:
        if not (0 <= self.columns <= 100 and 0 <= self.rows <= 100 and 0.5 <= self.mark_mm <= 20):
            raise UsageError("impose", "columns and rows go from 0 to 100, marks from 0.5 to 20 mm", "Correct them.")
        if min(self.margins_mm) < 0 or min(self.gap_mm) < 0:
            raise UsageError("impose", "a margin or gap is negative", "Give them in mm.")

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the sheet."""
        return paper_size(self.paper, landscape=self.landscape)

    def places(self, page_mm: tuple[float, float]) -> list[tuple[float, float]]:
        """Return the top left corners of the pages on one sheet, row by row; the grid stands in the middle.

        Raises
        ------
        UsageError
            If a page, or as many as asked for, are larger than the room on the sheet.
        """
        width, height = self.size_mm
        top, right, bottom, left = self.margins_mm
        room = (width - left - right, height - top - bottom)
        counts = []
        for k, asked in enumerate((self.columns, self.rows)):
            most = int((room[k] + self.gap_mm[k] + 1e-6) / (page_mm[k] + self.gap_mm[k]))
            counts.append(asked or most)
            if counts[k] < 1 or counts[k] > most:
                raise UsageError(
                    "impose",
                    f"{max(asked, 1)} pages of {page_mm[0]:g} x {page_mm[1]:g} mm do not fit "
                    f"{'across' if k == 0 else 'down'} {room[k]:g} mm",
                    "Use a larger sheet, narrower margins or gaps, or fewer pages.",
                )
        block = [counts[k] * page_mm[k] + (counts[k] - 1) * self.gap_mm[k] for k in range(2)]
        x0, y0 = left + (room[0] - block[0]) / 2, top + (room[1] - block[1]) / 2
        return [
            (x0 + i * (page_mm[0] + self.gap_mm[0]), y0 + j * (page_mm[1] + self.gap_mm[1]))
            for j in range(counts[1])
            for i in range(counts[0])
        ]
