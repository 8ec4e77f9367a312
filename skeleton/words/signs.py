"""Full stops, commas and other signs of a word: nobody joins them, and their ink is passed once.

A word is laid over its ink letter by letter, and a sign is the least of its letters: the end of the letter before it is
taken for a way into it, and a blot for lines to and fro.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from capture.units import Points
from skeleton.geometry.polyline import at_lengths, line_length

Parts = list[tuple[int, Points]]

COVERED = 1.0
"""Pen widths from the line of a sign that reaches farthest up to which another one of it shows nothing more."""


def is_sign(char: str) -> bool:
    """Return whether a character is neither a letter nor a figure."""
    return not char.isalnum()


def signs_apart(strokes: Sequence[Parts], text: str) -> list[Parts]:
    """Return strokes cut into letters, what leads from a letter into a sign or out of one being the letter's.

    strokes: of each the numbers of its letters and what it draws of each, (n, 2), in turn. A sign of which nothing else
    would be left keeps what it has.
    """
    signs = [is_sign(c) for c in text]
    alone = {parts[0][0] for parts in strokes if len(parts) == 1}
    out = []
    for parts in strokes:
        kept: Parts = []
        for number, piece in parts:
            if len(parts) > 1 and signs[number] and number in alone:
                if kept:
                    last, line = kept[-1]
                    kept[-1] = last, np.concatenate([line, piece[1:]])
                continue
            kept.append((number, piece))
        out.append(kept or list(parts))
    return out


def passed_once(pieces: Sequence[Points], pen: float) -> list[Points]:
    """Return the lines of a sign without those that lie on the one that reaches farthest; a blot is a dot.

    pieces: each (n, 2), in the unit of `pen`, its width.
    """
    if len(pieces) < 2:
        return list(pieces)
    first = int(np.argmax([np.hypot(*np.ptp(p, axis=0)) for p in pieces]))
    line = np.ascontiguousarray(pieces[first])
    length = line_length(line)
    places = np.linspace(0.0, length, int(length / (0.1 * pen)) + 1)
    near = cKDTree(at_lengths(line, places) if len(line) > 1 else line)
    return [p for k, p in enumerate(pieces) if k == first or float(near.query(p)[0].max()) > COVERED * pen]
