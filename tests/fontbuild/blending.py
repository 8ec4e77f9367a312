"""Weighted means of variants: what it means that variants correspond."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fontbuild.glyph import Glyph


def blend(glyphs: Sequence[Glyph], weights: Sequence[float]) -> Glyph:
    """Return the weighted mean of variants that correspond: another letter of the same hand.

    The control points, the advance, the anchors that all have, and the width of the ink are averaged. The weights
    need not sum to one; those a little outside 0 to 1 exaggerate. The strokes of a single glyph are its own.

    Raises
    ------
    ValueError
        If there is no glyph, the weights do not fit or sum to nothing, or the variants do not correspond
        (other ductus, or none).
    """
    if not glyphs or len(glyphs) != len(weights):
        raise ValueError(f"{len(glyphs)} glyphs and {len(weights)} weights do not make a blend")
    first = glyphs[0]
    total = float(sum(weights))
    if abs(total) < 1e-9:
        raise ValueError("the weights sum to nothing")
    if len(glyphs) == 1:
        return first
    if any(g.ductus != first.ductus or not g.ductus for g in glyphs):
        raise ValueError(f"no blend of {sorted({g.ductus for g in glyphs})}: only one ductus corresponds")
    w = np.asarray(weights, float) / total
    strokes = tuple(
        np.tensordot(w, np.stack(together), axes=1) for together in zip(*(g.strokes for g in glyphs), strict=True)
    )
    shared = set(first.anchors).intersection(*(g.anchors for g in glyphs[1:]))
    anchors = {}
    for name in sorted(shared):
        x, y = w @ np.array([g.anchors[name] for g in glyphs])
        anchors[name] = (float(x), float(y))
    return replace(
        first,
        strokes=strokes,
        advance=float(w @ [g.advance for g in glyphs]),
        anchors=anchors,
        width=float(w @ [g.width for g in glyphs]),
        source="blend: " + " + ".join(g.name for g in glyphs),
    )
