"""Marks that the writer never wrote, made of what they did write: a caron is a circumflex turned upside down.

What is made of what is common practice of type designers, no source: carons from circumflexes, double acutes from
acutes, marks below from those above; further off, signs that have the shape, brought to a mark's size. The names of
glyphs made so tell it ('caron from circumflex').
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from fontbuild.geometry import bounds, moved, sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.naming import base_name
from fontbuild.plain_shapes import bowl, corner, tail

APOSTROPHE = "\u2019"


@dataclass(frozen=True)
class StandIn:
    """What a mark can be made of, and how."""

    of: str
    """A mark or a sign."""

    turn: tuple[tuple[float, float], tuple[float, float]] = ((1.0, 0.0), (0.0, 1.0))
    """Linear map applied to its points, y up."""

    wide: float | None = None
    """x-heights; with `high` as well the shape is stretched to both, alone it keeps its proportions."""

    high: float | None = None
    twice: bool = False
    """Two of them side by side."""

    top_only: bool = False
    """Without what stands apart at its foot: a question mark's point."""

    plain: Callable[[Sequence[Points], Sequence[Points]], tuple[Points, ...]] | None = None
    """Takes off what is no part of the shape: the hooks of a script v."""


OVER = ((1.0, 0.0), (0.0, -1.0))
"""Upside down: mirrored at a level line."""

ASIDE = ((-1.0, 0.0), (0.0, 1.0))
"""Mirrored at an upright."""

TURNED = ((-1.0, 0.0), (0.0, -1.0))
"""By half a turn: the comma over a \u0123 has its head below."""

LAIN = ((0.0, 1.0), (1.0, 0.0))
"""Mirrored at the diagonal: an opening bracket becomes a bowl."""

LAIN_OVER = ((0.0, 1.0), (-1.0, 0.0))

STAND_INS: Mapping[str, tuple[StandIn, ...]] = {
    "\u0300": (StandIn("\u0301", ASIDE), StandIn("\\", high=0.35), StandIn("/", ASIDE, high=0.35)),
    "\u0301": (StandIn("\u0300", ASIDE), StandIn("/", high=0.35), StandIn("'", ((1.0, 0.6), (0.0, 1.0)), high=0.35)),
    "\u0302": (StandIn("\u030c", OVER), StandIn("v", OVER, wide=0.5, high=0.34, plain=corner)),
    "\u030c": (StandIn("\u0302", OVER), StandIn("v", wide=0.5, high=0.34, plain=corner)),
    "\u0303": (StandIn("~", wide=0.6),),
    "\u0304": (StandIn("\u0331"), StandIn("-", wide=0.55), StandIn("\u2013", wide=0.55), StandIn("_", wide=0.55)),
    "\u0306": (
        StandIn("\u0311", OVER),
        StandIn("(", LAIN, wide=0.5, high=0.24),
        StandIn(")", LAIN_OVER, wide=0.5, high=0.24),
    ),
    "\u0307": (StandIn("\u0323"), StandIn(".")),
    "\u0308": (StandIn("\u0307", twice=True),),
    "\u0309": (StandIn("?", wide=0.26, high=0.38, top_only=True),),
    "\u030a": (
        StandIn("\u00b0", high=0.36),
        StandIn("o", wide=0.34, high=0.36, plain=bowl),
        StandIn("O", wide=0.34, high=0.36, plain=bowl),
    ),
    "\u030b": (StandIn("\u0301", twice=True),),
    "\u030f": (StandIn("\u0300", twice=True),),
    "\u0311": (StandIn("\u0306", OVER),),
    "\u0312": (StandIn(APOSTROPHE, TURNED), StandIn("\u0326", TURNED), StandIn(",", TURNED), StandIn("'")),
    APOSTROPHE: (StandIn(","), StandIn("'")),
    "\u031b": (StandIn(APOSTROPHE, high=0.34, plain=tail), StandIn(",", high=0.34, plain=tail)),
    "\u0323": (StandIn("\u0307"), StandIn(".")),
    "\u0324": (StandIn("\u0308"),),
    "\u0325": (StandIn("\u030a"),),
    "\u0326": (StandIn(","), StandIn(APOSTROPHE), StandIn("'")),
    "\u0327": (StandIn("\u0326", high=0.42, plain=tail), StandIn(",", high=0.42, plain=tail)),
    "\u0328": (StandIn("\u0327", ASIDE), StandIn(",", ASIDE, high=0.42, plain=tail)),
    "\u032d": (StandIn("\u0302"),),
    "\u032e": (StandIn("\u0306"),),
    "\u0330": (StandIn("\u0303"),),
    "\u0331": (StandIn("\u0304"),),
}
"""By mark, best first. ASCII's own ^ and ` are drawn too freely: there are fonts in which one is an arrow and the
other a quotation mark."""


