"""All attempts of one writer at one character, read together: one hand is consistent, so the attempts vote."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import logsumexp

from skeleton.geometry.stroke import Stroke
from skeleton.ink.scaled_darkness import Grey
from skeleton.matching.stroke_distance import stroke_distances
from skeleton.pipeline import analyse
from skeleton.result import Reading
from skeleton.selection import select_reading

VOTE_COST = 1.0
"""Log odds lost for every tenth of the character's size that a reading differs from the writer's way. Set by hand;
greater ones read no better."""


def read_together(
    images: Sequence[Grey],
    dpi: float,
    char: str,
    *,
    known: Sequence[Sequence[Stroke]] = (),
    handedness: str = "right",
    alternatives: int = 4,
) -> list[Reading]:
    """Return one reading an image, in the ways of writing that suit the other attempts.

    Every reading of every attempt may be the writer's way. How likely each is, the other attempts tell: by the odds of
    their readings, the less the more these differ from it. An attempt's own readings are weighed by all ways.

    Parameters
    ----------
    images
        Attempts at `char` by one writer, each uint8 of shape (h, w), dark ink on light paper.
    dpi
        Pixels per inch of all images.
    known
        Strokes of attempts that are certain (y down, any size and place), as templates.
    handedness
        'right' or 'left'.
    alternatives
        How many other readings each reading brings.

    Returns
    -------
    list of Reading
        In the order of the images; a blank one has no strokes.
    """
    studies = [analyse(im, dpi, char, handedness=handedness, known=known) for im in images]
    written = [s for s in studies if s is not None]
    if len(written) < 2:
        return [select_reading(s, alternatives=alternatives) for s in studies]
    costs = [np.array([o.cost for o in s.options]) for s in written]
    shapes = [[o.shape for o in s.options] for s in written]
    ways = [shape for several in shapes for shape in several]
    # rows: a reading of an attempt; columns: a way of writing it might follow
    apart = [c[:, None] + VOTE_COST * 10 * stroke_distances(s, ways) for c, s in zip(costs, shapes, strict=True)]
    dear = [-logsumexp(-a, axis=0) for a in apart]
    whole = np.sum(dear, axis=0)
    votes = iter(-logsumexp(-(a + (whole - o)), axis=1) for a, o in zip(apart, dear, strict=True))
    return [select_reading(s, costs=None if s is None else next(votes), alternatives=alternatives) for s in studies]
