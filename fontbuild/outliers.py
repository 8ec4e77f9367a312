"""Attempts that should not become variants, and why. Nothing is deleted: they are named and left aside.

Each attempt is compared with the character's other attempts (leave one out), with the forms in which the character is
usually written (`skeleton.ductus`), and with the hand's other letters. What counts as unusual is read off the whole
hand with robust statistics (median and MAD; Rousseeuw & Croux, J. Amer. Statist. Assoc. 88, 1993), of sizes by
`odd_sizes`: a restless hand is allowed more than a steady one. Of two attempts that differ, one is only set aside if
something besides the other speaks against it; and a character whose attempts are all unusual keeps the least unusual.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from fontbuild.letterwise import Letterwise, in_turn
from fontbuild.odd_sizes import LEAST_SIZE, ODD_SIZE, deviations, most_of_pair, size_scatter
from fontbuild.point_cloud_distance import cloud, distances, normal, placed
from fontbuild.variants import AttemptStrokes
from skeleton.ductus import allographs
from skeleton.geometry.arc_length import line_length

Floats = NDArray[np.float64]

SHAPE_LIMITS = (0.85, 1.3)
PAIR_LIMITS = (0.55, 0.68)
"""Bounds for the limits that the hand's own scatter sets: oddness of shape among several attempts and of a pair, in
units of the letter's spread."""

MARGIN = 0.12
"""By how much more one of two attempts must be unlike the usual forms to be the odd one."""

FEW = 4
"""Of so many other attempts one may be as odd in size as another without making it usual; of twice as many, two."""

LITTLE_INK = 0.3
"""Share of the others' ink below which there is hardly any."""

NEARLY = 0.75
"""Share of the limit from which an odd shape counts against an attempt whose tracing is half as sure as the others'."""


NO_INK, ONLY_A_PART, LOOKS_LIKE = "hardly any ink", "only a part of the letter", "looks like"
"""Reasons of a letter that lacks most of itself or a part, and the beginning of that of one that is another letter."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """What speaks about one attempt; distances in units of the letter's spread, sizes and ink as logarithms."""

    written: AttemptStrokes
    own: float
    """Distance from the nearest other attempt at the character; 0 where there is none."""

    usual: float
    """Distance from the nearest usual form; nan where none is known."""

    size: float
    """Size against the others nearest in size (see `FEW`); 0 where there is none."""

    ink: float
    """Length of ink against the other attempt nearest in it."""

    usual_size: float
    """Size against the nearest usual form, at the hand's own scale; nan where none is known."""

    strokes_known: bool
    """Whether a usual form has as many strokes."""

    log_size: float
    """Logarithm of its size, x-heights."""

    deviation: float = 0.0
    """Size against the middle of the others, in standard deviations (see `odd_sizes`); 0 where too few others tell."""

    @property
    def apart(self) -> float:
        """How far it stands from the other attempts."""
        return min(self.own, 1.5) + 0.3 * min(abs(self.ink), 1.0) + 0.5 * min(abs(self.size), 0.6)

    def odd_shape(self, usual: float) -> float:
        """Return how odd its shape is, `usual` standing in where no usual form is known."""
        return self.apart + (usual if np.isnan(self.usual) else self.usual)

    @property
    def odd_size(self) -> bool:
        """Whether it is larger or smaller than this hand writes the character, and few others are nearly as odd."""
        return abs(self.deviation) > ODD_SIZE and abs(self.size) > LEAST_SIZE / 2

    @property
    def unusual(self) -> float:
        """How unlike the usual forms it is in shape and size; nan where none is known."""
        return self.usual + 0.7 * abs(self.usual_size)


@dataclass(frozen=True)
class Limits:
    """What the hand itself calls unusual."""

    shape: float
    pair: float
    pair_size: float
    usual: float
    """The hand's median distance from usual forms."""


@dataclass(eq=False)
class _Hand:
    """All letters as points, to ask which letter an attempt looks like."""

    letters: Mapping[str, Sequence[AttemptStrokes]]
    x_height_mm: float
    _placed: dict[str, Floats] = field(default_factory=dict)

    def _model(self, char: str) -> Floats:
        if char not in self._placed:
            some = list(self.letters[char])[:3]
            self._placed[char] = np.array([placed(cloud(_unit(w.strokes, self.x_height_mm))) for w in some])
        return self._placed[char]

    def looks_like(self, w: AttemptStrokes) -> tuple[str, float]:
        """Return the other character that lies nearest where it was written, and how near, x-heights."""
        mine = placed(cloud(_unit(w.strokes, self.x_height_mm)))[None]
        best = [(float(distances(mine, self._model(c)).min()), c) for c in self.letters if c != w.char]
        near, char = min(best, default=(np.inf, ""))
        return char, near


