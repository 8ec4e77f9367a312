"""Boxes of text on a page, and printed lines to write on.

All places are page-frame millimetres: from the page's top left corner, y down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from capture.errors import UsageError
from capture.limits import is_plain

Align = Literal["left", "right", "centre", "justified"]
ALIGNMENTS = ("left", "right", "centre", "justified")
Down = Literal["top", "middle", "bottom"]
DOWNS = ("top", "middle", "bottom")

X_HEIGHT_MM = (0.5, 200.0)
"""Least and greatest x-height that may be asked for."""

LEAST_FITTED_MM = 0.01
"""... and of writing made smaller to fit."""

LONGEST_NAME = 200
"""Characters of a box's or a pen's name."""


def no_size(x_height_mm: float) -> str:
    """Return what is wrong with an x-height that is out of range."""
    return f"an x-height of {x_height_mm:g} mm is not between {X_HEIGHT_MM[0]:g} and {X_HEIGHT_MM[1]:g}"


@dataclass(frozen=True)
class Ruling:
    """Printed lines to write on."""

    pitch_mm: float
    offset_mm: float = 0.0
    """y of one printed line, from the page's top edge; the others lie whole pitches from it."""

    drawn: bool = False
    """The plotter draws the lines of the page, from margin to margin, before or after the text as the order has it."""

    pen: int = 1
    """Which pen draws them."""

    def __post_init__(self) -> None:
        if not self.pitch_mm >= 1:
            raise UsageError("ruling", f"a pitch of {self.pitch_mm:g} mm is under 1 mm", "Measure it between lines.")


BODY = "body"
"""Name of the box that fills a page without any."""


@dataclass(frozen=True)
class TextBox:
    """A part of the page with a text of its own."""

    name: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    align: Align | None = None
    """None: as on the whole page; so for the next two."""

    x_height_mm: float | None = None
    ruling: Ruling | None = None
    fit: bool = False
    """Write smaller where the text would not fit otherwise, down to `Settings.smallest`."""

    blank: bool = False
    """Kept free of writing, for a signature or a stamp; it may reach into the margins."""

    around: Literal["flow", "stop"] = "flow"
    """What the text of other boxes does where it meets this blank one: it flows round it, or stops above it."""

    flows: bool = False
    """Text that does not fit goes on in the same box of a further page; else it is refused."""

    pen: int = 1
    hand: str = ""
    """Another hand, by the name it was given; '': the page's."""

    columns: int = 1
    column_gap_mm: float = 8.0
    down: Down = "top"
    """Where a text that leaves room stands between the box's upper and lower edge."""

    @property
    def told(self) -> str:
        """What it is called where something is said of it: of the one that fills a page nobody chose the name."""
        return "the page" if self.name == BODY else f"box '{self.name}'"

    def __post_init__(self) -> None:
        narrowest = (self.columns - 1) * self.column_gap_mm + 2.0 * self.columns
        if not (
            1 <= self.columns <= 12 and self.column_gap_mm >= 0 and (self.columns == 1 or self.width_mm > narrowest)
        ):
            remedy = "Give 1 to 12 columns of 2 mm or more."
            raise UsageError(self.told, f"{self.columns} columns do not fit its width", remedy)
        if self.down not in DOWNS:
            raise UsageError(self.told, f"no place '{self.down}'", f"Use {', '.join(DOWNS)}.")
        if not is_plain(self.name, LONGEST_NAME):
            raise UsageError("box", "its name is too long or holds control characters", "Give a short one.")
        if self.x_height_mm is not None and not LEAST_FITTED_MM <= self.x_height_mm <= X_HEIGHT_MM[1]:
            raise UsageError(self.told, no_size(self.x_height_mm), "Give it in mm.")
        if not (self.width_mm > 0 and self.height_mm > 0):
            raise UsageError(self.told, "it has no width or no height", "Give both in mm.")
        if self.align is not None and self.align not in ALIGNMENTS:
            raise UsageError(self.told, f"no alignment '{self.align}'", f"Use {', '.join(ALIGNMENTS)}.")
