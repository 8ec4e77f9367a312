"""Variants that fell apart: a gap in the bowl, a bar that lost its stem.

What the builder lets pass may still look broken in a line of text. A variant that is the only one of its form, and
whose ink lies in more pieces than that of any variant on which others agree, is left out while there are others.
Another form that is whole stays: it may be the writer's second one, and comes up once in a pool of blends.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fontbuild.geometry import sample_glyph
from fontbuild.glyph import Glyph

AGREEING = 2
"""Variants of one form that speak against one that stands alone."""


def broken(variants: Sequence[Glyph], forms: Sequence[Sequence[int]], pen_width: float) -> frozenset[int]:
    """Return which variants are kept out of the choice; those of a form that several share never are.

    Parameters
    ----------
    variants
        Of one character.
    forms
        Indices of variants that correspond point for point, form by form.
    pen_width
        Font units: lines no further apart than this touch.
    """
    alone = [form[0] for form in forms if len(form) == 1]
    agreed = [i for form in forms if len(form) >= AGREEING for i in form]
    if not alone or not agreed:
        return frozenset()
    most = max(pieces(variants[i], pen_width) for i in agreed)
    return frozenset(i for i in alone if pieces(variants[i], pen_width) > most)


def pieces(glyph: Glyph, pen_width: float) -> int:
    """Return in how many pieces the ink of a letter lies."""
    # loaded only where a font has such a variant: these take longer to load than a card to write
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    lines = [np.asarray(s, float) for s in sample_glyph(glyph)]
    if len(lines) < 2:
        return len(lines)
    owner = np.repeat(np.arange(len(lines)), [len(s) for s in lines])
    near = cKDTree(np.vstack(lines)).query_pairs(pen_width, output_type="ndarray")
    a, b = owner[near[:, 0]], owner[near[:, 1]]
    touching = coo_matrix((np.ones(len(a)), (a, b)), shape=(len(lines), len(lines)))
    return int(connected_components(touching, directed=False)[0])
