"""All attempts of one writer at one character, read together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from skeleton.reading import Reading, read_character
from skeleton.stroke import Stroke

if TYPE_CHECKING:
    from skeleton.ink_map import Grey


def read_together(
    images: Sequence[Grey],
    dpi: float,
    char: str,
    *,
    known: Sequence[Sequence[Stroke]] = (),
    handedness: str = "right",
) -> list[Reading]:
    """Return one reading an image."""
    return [read_character(im, dpi, char, handedness=handedness, known=known) for im in images]
