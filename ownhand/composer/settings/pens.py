"""The pens that a plotter holds."""

from __future__ import annotations

import re
from dataclasses import dataclass

from capture.errors import UsageError
from capture.limits import is_plain
from ownhand.composer.settings.text_box import LONGEST_NAME


@dataclass(frozen=True)
class Pen:
    """What is held by the plotter; for previews and for the layers of a file."""

    colour: str = "#1f2a56"
    """#rrggbb."""

    width_mm: float | None = None
    """None: as measured in the hand."""

    name: str = ""

    def __post_init__(self) -> None:
        if not re.fullmatch(r"#[0-9a-fA-F]{6}", self.colour):
            raise UsageError("pen", f"'{self.colour[:20]}' is not a colour", "Write it as #rrggbb.")
        if not is_plain(self.name, LONGEST_NAME):
            raise UsageError("pen", "its name is too long or holds control characters", "Give a short one.")
        if self.width_mm is not None and not 0.01 <= self.width_mm <= 20:
            raise UsageError("pen", f"a width of {self.width_mm:g} mm is not between 0.01 and 20", "")