def find_outliers(
    letters: Mapping[str, Sequence[AttemptStrokes]],
    *,
    x_height_mm: float,
    keep: Collection[str] = (),
    letterwise: Letterwise = in_turn,
) -> dict[str, str]:
    """Return, by attempt id, the reason why it should be set aside; nothing for those that may become variants.

    Parameters
    ----------
    letters
        All attempts of the hand by character, each with at least one stroke.
    x_height_mm
        The size in which they are written.
    keep
        Ids that a person wants kept.
    letterwise
        How work is done that concerns one character by itself.
    """
    groups = {char: group for char, group in letters.items() if group}
    gathered = letterwise(gather, ((group, x_height_mm) for group in groups.values()))
    scaled = _to_scale(dict(zip(groups, gathered, strict=True)))
    sizes = {char: np.array([e.log_size for e in group]) for char, group in scaled.items()}
    size_sd = size_scatter(sizes.values())
    evidence = {
        char: [replace(e, deviation=d) for e, d in zip(group, deviations(sizes[char], size_sd).tolist(), strict=True)]
        for char, group in scaled.items()
    }
    limits = limits_of([e for group in evidence.values() for e in group], size_sd)
    hand = _Hand(letters, x_height_mm)
    reasons: dict[str, str] = {}
    for group in evidence.values():
        judged = {i: r for i, e in enumerate(group) if (r := _verdict(e, group, limits, hand))}
        wanted = {i for i, e in enumerate(group) if e.written.id in keep}
        for i in wanted:
            judged.pop(i, None)
        if len(judged) == len(group):
            del judged[min(judged, key=lambda i: _badness(group[i], limits))]
        reasons.update({group[i].written.id: r for i, r in sorted(judged.items())})
    return reasons


# ------------------------------------------------------------------------------------------- evidence


