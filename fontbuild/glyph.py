"""One variant of one letter: cubic pen strokes with an advance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from capture.units import Points


@dataclass(frozen=True, eq=False)
class Glyph:
    """One way of writing one character.

    Frame: em (font units, pen origin at x = 0, baseline at y = 0, y up).
    """

    name: str
    """'a' for the first variant, 'a.v2', 'a.v3' ... for the others; base names after the Adobe Glyph List."""

    char: str
    """The character or sequence it stands for, NFC; '' for '.notdef'."""

    strokes: tuple[Points, ...]
    """One array of shape (3 k + 1, 2) per pen-down stroke, in writing order: the control points of k cubic Bezier
    pieces, end to start. k = 0, a single point, is a dot. Read-only."""

    advance: float
    ductus: str = ""
    """Variants with the same ductus have the same number of strokes and of pieces in each, and correspond point for
    point: any weighted mean of them is a letter of the same hand. '' corresponds to nothing."""

    anchors: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """'top', 'bottom', 'ogonek', ... on bases; '_top', ... on marks."""

    source: str = ""
    """Id of the attempt it was written in, or 'built: <base glyph> + <mark glyph>'."""

    width: float = 0.0
    """Median width of the ink."""

    def __post_init__(self) -> None:
        strokes = []
        for s in self.strokes:
            a = np.array(s, float)
            if a.ndim != 2 or a.shape[1] != 2 or len(a) % 3 != 1:
                raise ValueError(f"a stroke must have shape (3 k + 1, 2), got {a.shape}")
            a.flags.writeable = False
            strokes.append(a)
        object.__setattr__(self, "strokes", tuple(strokes))
