"""What can be asked of a composed page: paper, boxes, size, spacing, and how lively the writing is.

All places are page-frame millimetres: from the page's top left corner, y down.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from capture.errors import UsageError
from ownhand.composer.settings.additions import Curve, Drawing
from ownhand.composer.settings.imposition import Imposition
from ownhand.composer.settings.life import Life
from ownhand.composer.settings.paper_sizes import paper_size
from ownhand.composer.settings.pens import Pen
from ownhand.composer.settings.text_box import ALIGNMENTS, BODY, X_HEIGHT_MM, Align, Down, Ruling, TextBox

Order = Literal["writing", "least travel"]
ORDERS = ("writing", "least travel")

MOST_BOXES = 200
"""Boxes of a page; also pens."""


@dataclass(frozen=True)
class Settings:
    """Everything about the page but its text."""

    paper: str | tuple[float, float] = "A4"
    """Name, 'WxH' in mm, or the pair."""

    landscape: bool = False
    margins_mm: tuple[float, float, float, float] = (20.0, 20.0, 20.0, 20.0)
    """Top, right, bottom, left. Nothing is ever drawn in them."""

    x_height_mm: float | None = None
    """Writing size; None: the size in which the hand was written."""

    line_spacing: float = 1.0
    """Multiplies the natural distance of lines."""

    ruling: Ruling | None = None
    align: Align = "left"
    indent_mm: float = 0.0
    """First line of a paragraph; negative: all the others."""

    paragraph_gap: float = 0.5
    """Height of a blank line of the text, in lines; on ruled paper always whole lines."""

    hyphenate: str = ""
    """Language to hyphenate in ('en', 'de', 'pl' ...); '': never."""

    lists: bool = True
    """Lines that begin with '- ', '* ', '• ', '1. ' or 'a) ' hang from their mark."""

    columns: int = 1
    """Of the body, where there are no boxes."""

    column_gap_mm: float = 8.0
    down: Down = "top"
    """Where the body stands on a page that it does not fill, where there are no boxes."""

    tab_mm: float | None = None
    """Distance of tab stops; None: lines under each other that have tabs are columns, as wide as what is in them."""

    fit: bool = False
    """Write the body smaller where it would need a further page."""

    smallest: float = 0.6
    """How far `fit` may go, as a share of the size asked for."""

    boxes: tuple[TextBox, ...] = ()
    """Empty: one box, 'body', as large as the margins allow, that flows."""

    curves: tuple[Curve, ...] = ()
    """Lettering along curves, on the first page."""

    drawings: tuple[Drawing, ...] = ()
    impose: Imposition | None = None
    """Several pages on one sheet of the plotter; None: each on its own paper."""

    life: Life = field(default_factory=Life)
    joins: bool = True
    """Write on without lifting where a letter ends just where the next begins, in hands that join."""

    order: Order = "writing"
    pens: tuple[Pen, ...] = (Pen(),)

    def __post_init__(self) -> None:
        width, height = self.size_mm
        top, right, bottom, left = self.margins_mm
        if max(len(self.boxes), len(self.pens)) > MOST_BOXES:
            raise UsageError("boxes", f"there are more than {MOST_BOXES} boxes or pens", "Use fewer.")
        if not self.pens:
            raise UsageError("pens", "there is none", "Give at least one.")
        if min(self.margins_mm) < 0 or left + right >= width or top + bottom >= height:
            raise UsageError(
                "margins",
                f"{top:g}, {right:g}, {bottom:g}, {left:g} mm leave no room on {width:g} x {height:g} mm",
                "Give top, right, bottom, left in mm.",
            )
        if self.align not in ALIGNMENTS:
            raise UsageError("align", f"no alignment '{self.align}'", f"Use {', '.join(ALIGNMENTS)}.")
        if self.order not in ORDERS:
            raise UsageError("order", f"no order '{self.order}'", f"Use {' or '.join(ORDERS)}.")
        for what, value, low, high in (
            ("x-height", self.x_height_mm, *X_HEIGHT_MM),
            ("line spacing", self.line_spacing, 0.3, 10.0),
            ("paragraph gap", self.paragraph_gap, 0.0, 20.0),
            ("smallest", self.smallest, 0.1, 1.0),
            ("tab", self.tab_mm, 0.5, 500.0),
        ):
            if value is not None and not low <= value <= high:
                raise UsageError(what, f"{value:g} is not between {low:g} and {high:g}", "")
        for drawer, pen in (
            *((f"curve '{c.name}'", c.pen) for c in self.curves),
            *((f"drawing {k}", d.pen) for k, d in enumerate(self.drawings, 1)),
            *((("ruling", self.ruling.pen),) if self.ruling else ()),
        ):
            if not 1 <= pen <= len(self.pens):
                raise UsageError(drawer, f"there is no pen {pen}", f"Pens are 1 to {len(self.pens)}.")
        if self.impose is not None:
            self.impose.places(self.size_mm)
            if not 1 <= self.impose.pen <= len(self.pens):
                raise UsageError("impose", f"there is no pen {self.impose.pen}", f"Pens are 1 to {len(self.pens)}.")
        names = [*(box.name for box in self.boxes), *(curve.name for curve in self.curves)]
        if len(set(names)) < len(names):
            raise UsageError("boxes", f"two boxes bear the same name ({', '.join(names)})", "Give each its own.")
        if BODY in names and all(box.blank for box in self.boxes):
            raise UsageError("box 'body'", "it is blank, and the text would be called so", "Give it another name.")
        for box in self.boxes:
            if box.around not in ("flow", "stop"):
                raise UsageError(box.told, f"no way around '{box.around}'", "Use flow or stop.")
            if box.pen < 1 or box.pen > len(self.pens):
                raise UsageError(box.told, f"there is no pen {box.pen}", f"Pens are 1 to {len(self.pens)}.")
            if box.blank:
                continue
            inside = (
                box.x_mm >= left - 1e-9
                and box.y_mm >= top - 1e-9
                and box.x_mm + box.width_mm <= width - right + 1e-9
                and box.y_mm + box.height_mm <= height - bottom + 1e-9
            )
            if not inside:
                raise UsageError(
                    f"box '{box.name}'",
                    f"it reaches into the margins ({top:g}, {right:g}, {bottom:g}, {left:g} mm) of a page of "
                    f"{width:g} x {height:g} mm",
                    "Make it smaller, or the margins narrower.",
                )

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the page."""
        return paper_size(self.paper, landscape=self.landscape)

    @property
    def all_boxes(self) -> tuple[TextBox, ...]:
        """The boxes asked for; where none is to be written in, also one that fills the page inside its margins."""
        if any(not box.blank for box in self.boxes):
            return self.boxes
        width, height = self.size_mm
        top, right, bottom, left = self.margins_mm
        return (
            *self.boxes,
            TextBox(
                BODY,
                left,
                top,
                width - left - right,
                height - top - bottom,
                fit=self.fit,
                flows=not self.fit,
                columns=self.columns,
                column_gap_mm=self.column_gap_mm,
                down=self.down,
            ),
        )
