"""Forms that leave the same lines on paper and differ only in order and direction."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from capture.units import Points
from skeleton.ductus.allograph import Allograph

_NEAR = 0.03
"""Lines whose corresponding points are nearer than this on average are the same (in x-heights)."""


def by_lines(forms: Sequence[Allograph]) -> tuple[tuple[Allograph, ...], ...]:
    """Return `forms` in groups that have the same lines, whatever their order and direction.

    What is found in the ink for one of a group holds for all of it, and only the priors tell them apart. Closed lines
    that begin elsewhere are different lines. Groups and their members keep the order of `forms`.

    Examples
    --------
    >>> from skeleton.ductus import allographs
    >>> [[a.name for a in group] for group in by_lines(allographs("="))]
    [['upper first', 'lower first', 'lower from the right', 'from the right']]
    """
    groups: list[list[Allograph]] = []
    for form in forms:
        for group in groups:
            if _same_lines(group[0].strokes, form.strokes):
                group.append(form)
                break
        else:
            groups.append([form])
    return tuple(map(tuple, groups))


def _same_lines(a: Sequence[Points], b: Sequence[Points]) -> bool:
    left = list(b)
    for line in a:
        k = next((k for k, other in enumerate(left) if _same_line(line, other)), None)
        if k is None:
            return False
        del left[k]
    return not left


def _same_line(a: Points, b: Points) -> bool:
    if abs(len(a) - len(b)) > 2:
        return False
    n = min(len(a), len(b))
    p, q = (s[np.linspace(0, len(s) - 1, n).round().astype(int)] for s in (a, b))
    ahead, back = (float(np.hypot(*(p - r).T).mean()) for r in (q, q[::-1]))
    return min(ahead, back) < _NEAR
