"""The ways in which an image may be read, before one of them is chosen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import product

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.fitting.line_fit import FitContext, FittedHypothesis
from skeleton.ink.ink_map import InkMap
from skeleton.matching.stroke_distance import Shape, shape_of
from skeleton.options import Options


@dataclass(frozen=True, eq=False)
class ReadingHypothesis:
    """One way to read an image, not yet refined."""

    name: str
    drawing: Callable[[], list[Points]]
    """Gives the lines, each of shape (n, 2), in writing order and direction, px of the working image."""

    cost: float
    """Differences are log odds."""

    surprise: float = 0.0
    """How little the rough shape suits any form of the character, -log likelihood."""

    unknown_shape: bool = False
    """Whether it suits none of those that need no picture of the character to be suggested."""

    shaping: Callable[[], Shape] | None = None
    """Gives the shape without drawing the lines, where there is a quicker way."""

    traits: NDArray[np.float32] | None = None
    """What `writing_habits` saw of it, shape (m,), for its second look."""

    trial: FittedHypothesis | None = None
    """The lines as they suit the ink, where that was tried."""

    @cached_property
    def lines(self) -> list[Points]:
        """The lines, drawn when first asked for."""
        return self.drawing()

    @cached_property
    def shape(self) -> Shape:
        """What is compared with other readings."""
        return self.shaping() if self.shaping else shape_of(self.lines)


@dataclass(frozen=True, eq=False)
class Analysis:
    """An image taken apart, with the ways to read it, best first."""

    ink: InkMap
    options: tuple[ReadingHypothesis, ...]
    parts: Options
    paper: FitContext | None
    """What lines are fitted to, where they are."""

    char: str = ""
    """What was written, empty where it is not known."""


def with_marks(letters: Sequence[ReadingHypothesis], marks: Sequence[ReadingHypothesis]) -> list[ReadingHypothesis]:
    """Return the ways to read a letter with its marks, of ways to read the letter and the marks alone."""
    return [
        ReadingHypothesis(
            f"{letter.name} + {mark.name}" if letter.name and mark.name else "",
            partial(_lines, letter, mark),
            letter.cost + mark.cost,
            letter.surprise,
            letter.unknown_shape,
        )
        for letter, mark in product(letters, marks)
    ]


def _lines(letter: ReadingHypothesis, mark: ReadingHypothesis) -> list[Points]:
    return [*letter.lines, *mark.lines]
