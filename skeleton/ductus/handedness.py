"""What left-handed writers do more often: bars drawn towards the body, and ovals clockwise.

Common practice, no source: a pen is pulled more easily than it is pushed, and for the left hand a line from left to
right is a push. The shares are estimates.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from capture.units import Points
from skeleton.ductus.drawing import Drawing
from skeleton.geometry.arc_length import line_length

TURNED_BARS_SHARE = 0.35
"""Share of left-handers who draw the separate horizontal strokes of a form from right to left."""

TURNED_OVALS_SHARE = 0.25
"""Share of left-handers who draw a closed oval clockwise."""


def left_handed(drawings: Iterable[Drawing]) -> Iterator[Drawing]:
    """Yield each drawing as it is, and as left-handers turn it, with shares to match."""
    for d in drawings:
        bars = tuple(s[::-1] if _is_bar(s) else s for s in d.strokes)
        ovals = tuple(s[::-1] if _is_oval(s) else s for s in d.strokes)
        has_bars = any(_is_bar(s) for s in d.strokes)
        has_ovals = any(_is_oval(s) for s in d.strokes)
        kept = (1 - TURNED_BARS_SHARE * has_bars) * (1 - TURNED_OVALS_SHARE * has_ovals)
        yield replace(d, share=d.share * kept)
        if has_bars:
            yield Drawing(f"{d.name}, bars from the right", d.share * TURNED_BARS_SHARE, bars)
        if has_ovals:
            yield Drawing(f"{d.name}, clockwise", d.share * TURNED_OVALS_SHARE, ovals)


def _is_bar(stroke: Points) -> bool:
    """Tell whether a stroke is straight, nearly horizontal and drawn from left to right."""
    if len(stroke) < 2:
        return False
    (dx, dy), length = stroke[-1] - stroke[0], line_length(stroke)
    return bool(dx > 0.3 and abs(dy) < 0.3 * dx and dx > 0.9 * length)


def _is_oval(stroke: Points) -> bool:
    """Tell whether a stroke is closed, counter-clockwise and plain: it fills its box as an ellipse does."""
    if len(stroke) < 8 or np.hypot(*(stroke[-1] - stroke[0])) > 0.15:
        return False
    x, y = stroke.T
    area = 0.5 * float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
    return area > 0.65 * float(np.prod(np.ptp(stroke, axis=0)))
