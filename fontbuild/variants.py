"""The attempts of a character, made into variants that correspond point for point where they are written alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from fontbuild.compatible_cubics import TOLERANCE_MM, fit_compatible
from fontbuild.dtw import pairwise

SAME_FORM = 0.14
"""Mean elastic distance, in x-heights, up to which attempts are one form. On the true strokes of the sample's simulated
writer 99.6 % of pairs of one form lie below it; forms that differ plainly lie above (the two forms of a 0.35, those of
U 0.26), forms that differ in a small hook below, and may be blended."""


@dataclass(frozen=True, eq=False)
class AttemptStrokes:
    """One usable attempt, brought to the size of the reference sheet. Cell frame: mm, y up from the baseline."""

    id: str
    char: str
    strokes: tuple[Points, ...]
    """Each of shape (n, 2); a dot has n = 1."""

    allograph: str = ""
    confidence: float = 1.0
    width_mm: float = 0.0
    """Median width of the ink."""


@dataclass(frozen=True, eq=False)
class Variant:
    """One attempt as cubic strokes in mm, and the ductus it shares with those it can be blended with."""

    written: AttemptStrokes
    strokes: tuple[Points, ...]
    """Control points of each stroke, shape (3 k + 1, 2), mm, y up."""

    ductus: str


def forms(written: Sequence[AttemptStrokes], *, x_height_mm: float) -> list[list[int]]:
    """Return the indices of attempts that are written alike, the commonest form first, its most typical member first.

    Alike: the same number of strokes and the same places for dots, no two different allograph names, and elastic
    distance (stroke by stroke, in order and direction) within `SAME_FORM` on average.
    """
    kinds: dict[tuple[bool, ...], list[int]] = {}
    for i, w in enumerate(written):
        kinds.setdefault(tuple(len(s) == 1 for s in w.strokes), []).append(i)
    out: list[list[int]] = []
    for members in kinds.values():
        distance = pairwise([[s / x_height_mm for s in written[i].strokes] for i in members])
        names = [written[i].allograph for i in members]
        apart = np.array([[bool(a and b and a != b) for b in names] for a in names])
        for group in _clusters(np.where(apart, 10.0, distance)):
            typical = group[int(np.argmin(distance[np.ix_(group, group)].sum(axis=1)))]
            ranked = sorted(group, key=lambda k: (k != typical, distance[typical, k]))
            out.append([members[k] for k in ranked])
    return sorted(out, key=lambda g: (-len(g), min(g)))


def alike(one: AttemptStrokes, other: AttemptStrokes, *, x_height_mm: float) -> bool:
    """Return whether two attempts at a character are written in one form, whatever names their forms have."""
    if [len(s) == 1 for s in one.strokes] != [len(s) == 1 for s in other.strokes]:
        return False
    return bool(pairwise([[s / x_height_mm for s in w.strokes] for w in (one, other)])[0, 1] <= SAME_FORM)


def _clusters(distance: NDArray[np.float64]) -> list[list[int]]:
    # here, because whoever writes with a font imports this too, and SciPy takes as long as a page
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import squareform

    if len(distance) == 1:
        return [[0]]
    tree = linkage(squareform(distance, checks=False), method="average")
    label = fcluster(tree, SAME_FORM, criterion="distance")
    return [np.flatnonzero(label == k).tolist() for k in np.unique(label)]


def fit_form(written: Sequence[AttemptStrokes], *, ductus: str, tolerance_mm: float = TOLERANCE_MM) -> list[Variant]:
    """Return the attempts of one form as cubic strokes that correspond; the first is the medoid."""
    fitted = [
        fit_compatible([w.strokes[k] for w in written], medoid=0, tolerance_mm=tolerance_mm)
        for k in range(len(written[0].strokes))
    ]
    return [Variant(w, tuple(strokes[i] for strokes in fitted), ductus) for i, w in enumerate(written)]


def variants_of(
    char: str, written: Sequence[AttemptStrokes], *, x_height_mm: float, tolerance_mm: float = TOLERANCE_MM
) -> list[Variant]:
    """Return all variants of `char`: the commonest form's first, each form's most typical attempt first.

    The ductus names say character, stroke count and form: 'a/2/1'.
    """
    out: list[Variant] = []
    for number, group in enumerate(forms(written, x_height_mm=x_height_mm), 1):
        members = [written[i] for i in group]
        name = f"{char}/{len(members[0].strokes)}/{number}"
        out.extend(fit_form(members, ductus=name, tolerance_mm=tolerance_mm))
    return out


def each_by_itself(
    char: str, written: Sequence[AttemptStrokes], *, tolerance_mm: float = TOLERANCE_MM
) -> list[Variant]:
    """Return the attempts at `char` as cubic strokes that correspond to nothing."""
    return [fit_form([w], ductus="", tolerance_mm=tolerance_mm)[0] for w in written]
