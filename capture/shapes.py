"""The shapes that a page is drawn with, and their colours.

Frame: page (mm, from the top left corner, y down).

Colours. A scan is read in its green channel (or in grey): paper and pale green are bright there, black, blue and red
ink are dark. So the guides are pale green, as light as can still be followed with the pen; labels, which stand outside
the writing space, are a darker green that can be read. A printer without colour makes the guides a faint grey.
"""

from __future__ import annotations

from dataclasses import dataclass

from capture.sheet import Box

Colour = tuple[int, int, int]
"""sRGB, 0 to 255."""

BLACK: Colour = (0, 0, 0)
TEXT: Colour = (70, 76, 72)
LABEL: Colour = (54, 128, 80)
"""A contrast of 4.8 to 1 on white: text so small needs 4.5 to 1 (WCAG 2.2, success criterion 1.4.3)."""

FIRST_LABEL: Colour = (62, 138, 88)
"""Of sheets of layout 1, which are on paper."""

GUIDE: Colour = (196, 236, 207)
BASELINE: Colour = (136, 212, 158)
TICK: Colour = (112, 184, 136)


@dataclass(frozen=True)
class Line:
    """A straight line with butt ends."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float
    colour: Colour


@dataclass(frozen=True)
class Frame:
    """The outline of a box, the line centred on its edge."""

    box: Box
    width: float
    colour: Colour


@dataclass(frozen=True)
class Fill:
    """Boxes filled together as one path, so that no seams show between neighbours."""

    boxes: tuple[Box, ...]
    colour: Colour


@dataclass(frozen=True)
class Words:
    """A line of text, from `x` to the right, on the baseline `y`; `size` to the em."""

    x: float
    y: float
    text: str
    size: float
    colour: Colour
    bold: bool = False


Shape = Line | Frame | Fill | Words
