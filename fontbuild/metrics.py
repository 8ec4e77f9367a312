"""Heights, slant and pen width, measured on the letters.

Keys of `Font.rhythm`, in font units but for shares and degrees; each may be absent:
`letter_white` (mean white between letters, as `fontbuild.spacing` counts it), `letter_gap` (gap between their boxes),
`letter_gap_sd`, `letter_gap_share` (share of the gaps inside words that those two were measured on: in words of which
no two letters touch), `pair_gap_sd` (how much the font's own gaps differ in such words), `lifted_gap` (gap between the
boxes of lines where a hand that joins lifts its pen beside a joined letter, or a line leads on), `pen_up_gap` (where it
lifts, as letters stand on ruled lines), `pen_up_gap_sd`, `step`, `step_share`, `step_sd` (from the
middle of a joined letter to that of the next, see `fontbuild.letter_steps`), `word_gap` (white between words),
`word_gap_sd`, `foot_sd` (letters' feet about the line, the mean of each letter's own taken off), `line_slope_sd_deg`,
`line_level_sd` (lines about their ruled places), `height_sd`, `width_sd` (letters of running text about their
characters' means, of logarithms) and `slant_sd` (degrees), each character counting as it has attempts, from so many
letters as `letters_seen`,
`word_height_share`, `line_height_share` and the like of width and slant (share of the variance that words, and lines,
have in common), each with its standard error, `word_height_share_error`.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from capture.units import Points
from fontbuild.font import Metrics
from fontbuild.geometry import bounds
from skeleton.geometry.arc_length import resample

FLAT_LOWER = "acemnorsuvwxzıα"
"""Lower-case letters that stand between baseline and x-height."""

TALL_LOWER = "bdfhklþß"
DEEP_LOWER = "gjpqyþ"
CAPITALS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
STEMMED = "bdhiklmnprtuIHLTFEBDPRKMN1ſ"
"""Letters with straight upright stems, for the slant."""

Outlines = Mapping[str, Sequence[Sequence[Points]]]
"""By character: its attempts, each a sequence of strokes, font units."""


def measure(letters: Outlines, *, pen_width: float, guides: tuple[float, float, float]) -> Metrics:
    """Return the hand's metrics: medians over all attempts of the letters that show each height.

    Parameters
    ----------
    letters
        All usable attempts, by character, on their baseline.
    pen_width
        Font units.
    guides
        x-height, ascender and descender of the sheet's guides: used where no letter shows a height.
    """
    x_guide, ascender_guide, descender_guide = guides
    x_height = _median((_top(s) for s in _all(letters, FLAT_LOWER)), x_guide)
    cap_height = _median((_top(s) for s in _all(letters, CAPITALS)), 0.85 * ascender_guide)
    ascender = _median((_top(s) for s in _all(letters, TALL_LOWER)), ascender_guide)
    descender = _median((_foot(s) for s in _all(letters, DEEP_LOWER)), descender_guide)
    return Metrics(
        x_height=x_height,
        cap_height=cap_height,
        ascender=max(ascender, x_height),
        descender=min(descender, 0.0),
        slant_deg=slant(list(_all(letters, STEMMED))),
        pen_width=pen_width,
    )


def slant(letters: Sequence[Sequence[Points]]) -> float:
    """Return the lean of the stems in degrees from the vertical, positive to the right.

    The median direction, weighted by length, of all steps within 40 degrees of the vertical; 0 where there are none.
    Median rather than mean: bowls contribute as much to one side as to the other.

    Examples
    --------
    >>> round(slant([[np.array([[0.0, 0.0], [1.0, 10.0]])]]), 1)
    5.7
    """
    angles, lengths = [], []
    for stroke in (s for strokes in letters for s in strokes if len(s) > 1):
        points = resample(stroke, 24)
        d = np.diff(points, axis=0)
        d = d * np.where(d[:, 1:] < 0, -1.0, 1.0)
        angles.append(np.degrees(np.arctan2(d[:, 0], d[:, 1])))
        lengths.append(np.hypot(d[:, 0], d[:, 1]))
    if not angles:
        return 0.0
    angle, length = np.concatenate(angles), np.concatenate(lengths)
    upright = (np.abs(angle) < 40) & (length > 0)
    if not upright.any():
        return 0.0
    order = np.argsort(angle[upright])
    angle, weight = angle[upright][order], length[upright][order]
    return float(angle[np.searchsorted(np.cumsum(weight), weight.sum() / 2)])


def is_mark(char: str) -> bool:
    """Return whether `char` is a combining mark by itself."""
    return bool(char) and all(unicodedata.combining(c) for c in char)


def _all(letters: Outlines, chars: str) -> Iterable[Sequence[Points]]:
    return (strokes for c in chars for strokes in letters.get(c, ()))


def _top(strokes: Sequence[Points]) -> float:
    return bounds(strokes)[3]


def _foot(strokes: Sequence[Points]) -> float:
    return bounds(strokes)[1]


def _median(values: Iterable[float], default: float) -> float:
    found = list(values)
    return float(np.median(found)) if found else float(default)
