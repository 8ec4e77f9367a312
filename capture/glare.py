"""Light that glares on the paper: where it burns the picture out no ink is left, and a cell looks blank.

The guides tell blank from burnt out: they are printed in every cell, and on paper that the camera still sees they are
seen too.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from capture.ink import PrintLayer
from capture.scan_image import Pixels
from capture.sheet import Box

GLARE = "burnt out by glare"
"""Finding: light glared on the cell, what was written there cannot be seen."""

BURNT = 247
"""Level, in the darkest channel, from which on a pixel of a guide shows nothing any more."""

PRINTED = 0.6
"""Coverage by print from which on a pixel must show it."""

SHARE = 0.25
"""Share of a cell's print that is burnt out, beyond what is burnt out on the page's best cells, from which on it is
named: a fifth may be the edge of a highlight that took no ink."""


def burnt_out(
    pixels: Pixels, layers: Sequence[PrintLayer], boxes: Sequence[Box], *, px_per_mm: float
) -> NDArray[np.bool_]:
    """Return for each box whether light burnt it out.

    Parameters
    ----------
    pixels
        Shape (h, w) or (h, w, 3), the straightened page.
    layers
        What was printed, each of shape (h, w).
    boxes
        Page mm.
    """
    if not boxes:
        return np.zeros(0, bool)
    darkest = pixels if pixels.ndim == 2 else pixels.min(axis=2)
    cover = np.maximum.reduce([layer.coverage for layer in layers]) if layers else np.zeros_like(darkest)
    print_there = cover >= PRINTED * cover.max() if cover.any() else np.zeros(cover.shape, bool)
    burnt = darkest >= BURNT
    shares = np.array([_share(burnt, print_there, box, px_per_mm) for box in boxes])
    # paper copied in two tones, or print that came out too pale, shows no guides anywhere: that is no glare
    return shares > SHARE + float(np.quantile(shares, 0.25))


def _share(burnt: NDArray[np.bool_], printed: NDArray[np.bool_], box: Box, px_per_mm: float) -> float:
    x, y, w, h = (v * px_per_mm for v in box)
    here = np.s_[max(0, int(y)) : int(y + h) + 1, max(0, int(x)) : int(x + w) + 1]
    count = int(printed[here].sum())
    return float((burnt[here] & printed[here]).sum()) / count if count else 0.0
