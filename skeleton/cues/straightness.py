"""What the ink itself tells of how it was made: darkness between pixels, and how drafted the lines are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.cues.straightness_kernels import straightness
from skeleton.graph.junctions import Network

Floats = NDArray[np.float64]


def drafted(
    net: Network, centre: Points, known: NDArray[np.bool_], headings: Points, first: NDArray[np.int32]
) -> float:
    """Return 0..1: how likely it is that the straight lines are a draftsman's, who lifts the pen at every corner.

    Lettering by strokes (ISO 3098 and its kin) is made of straight lines and arcs drawn one by one; a fluent hand's
    straight lines bow by a per cent of their length, drafted ones by a tenth of that, and are upright or level to a
    fraction of a degree if they are nearly so. 0.19 where there is no straight line to tell.

    Parameters
    ----------
    centre, known
        The middle of the ink at every place, (n, 2) px, and whether it was measured.
    headings, first
        Unit vectors along the pieces, and the first place of every piece with the end of the last.
    """
    told = straightness(centre, known, headings, first, len(net.pieces) - net.dots, net.pen_px)
    return float(1 / (1 + np.exp(1.45 - told)))
