"""What stands on a page beside its boxes of text: lettering along curves, and drawings.

All places are page-frame millimetres: from the page's top left corner, y down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from capture.errors import UsageError
from ownhand.composer.settings.text_box import X_HEIGHT_MM, no_size

CurveAlign = Literal["left", "right", "centre"]

LONGEST_PATH = 2_000_000
"""Characters of path data: some hundred thousand points, more than a plotter draws in a day."""

MOST_CLOSED = 5000
"""Closed parts of a path, which its reader looks through from the path's beginning for each."""


@dataclass(frozen=True)
class Curve:
    """A line of text along a curve; `>> name` begins its text."""

    name: str
    path: str
    """SVG path data (SVG 1.1, 8.3), page mm: the baseline, in writing direction."""

    align: CurveAlign = "left"
    """Where on the curve the text stands."""

    x_height_mm: float | None = None
    """None: as on the whole page."""

    pen: int = 1
    hand: str = ""
    """Another hand, by the name it was given; '': the page's."""

    def __post_init__(self) -> None:
        _check_path(f"curve '{self.name}'", self.path)
        if self.x_height_mm is not None and not X_HEIGHT_MM[0] <= self.x_height_mm <= X_HEIGHT_MM[1]:
            raise UsageError(f"curve '{self.name}'", no_size(self.x_height_mm), "Give it in mm.")


@dataclass(frozen=True)
class Drawing:
    """Strokes that were not written: a drawing, a rule, a border."""

    path: str = ""
    """SVG path data, in mm from the drawing's own top left corner."""

    file: str = ""
    """SVG file, or a picture whose ink is traced, beside the layout file; the command reads it."""

    dpi: float | None = None
    """Resolution of a picture; None: what the file says."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    """Top left corner of the drawing's ink."""

    width_mm: float | None = None
    height_mm: float | None = None
    """None: in the drawing's own size; if one is given the other follows."""

    turn_deg: float = 0.0
    """Clockwise, about the drawing's middle."""

    pen: int = 1
    every_page: bool = False
    """On all pages; else on the first."""

    def __post_init__(self) -> None:
        _check_path("drawing", self.path)
        for what, value in (("width", self.width_mm), ("height", self.height_mm)):
            if value is not None and not 0.1 <= value <= 10_000:
                raise UsageError("drawing", f"a {what} of {value:g} mm is not between 0.1 and 10000", "")


def _check_path(what: str, path: str) -> None:
    if len(path) > LONGEST_PATH:
        raise UsageError(what, f"its path has {len(path)} characters, more than {LONGEST_PATH}", "Simplify it.")
    if (closed := path.lower().count("z")) > MOST_CLOSED:
        raise UsageError(what, f"its path has {closed} closed parts, more than {MOST_CLOSED}", "Simplify it.")
