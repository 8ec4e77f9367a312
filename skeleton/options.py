"""Which parts of the tracer are at work; all of them, unless their worth is being measured."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Options:
    """Parts that can be left out, one by one, to see what they earn."""

    junctions: bool = True
    """Junctions cut out and redrawn; spurs judged by ink; tips that thinning swallows."""

    ductus: bool = True
    """The known character's forms guide strokes, order and direction."""

    marks_apart: bool = True
    """Letters and marks that stand apart from them read each by itself."""

    refine: bool = True
    """Lines moved to the middle of the grey ink, ends led to the right place."""

    together: bool = True
    """Attempts of one writer read together."""

    smooth: bool = True
    """Lines smoothed up to the noise of the ink, corners kept."""