def marks_for(mark: str, have: Mapping[str, Sequence[Glyph]], x_height: float) -> tuple[Glyph, ...]:
    """Return the writer's own marks, or what stands in for them; () where there is nothing to make them of.

    Parameters
    ----------
    mark
        A combining mark, or the apostrophe that stands for a caron beside tall letters.
    have
        Letters, marks and signs, by character.
    x_height
        Font units.
    """
    return _found(mark, have, x_height, frozenset())


def relatives(mark: str) -> tuple[str, ...]:
    r"""Return the marks that are placed as `mark` is: those of the same side that it can be made of.

    Examples
    --------
    >>> [unicodedata.name(m) for m in relatives("\u030c")]
    ['COMBINING CIRCUMFLEX ACCENT']
    """
    side = unicodedata.combining(mark)
    return tuple(s.of for s in STAND_INS.get(mark, ()) if side and unicodedata.combining(s.of) == side)


def _found(mark: str, have: Mapping[str, Sequence[Glyph]], x_height: float, tried: frozenset[str]) -> tuple[Glyph, ...]:
    if own := [g for g in have.get(mark, ()) if g.strokes]:
        return tuple(own)
    for choice in STAND_INS.get(mark, ()):
        # Of two marks that stand in for each other neither may be asked for twice on one way.
        if choice.of in tried:
            continue
        if models := _found(choice.of, have, x_height, tried | {mark}):
            return _made(mark, choice, models, x_height)
    return ()


def _made(mark: str, how: StandIn, models: Sequence[Glyph], x_height: float) -> tuple[Glyph, ...]:
    if how.twice:
        shapes = [twice(a, b, x_height) for a, b in zip(models, [*models[1:], *models[:1]], strict=True)]
    else:
        shapes = [_shaped(g, how, x_height) for g in models]
    out = []
    for model, shape in zip(models, shapes, strict=True):
        told = f"{mark_name(mark)} from {_told(how.of, model)}"
        same = shape.ductus and f"{mark}={shape.ductus}"
        out.append(replace(shape, name=told, char=mark, ductus=same, anchors={}))
    return tuple(out)


def mark_name(mark: str) -> str:
    """Return a mark's name in words.

    Examples
    --------
    >>> mark_name("\u030c"), mark_name("\u0327"), mark_name("(")
    ('caron', 'cedilla', 'parenleft')
    """
    name = unicodedata.name(mark, "")
    if name.startswith("COMBINING "):
        return name.removeprefix("COMBINING ").removesuffix(" ACCENT").lower()
    return base_name(mark)


def _told(of: str, model: Glyph) -> str:
    number = model.name.partition(".")[2]
    return model.name if " from " in model.name else mark_name(of) + (f".{number}" if number else "")


def _shaped(glyph: Glyph, how: StandIn, x_height: float) -> Glyph:
    strokes = glyph.strokes
    if how.top_only and len(strokes) > 1:
        low = [float(s[:, 1].min()) for s in strokes]
        strokes = tuple(s for s, y in zip(strokes, low, strict=True) if y > min(low)) or strokes
    if how.plain is not None:
        strokes = how.plain(strokes, sample_glyph(replace(glyph, strokes=strokes)))
    turn = np.array(how.turn)
    strokes = tuple(s @ turn.T for s in strokes)
    if float(np.linalg.det(turn)) < 0 and how.turn != OVER:
        # Written from left to right still, and from the top down.
        strokes = tuple(_onward(s) for s in strokes)
    return _fitted(replace(glyph, strokes=strokes, anchors={}), how.wide, how.high, x_height)


def _onward(stroke: NDArray[np.float64]) -> NDArray[np.float64]:
    way = stroke[-1] - stroke[0]
    return stroke[::-1] if way[0] - way[1] < 0 else stroke


def _fitted(glyph: Glyph, wide: float | None, high: float | None, x_height: float) -> Glyph:
    if wide is None and high is None:
        return glyph
    x0, y0, x1, y1 = bounds(sample_glyph(glyph))
    across = None if wide is None else wide * x_height / max(x1 - x0, 1e-9)
    up = None if high is None else high * x_height / max(y1 - y0, 1e-9)
    scale = np.array([across or up, up or across], float)
    origin = np.array([x0, y0])
    return replace(glyph, strokes=tuple(origin + (s - origin) * scale for s in glyph.strokes))


def twice(one: Glyph, two: Glyph, x_height: float) -> Glyph:
    """Return two marks side by side, as in a diaeresis or a double acute."""
    (x0, y0), (x1, _) = (np.vstack(sample_glyph(g)).min(axis=0) for g in (one, two))
    wide = max(float(np.ptp(np.vstack(sample_glyph(one))[:, 0])), 0.0)
    shift = wide * 0.55 + 0.33 * x_height
    first, second = moved(one, -float(x0), -float(y0)), moved(two, shift - float(x1), 0.0)
    low = float(np.vstack(sample_glyph(second))[:, 1].min())
    second = moved(second, 0.0, -low)
    same = f"{one.ductus}&{two.ductus}" if one.ductus and two.ductus else ""
    return replace(one, strokes=(*first.strokes, *second.strokes), name=f"{one.name}+{two.name}", ductus=same)
