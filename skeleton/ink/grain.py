"""What ink tells of the tool that left it: whether it covers evenly, skips, or is a pencil's, grainy and pale at edges.

Graphite stays on the tops of the paper's fibres, so that a pencil's line is uneven in its middle and fades towards its
edges (common practice, no source). A pen that skips is uneven in its middle alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from skeleton.geometry.quantiles import median

Field = NDArray[np.float32]

PALE_RIDGE_SHARE, PALE = 0.02, 0.7
"""Share of the middles of lines that is paler than this share of their median from which a pen skips: even ink has none
in 19 of 20 characters."""

FAINT, FAINT_BLUR_PEN_WIDTHS = 0.35, 0.2
"""Darkness, blurred so much, from which there is ink of a pen that skips, or a pencil."""

UNEVEN = 0.065
"""Standard deviation of the darkness in the middle of lines, as a share of its mean, from which ink is grainy: even ink
of 0.5 mm has 0.03 to 0.06, a pencil's 0.06 to 0.16."""

FULL, PENCILS_FULL_SHARE = 0.8, 0.627
"""Share of the ink that is darker than this below which its edges are pale: even ink has 0.65 to 0.71 at 300 dpi and
more at 600, ink of a pen that skips 0.63 to 0.68, a pencil's 0.57 to 0.63. In coarser scans all have pale edges."""


@dataclass(frozen=True, eq=False)
class FaintInk:
    """The ink of one image with all that is pale. Frame: px of the working image, y down."""

    mask: NDArray[np.uint8]
    """Shape (h, w): 1 where there is ink, pale places included."""

    skips: bool
    """Whether places in the middle of lines are pale."""

    pencil: bool
    """Whether lines are uneven in their middle and pale at their edges."""


def find_faint_ink(darkness: Field, soft: Field, pen: float) -> FaintInk:
    """Return the ink with its pale places, and what it tells of the tool.

    Parameters
    ----------
    darkness
        Shape (h, w): 0 on paper, 1 in full ink.
    soft
        The same, blurred by `scaled_darkness.SOFT_PEN_WIDTHS`: noise is not to count as unevenness.
    pen
        Width of the pen, px.
    """
    low = np.asarray(cv2.GaussianBlur(darkness, (0, 0), FAINT_BLUR_PEN_WIDTHS * pen), np.float32)
    mask = (low > FAINT).astype(np.uint8)
    radius = np.asarray(cv2.distanceTransform(mask, cv2.DIST_L2, 5), np.float32)
    middle = ridge(radius) & (radius > 0.3 * pen)
    if not middle.any():
        return FaintInk(mask, skips=False, pencil=False)
    inked, along = soft[soft > FAINT], soft[middle]
    pale_edges = len(inked) > 0 and float((inked > FULL).mean()) < PENCILS_FULL_SHARE
    uneven = float(along.std()) > UNEVEN * float(along.mean())
    deep = low[middle]
    skips = float((deep < PALE * median(deep)).mean()) > PALE_RIDGE_SHARE
    return FaintInk(mask, skips, pale_edges and uneven)


def ridge(radius: Field) -> NDArray[np.bool_]:
    """Return where the distance to the paper, shape (h, w), is greatest: the middle of lines."""
    out: NDArray[np.bool_] = radius >= cv2.dilate(radius, np.ones((3, 3), np.uint8)) - 1e-3
    return out
