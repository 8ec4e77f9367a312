"""Letters with a bar through them, which Unicode does not take apart: ł ø đ ħ and their capitals.

If the writer wrote one of a pair, its bar is put through the base of the other.
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
    """Return `base` with a bar, given as cubic strokes anywhere, through its stem or bowl."""
    x0, y0, x1, y1 = bounds(bar)
    shift = crossing(char, base, metrics) - np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    return replace(base, char=char, strokes=(*base.strokes, *(s + shift for s in bar)), anchors={})


def bar_of(glyph: Glyph) -> int | None:
    """Return which stroke of a barred letter is the bar: the shortest that is straight; None where there is none."""
    if len(glyph.strokes) < 2:
        return None
    found: list[tuple[float, int]] = []
    for k, line in enumerate(sample_glyph(glyph)):
        length = float(np.hypot(*np.diff(line, axis=0).T).sum()) if len(line) > 1 else 0.0
        chord = float(np.hypot(*(line[-1] - line[0])))
        if length > 0 and chord > 0.85 * length:
            found.append((length, k))
    return min(found)[1] if found else None


def build_barred(have: Mapping[str, Sequence[Glyph]], metrics: Metrics) -> dict[str, tuple[Glyph, ...]]:
    """Return the barred letters that were not written but whose base and whose pair were."""
    out: dict[str, tuple[Glyph, ...]] = {}
    for char, how in BARRED.items():
        bases, models = have.get(how.base, ()), have.get(how.other, ())
        if char in have or not bases:
            continue
        bars = [(g, k) for g in models if not g.source.startswith("built:") and (k := bar_of(g)) is not None]
        made: list[Glyph] = []
        for n, base in enumerate(bases[:4] if bars else []):
            model, k = bars[n % len(bars)]
            bar = model.strokes[k]
            if how.level is None:  # as large beside its letter as the writer's is beside the other
                rest = replace(model, strokes=tuple(s for i, s in enumerate(model.strokes) if i != k))
                bar = bar * (_height(base) / max(_height(rest), 1e-9))
            same = f"{char}={base.ductus}+{model.ductus}" if base.ductus and model.ductus else ""
            glyph = with_bar(char, base, [bar], metrics)
            name = variant_name(char, len(made) + 1)
            source = f"built: {base.name} + bar of {model.name}"
            made.append(replace(glyph, name=name, ductus=same, source=source))
        if made:
            out[char] = tuple(made)
    return out


def _height(glyph: Glyph) -> float:
    _, low, _, high = bounds(sample_glyph(glyph))
    return high - low
