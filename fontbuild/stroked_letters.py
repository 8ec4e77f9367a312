"""Letters with a bar through them, which Unicode does not take apart: ł ø đ ħ and their capitals.

If the writer wrote one of a pair, its bar is put through the base of the other; where they wrote neither, a slash or
hyphen of theirs serves as the bar, at a bar's size.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from capture.units import Points
from fontbuild.font import Metrics
from fontbuild.geometry import bounds, sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.naming import variant_name
from skeleton.geometry.arc_length import line_length


@dataclass(frozen=True)
class Barred:
    """How a letter is barred."""

    base: str
    other: str
    """The letter from which the writer's bar can be had."""

    level: float | None
    """Height of the bar's middle over the baseline, in x-heights; None: the middle of the letter."""

    right: bool = False
    """Whether the stem that the bar crosses is the right one."""


BARRED = {
    "ł": Barred("l", "Ł", 0.95),
    "Ł": Barred("L", "ł", 0.75),
    "ø": Barred("o", "Ø", None),
    "Ø": Barred("O", "ø", None),
    "đ": Barred("d", "Đ", 1.5, right=True),
    "Đ": Barred("D", "đ", 0.75),
    "ħ": Barred("h", "Ħ", 1.5),
    "Ħ": Barred("H", "ħ", 1.25),
}


OVERLAYS = {
    "ł": ("/", 0.5, 0.5),
    "Ł": ("/", 0.55, 0.45),
    "ø": ("/", 1.15, 1.2),
    "Ø": ("/", 1.2, 1.9),
    "đ": ("-", 0.6, 0.0),
    "Đ": ("-", 0.6, 0.0),
    "ħ": ("-", 0.6, 0.0),
    "Ħ": ("-", 1.0, 0.0),
}
"""The sign that serves as the bar of a letter, and its width and height in x-heights; no height: as wide makes it."""

MOST_VARIANTS = 4
"""Variants built of a letter."""

BELOW_END = 0.22
"""x-heights between the end of a stem and the bar through it, at least; common practice, no source."""


def crossing(char: str, base: Glyph, metrics: Metrics) -> Points:
    """Return where the middle of the bar belongs on `base`, shape (2,)."""
    points = np.vstack(sample_glyph(base))
    how = BARRED[char]
    if how.level is None:
        return np.asarray((points.min(axis=0) + points.max(axis=0)) / 2, float)
    # Where ascenders are low the bar still crosses the stem, below its end.
    level = min(how.level * metrics.x_height, float(points[:, 1].max()) - BELOW_END * metrics.x_height)
    near = points[np.abs(points[:, 1] - level) < 0.15 * metrics.x_height]
    near = near if len(near) else points
    return np.array([near[:, 0].max() if how.right else near[:, 0].min(), level])


def with_bar(char: str, base: Glyph, bar: Sequence[Points], metrics: Metrics) -> Glyph:
    """Return `base` with a bar, given as cubic strokes anywhere, through its stem or bowl.

    bar: each stroke of shape (3 n + 1, 2), font units, y up.
    """
    x0, y0, x1, y1 = bounds(bar)
    shift = crossing(char, base, metrics) - np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    return replace(base, char=char, strokes=(*base.strokes, *(s + shift for s in bar)), anchors={})


def bar_of(glyph: Glyph) -> int | None:
    """Return which stroke of a barred letter is the bar: the shortest that is straight; None where there is none."""
    if len(glyph.strokes) < 2:
        return None
    found: list[tuple[float, int]] = []
    for k, line in enumerate(sample_glyph(glyph)):
        length = line_length(line)
        chord = float(np.hypot(*(line[-1] - line[0])))
        if length > 0 and chord > 0.85 * length:
            found.append((length, k))
    return min(found)[1] if found else None


def build_barred(have: Mapping[str, Sequence[Glyph]], metrics: Metrics) -> dict[str, tuple[Glyph, ...]]:
    """Return the barred letters that were not written but whose base was, and their pair or a sign for the bar."""
    out: dict[str, tuple[Glyph, ...]] = {}
    for char in BARRED:
        if char not in have and (made := _from_pair(char, have, metrics) or overlaid(char, have, metrics)):
            out[char] = made
    return out


def _from_pair(char: str, have: Mapping[str, Sequence[Glyph]], metrics: Metrics) -> tuple[Glyph, ...]:
    how = BARRED[char]
    models = [g for g in have.get(how.other, ()) if not g.source.startswith("built:")]
    bars = [(g, k) for g in models if (k := bar_of(g)) is not None]
    if not bars:
        return ()
    made = []
    for n, base in enumerate([g for g in have.get(how.base, ()) if g.strokes][:MOST_VARIANTS]):
        model, k = bars[n % len(bars)]
        bar = model.strokes[k]
        if how.level is None:  # as large beside its letter as the writer's is beside the other
            rest = replace(model, strokes=tuple(s for i, s in enumerate(model.strokes) if i != k))
            bar = bar * (_height(base) / max(_height(rest), 1e-9))
        made.append(_named(with_bar(char, base, [bar], metrics), n, base, model, f"bar of {model.name}"))
    return tuple(made)


def overlaid(char: str, have: Mapping[str, Sequence[Glyph]], metrics: Metrics) -> tuple[Glyph, ...]:
    """Return a barred letter whose bar is one of the writer's signs, () where its parts are not there."""
    sign_char, wide, high = OVERLAYS[char]
    bases = [g for g in have.get(BARRED[char].base, ()) if g.strokes]
    signs = [g for g in have.get(sign_char, ()) if g.strokes]
    if not bases or not signs:
        return ()
    made = []
    for n, base in enumerate(bases[:MOST_VARIANTS]):
        sign = signs[n % len(signs)]
        x0, y0, x1, y1 = bounds(sample_glyph(sign))
        across = wide * metrics.x_height / max(x1 - x0, 1e-9)
        # A level bar keeps the slope and bend of the hand's hyphen.
        scale = np.array([across, high * metrics.x_height / max(y1 - y0, 1e-9) if high else across])
        glyph = with_bar(char, base, [s * scale for s in sign.strokes], metrics)
        made.append(_named(glyph, n, base, sign, f"bar from {sign.name}"))
    return tuple(made)


def _named(glyph: Glyph, number: int, base: Glyph, model: Glyph, told: str) -> Glyph:
    same = f"{glyph.char}={base.ductus}+{model.ductus}" if base.ductus and model.ductus else ""
    name = variant_name(glyph.char, number + 1)
    return replace(glyph, name=name, ductus=same, source=f"built: {base.name} + {told}")


def _height(glyph: Glyph) -> float:
    _, low, _, high = bounds(sample_glyph(glyph))
    return high - low
