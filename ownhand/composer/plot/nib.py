"""Strokes for a pen that may only be pulled: a broad or pointed nib that is pushed digs into the paper and splutters.

Where the machine's owner gives the direction in which the nib is pulled, every path is cut where it turns against that
direction, and the pieces that would push are drawn from their other end (common practice of broad-pen writing, no
source: down and to the right, never up and to the left).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from capture.units import Points
from ownhand.composer.plot.plot_page import PlotPage

SHORTEST_MM = 0.4
"""A pushed piece shorter than this is left as it is: lifting for it would leave blots."""


def pulled(page: PlotPage, toward_deg: float) -> PlotPage:
    """Return the page with no path longer than `SHORTEST_MM` drawn against a direction.

    Parameters
    ----------
    toward_deg
        Where the nib is pulled: degrees clockwise from the right, so that 90 is down the page.
    """
    if not len(page):
        return page
    angle = np.radians(toward_deg)
    toward = np.array([np.cos(angle), np.sin(angle)])
    paths: list[Points] = []
    of: list[int] = []
    for k, path in enumerate(page.paths()):
        pieces = _runs(path, toward)
        paths += pieces
        of += [k] * len(pieces)
    sizes = [len(p) for p in paths]
    return replace(
        page,
        points_mm=np.concatenate(paths),
        starts=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        line=page.line[of],
        word=page.word[of],
        letter=page.letter[of],
        pen=page.pen[of],
    )


def _runs(path: Points, toward: Points) -> list[Points]:
    """Return a path as paths that all run with `toward`."""
    if len(path) < 4:
        return [path]
    pieces = [part for i in range(0, len(path) - 1, 3) for part in _monotone(path[i : i + 4], toward)]
    runs: list[list[Points]] = []
    signs: list[bool] = []
    for piece in pieces:
        forward = bool((piece[3] - piece[0]) @ toward >= 0)
        if signs and signs[-1] == forward:
            runs[-1].append(piece)
        else:
            runs.append([piece])
            signs.append(forward)
    while len(runs) > 1:
        lengths = [sum(float(np.hypot(*(np.diff(p, axis=0)).T).sum()) for p in run) for run in runs]
        k = int(np.argmin(lengths))
        if lengths[k] >= SHORTEST_MM:
            break
        # too short to lift for: it goes with the longer of its neighbours
        to = k - 1 if k and (k == len(runs) - 1 or lengths[k - 1] >= lengths[k + 1]) else k + 1
        a, b = sorted((k, to))
        runs[a : b + 1] = [runs[a] + runs[b]]
        signs[a : b + 1] = [signs[to]]
        for i in range(len(runs) - 1, 0, -1):
            if signs[i] == signs[i - 1]:
                runs[i - 1 : i + 1] = [runs[i - 1] + runs[i]]
                signs[i - 1 : i + 1] = [signs[i]]
    if len(runs) == 1:
        whole = _chained(runs[0])
        length = float(np.hypot(*np.diff(whole, axis=0).T).sum())
        return [whole if signs[0] or length < SHORTEST_MM else whole[::-1]]
    return [_chained(run) if sign else _chained(run)[::-1] for run, sign in zip(runs, signs, strict=True)]


def _chained(pieces: Sequence[Points]) -> Points:
    return np.concatenate([pieces[0], *(p[1:] for p in pieces[1:])])


def _monotone(piece: Points, toward: Points) -> list[Points]:
    """Return a cubic cut where it turns: where its derivative along `toward` is nil."""
    a, b, c = (np.diff(piece, axis=0) @ toward).tolist()
    # a(1-t)^2 + 2b t(1-t) + c t^2 = 0
    turns = abs(a - 2 * b + c) + abs(b - a) > 1e-12
    roots = np.roots([a - 2 * b + c, 2 * (b - a), a]) if turns else np.zeros(0)
    cuts = sorted({float(r.real) for r in roots if abs(r.imag) < 1e-9 and 1e-3 < r.real < 1 - 1e-3})
    out, rest, done = [], piece, 0.0
    for t in cuts:
        head, rest = _split(rest, (t - done) / (1 - done))
        out.append(head)
        done = t
    return [*out, rest]


def _split(p: Points, t: float) -> tuple[Points, Points]:
    """Return a cubic in two at parameter t (de Casteljau)."""
    ab, bc, cd = (p[i] + t * (p[i + 1] - p[i]) for i in range(3))
    abc, bcd = ab + t * (bc - ab), bc + t * (cd - bc)
    middle = abc + t * (bcd - abc)
    return np.array([p[0], ab, abc, middle]), np.array([middle, bcd, cd, p[3]])
