"""Records of strokes as the ink shows them: without specks that lie on other ink."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from capture.units import Points
from skeleton.geometry.polyline import line_length
from tests.bench.trace_ink import even

SPECK_MM = 0.5
"""Length, a pen's width, up to which a stroke may be a tremor of the pen as it came down or went up."""

HIDDEN_MM = 0.25
"""Distance, half a pen's width, from other ink within which a speck leaves none of its own."""


def visible(strokes: Sequence[Points]) -> list[Points]:
    """Return strokes (mm) without the specks that another stroke's ink hides: tablets record them, paper does not."""
    kept = [np.asarray(s, float) for s in strokes if len(s)]
    for i in reversed(range(len(kept))):
        s = kept[i]
        others = [t for j, t in enumerate(kept) if j != i]
        if not others or (len(s) > 1 and line_length(s) > SPECK_MM):
            continue
        ink = cKDTree(np.concatenate([even(t, 0.05) for t in others]))
        if ink.query(s)[0].max() <= HIDDEN_MM:
            kept.pop(i)
    return kept