def gather(group: Sequence[AttemptStrokes], x_height_mm: float) -> list[Evidence]:
    """Return the evidence about all attempts at one character."""
    shapes = [_unit(w.strokes, x_height_mm) for w in group]
    clouds = np.array([normal(cloud(s)) for s in shapes])
    apart = distances(clouds, clouds) if len(group) > 1 else np.zeros((1, 1))
    sizes = np.log([_spread(s) for s in shapes])
    inks = np.log([_ink(s) for s in shapes])
    forms, form_sizes, counts = usual_forms(group[0].char)
    from_forms = distances(clouds, forms) if len(forms) else np.full((len(group), 1), np.nan)
    nearest = np.argmin(np.nan_to_num(from_forms, nan=9.0), axis=1)
    return [
        Evidence(
            written=w,
            own=float(min(np.delete(apart[i], i), default=0.0)),
            usual=float(from_forms[i].min()),
            size=_nearest(sizes, i, 1 + (len(group) - 1) // FEW),
            ink=_nearest(inks, i),
            usual_size=float(sizes[i] - form_sizes[nearest[i]]) if len(forms) else np.nan,
            strokes_known=len(w.strokes) in counts,
            log_size=float(sizes[i]),
        )
        for i, w in enumerate(group)
    ]


def _nearest(values: Floats, i: int, rank: int = 1) -> float:
    """Return the difference from the nearest of the other values, or the next ones; 0 where there is none."""
    apart = sorted((values[i] - np.delete(values, i)).tolist(), key=abs)
    return float(apart[min(rank, len(apart)) - 1]) if apart else 0.0


@cache
def usual_forms(char: str) -> tuple[Floats, Floats, frozenset[int]]:
    """Return a character's usual forms as normal clouds, the logarithms of their sizes, and their stroke counts."""
    known = allographs(char)
    clouds = np.array([normal(cloud(a.strokes)) for a in known])
    return clouds, np.log([_spread(a.strokes) for a in known]), frozenset(len(a.strokes) for a in known)


def limits_of(evidence: Sequence[Evidence], size_sd: float) -> Limits:
    """Return the limits that the hand's own scatter sets, within bounds; `size_sd`: of one letter's size."""
    usual = float(np.median([e.usual for e in evidence if not np.isnan(e.usual)] or [0.25]))
    shape = np.array([e.odd_shape(usual) for e in evidence])
    pair = np.array([e.apart for e in evidence])
    return Limits(
        shape=float(np.clip(np.median(shape) + 4.8 * _mad(shape), *SHAPE_LIMITS)),
        pair=float(np.clip(np.median(pair) + 3.0 * _mad(pair), *PAIR_LIMITS)),
        pair_size=most_of_pair(size_sd),
        usual=usual,
    )


def _to_scale(evidence: Mapping[str, Sequence[Evidence]]) -> dict[str, list[Evidence]]:
    """Return the evidence with the sizes against usual forms brought to the hand's own scale.

    Where three or more attempts tell how large this hand writes the character, half of that is taken out too.
    """
    known = [e.usual_size for group in evidence.values() for e in group if np.isfinite(e.usual_size)]
    scale = float(np.median(known)) if known else 0.0
    out = {}
    for char, group in evidence.items():
        here = float(np.median([e.usual_size for e in group])) - scale if len(group) > 2 else 0.0
        out[char] = [replace(e, usual_size=e.usual_size - scale - here / 2) for e in group]
    return out


def _mad(values: Floats) -> float:
    """Return the median absolute deviation, scaled to the standard deviation of a normal distribution."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _unit(strokes: Sequence[Points], x_height_mm: float) -> list[Points]:
    return [s / x_height_mm for s in strokes]


def _spread(strokes: Sequence[Points]) -> float:
    c = cloud(strokes)[:, :2]
    return float(np.hypot(*c.std(axis=0))) + 0.06


def _ink(strokes: Sequence[Points]) -> float:
    return 0.15 + sum(map(line_length, strokes))


# ------------------------------------------------------------------------------------------- verdict


def _verdict(e: Evidence, group: Sequence[Evidence], limits: Limits, hand: _Hand) -> str:
    """Return the reason to set an attempt aside, '' to keep it."""
    others = [o for o in group if o is not e]
    if len(others) == 1:
        odd = e.apart > limits.pair and e.unusual > others[0].unusual + MARGIN
        larger = abs(e.size) > limits.pair_size and abs(e.usual_size) > abs(others[0].usual_size) + MARGIN
        return _reason(e, others, limits, hand) if odd or larger else ""
    if not others:
        return ""
    if e.odd_shape(limits.usual) > limits.shape or e.odd_size:
        return _reason(e, others, limits, hand)
    # the ink decides, not how many strokes were read in it: another number only adds to an odd shape
    strange = e.odd_shape(limits.usual) > NEARLY * limits.shape
    common, times = Counter(len(o.written.strokes) for o in others).most_common(1)[0]
    mine = len(e.written.strokes)
    if strange and mine != common and times >= 3 and times == len(others) and not e.strokes_known:
        return f"{mine} strokes where the others have {common}"
    sure = float(np.median([o.written.confidence for o in others]))
    if strange and e.written.confidence < 0.5 * sure:
        return f"doubtful reading (confidence {e.written.confidence:.2f})"
    return ""


def _reason(e: Evidence, others: Sequence[Evidence], limits: Limits, hand: _Hand) -> str:
    """Return in words what is odd about an attempt."""
    if np.exp(e.ink) < LITTLE_INK:
        return NO_INK
    odd = e.odd_size if len(others) > 1 else abs(e.size) > limits.pair_size
    if odd and e.own < 0.4:
        return "much larger than the others" if e.size > 0 else "much smaller than the others"
    return _shape_reason(e, others, hand)


def _shape_reason(e: Evidence, others: Sequence[Evidence], hand: _Hand) -> str:
    if np.exp(e.ink) < 0.8:
        scale = hand.x_height_mm
        mine = cloud(_unit(e.written.strokes, scale))[:, :2]
        covered = min(_uncovered(mine, cloud(_unit(o.written.strokes, scale))[:, :2]) for o in others)
        if covered < 0.13:
            return ONLY_A_PART
    char, near = hand.looks_like(e.written)
    if char and near < 0.2:
        return f"{LOOKS_LIKE} {char!r}"
    return "another shape than the others"


def _uncovered(part: Points, whole: Points) -> float:
    """Return how far, on average, the points of `part` lie from `whole`, slid along the line to where it fits best."""
    start = whole[:, 0].mean() - part[:, 0].mean()
    best = np.inf
    for dx in start + np.linspace(-1.0, 1.0, 21):
        gap = np.linalg.norm(part[:, None] + np.array([dx, 0.0]) - whole[None], axis=2)
        best = min(best, float(gap.min(axis=1).mean()))
    return best


def _badness(e: Evidence, limits: Limits) -> float:
    size = 0.0 if np.isnan(e.usual_size) else abs(e.usual_size)
    return e.odd_shape(limits.usual) + size
