"""Accented letters from the writer's own letters and marks.

Letters are taken apart by canonical decomposition (Unicode Standard Annex #15), one mark at a time, so that a written
ê carries the acute of ế. Where the writer has placed a mark on a letter, the habit is kept; elsewhere it stands the
usual gap away. A letter that was written is never built. Marks that were never written have stand-ins.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fontbuild.anchors import anchor_name, base_anchor, mark_anchor
from fontbuild.font import Metrics
from fontbuild.geometry import bounds, moved, sample_glyph
from fontbuild.glyph import Glyph
from fontbuild.mark_fallbacks import APOSTROPHE, marks_for, relatives
from fontbuild.marks import DOTLESS, SOFT_DOTTED, is_attached, parts_of, undotted
from fontbuild.naming import variant_name

MOST_VARIANTS = 4
"""Variants built of a letter at most."""

GAP = {"top": 0.2, "bottom": 0.16}
"""x-heights between a letter and a mark that does not touch it, between their lines; common practice, no source."""

CAPITAL_GAP = 0.14
"""The same over capitals and ascenders, where there is less room."""

CLEAR = 0.1
"""x-heights of white that stays at least between the inks of letter and mark."""

ALL_PAIRS = 4_000_000
"""Pairs of points of letter and mark that are all measured: fonts of others have letters of any number of points."""

SLAVIC = frozenset("dtlL")
"""Letters whose caron is written like an apostrophe beside them (Czech and Slovak practice: ď ť ľ Ľ)."""

COMMA = frozenset("dgklnrDGKLNR")
"""Letters under which Unicode's cedilla is written as a comma (Latvian practice); over ģ it stands above."""

RANGES = ((0x00C0, 0x0233), (0x1E00, 0x1EFF))
"""Precomposed Latin letters of everyday use."""

Glyphs = Mapping[str, Sequence[Glyph]]


@dataclass(frozen=True)
class Habits:
    """How the writer places marks: the median way from the letter's anchor to the mark's, font units."""

    small: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """By combining mark, on letters of the x-height."""

    tall: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """By combining mark, on capitals and letters with ascenders."""


def letters_to_build() -> list[str]:
    """Return the precomposed Latin letters of everyday use, in the order in which each finds its parts built."""
    found = [chr(c) for first, last in RANGES for c in range(first, last + 1) if parts_of(chr(c))]
    return sorted(found, key=lambda c: (len(unicodedata.normalize("NFD", c)), c))


def build_accents(
    glyphs: Glyphs, metrics: Metrics, *, habits: Habits | None = None, wanted: Iterable[str] | None = None
) -> dict[str, tuple[Glyph, ...]]:
    """Return the letters that can be built, with their variants; none that `glyphs` has.

    Parameters
    ----------
    glyphs
        The writer's letters and combining marks, by character; marks stand anywhere.
    habits
        Where the writer puts marks.
    wanted
        Precomposed letters to build; by default all in everyday Latin use.
    """
    # fonts of others may have letters without a line, of which nothing can be built
    drawn = {c: tuple(g for g in v if g.strokes) for c, v in glyphs.items()}
    have: dict[str, tuple[Glyph, ...]] = {c: v for c, v in drawn.items() if v}
    habits = habits or Habits()
    built: dict[str, tuple[Glyph, ...]] = {}
    for base, lone in DOTLESS.items():
        if lone not in glyphs and (stems := dotless(have.get(base, ()), metrics)):
            have[lone] = built[lone] = stems
    chosen = letters_to_build() if wanted is None else _with_parts(wanted)
    for char in chosen:
        if char in have or char in glyphs:
            continue
        if made := _variants(char, have, metrics, habits):
            have[char] = built[char] = made
    return built


def _with_parts(wanted: Iterable[str]) -> list[str]:
    """Return the letters and every precomposed letter inside them, simplest first."""
    out: dict[str, None] = {}

    def add(char: str) -> None:
        parts = parts_of(char)
        if parts is not None:
            add(parts[0])
            out[char] = None

    for char in wanted:
        add(char)
    return list(out)


def dotless(variants: Sequence[Glyph], metrics: Metrics) -> tuple[Glyph, ...]:
    """Return an i or j without its dot, for each variant whose dot can be told from its stem."""
    out: list[Glyph] = []
    for g in variants:
        stem = undotted([sample_glyph(replace(g, strokes=(s,)))[0] for s in g.strokes], x_height=metrics.x_height)
        if stem:
            char = DOTLESS[g.char]
            out.append(
                replace(
                    g,
                    name=variant_name(char, len(out) + 1),
                    char=char,
                    strokes=tuple(g.strokes[k] for k in stem),
                    ductus=f"{char}={g.ductus}" if g.ductus else "",
                    anchors={},
                    source=f"built: {g.name} without its dot",
                )
            )
    return tuple(out)


def build_sequence(char: str, glyphs: Glyphs, metrics: Metrics, *, habits: Habits | None = None) -> tuple[Glyph, ...]:
    """Return a letter with any marks, whether or not Unicode has a character for it; () where parts are lacking.

    Parameters
    ----------
    char
        One letter and its marks, in any normal form.
    glyphs
        The hand's letters and combining marks, by character (NFC).
    habits
        Where the writer puts marks.
    """
    have = {c: tuple(g for g in v if g.strokes) for c, v in glyphs.items()}
    return _sequence(
        unicodedata.normalize("NFC", char), {c: v for c, v in have.items() if v}, metrics, habits or Habits()
    )


def _sequence(char: str, have: dict[str, tuple[Glyph, ...]], metrics: Metrics, habits: Habits) -> tuple[Glyph, ...]:
    if char in have:
        return have[char]
    taken_apart = unicodedata.normalize("NFD", char)
    if len(taken_apart) < 2 or not unicodedata.combining(taken_apart[-1]):
        return ()
    base, mark = unicodedata.normalize("NFC", taken_apart[:-1]), taken_apart[-1]
    bases = _sequence(base, have, metrics, habits)
    if not bases:
        return ()
    for dotted, lone in DOTLESS.items():
        if base == dotted and lone not in have:
            have[lone] = dotless(bases, metrics)
    return _joined(char, (base, mark), {**have, base: bases}, metrics, habits)


def _variants(char: str, have: Glyphs, metrics: Metrics, habits: Habits) -> tuple[Glyph, ...]:
    parts = parts_of(char)
    return _joined(char, parts, have, metrics, habits) if parts else ()


def _joined(char: str, parts: tuple[str, str], have: Glyphs, metrics: Metrics, habits: Habits) -> tuple[Glyph, ...]:
    """Return the variants of a letter made of a base and one mark."""
    base_char, mark_char = parts
    bases = have.get(base_char, ())
    if anchor_name(mark_char) == "top" and base_char in SOFT_DOTTED:
        bases = have.get(DOTLESS[base_char], ()) if base_char in DOTLESS else _undotted(bases, metrics)
    if mark_char == "\u0327" and base_char in COMMA:
        mark_char = "\u0312" if base_char == "g" else "\u0326"
    beside = mark_char == "\u030c" and base_char in SLAVIC
    marks = marks_for(APOSTROPHE if beside else mark_char, have, metrics.x_height)
    if not bases or not marks:
        return ()
    count = min(max(len(bases), len(marks)), MOST_VARIANTS)
    out: list[Glyph] = []
    for k in range(count):
        base, mark = bases[k % len(bases)], marks[(k + k // len(bases)) % len(marks)]
        glyph = _beside(base, mark, metrics) if beside else compose(base, mark, mark_char, metrics, habits)
        same = f"{char}={base.ductus}+{mark.ductus}" if base.ductus and mark.ductus else ""
        source = f"built: {base.name} + {mark.name}"
        name = variant_name(char, len(out) + 1)
        out.append(replace(glyph, name=name, char=char, ductus=same, source=source, anchors={}))
    return tuple(out)


def _undotted(bases: Sequence[Glyph], metrics: Metrics) -> tuple[Glyph, ...]:
    out: list[Glyph] = []
    for g in bases:
        stem = undotted([sample_glyph(replace(g, strokes=(s,)))[0] for s in g.strokes], x_height=metrics.x_height)
        if stem:
            out.append(replace(g, strokes=tuple(g.strokes[k] for k in stem), ductus=g.ductus and g.ductus + "-dot"))
    return tuple(out)


def compose(base: Glyph, mark: Glyph, mark_char: str, metrics: Metrics, habits: Habits) -> Glyph:
    """Return `base` with `mark` where the writer would put it, clear of the letter unless it is an attached mark."""
    name = anchor_name(mark_char)
    letter, sign = sample_glyph(base), sample_glyph(mark)
    if not name:
        # laid over the letter (combining class 1): middle on middle
        (ax0, ay0, ax1, ay1), (bx0, by0, bx1, by1) = bounds(letter), bounds(sign)
        placed = moved(mark, (ax0 + ax1 - bx0 - bx1) / 2, (ay0 + ay1 - by0 - by1) / 2)
        return replace(base, strokes=(*base.strokes, *placed.strokes))
    under = _without_horn(base, letter) if name == "top" else letter
    at = base_anchor(under, name, x_height=metrics.x_height, slant_deg=metrics.slant_deg)
    on = mark_anchor(sign, name, slant_deg=metrics.slant_deg)
    dx, dy = mark_offset(mark_char, name, at, base, metrics, habits)
    lean = np.tan(np.radians(metrics.slant_deg))
    shift = np.array([at[0] + dx - on[0], at[1] + dy - on[1]])
    if not is_attached(mark_char) or name == "top":
        step = 0.02 * metrics.x_height * (1.0 if name == "top" else -1.0)
        wanted = metrics.pen_width + CLEAR * metrics.x_height
        for _ in range(60):
            if _clearance(letter, sign, shift) >= wanted:
                break
            shift = shift + np.array([lean * step, step])
    placed = moved(mark, float(shift[0]), float(shift[1]))
    return replace(base, strokes=(*base.strokes, *placed.strokes))


def _without_horn(base: Glyph, letter: Sequence[np.ndarray]) -> Sequence[np.ndarray]:
    """Return a letter's lines without its horn, beside which a mark above stands over the letter's own middle."""
    if "\u031b" not in unicodedata.normalize("NFD", base.char):
        return letter
    top = max(float(s[:, 1].max()) for s in letter)
    body = [s for s in letter if float(s[:, 1].min()) < 0.5 * top]
    return body or letter


def mark_offset(
    mark: str, name: str, at: tuple[float, float], base: Glyph, metrics: Metrics, habits: Habits
) -> tuple[float, float]:
    """Return the way from the letter's anchor to the mark's, font units: the writer's own, or the usual gap.

    Parameters
    ----------
    mark
        A combining mark.
    name
        Of its anchor.
    at
        Where the letter's anchor lies.
    """
    x = metrics.x_height
    tall = at[1] > 1.25 * x
    known = habits.tall if tall else habits.small
    other = habits.small if tall else habits.tall
    near = [m for m in (mark, *relatives(mark)) if m in known or m in other][:1]
    own = known.get(near[0]) if near else None
    elsewhere = other.get(near[0], (0.0, 0.0)) if near else (0.0, 0.0)
    if name not in GAP:
        return own or elsewhere
    if shoulder := _shoulder(mark, base, x):
        return shoulder
    if own:
        return own
    sideways = elsewhere[0]
    if name == "bottom":
        return sideways, -GAP["bottom"] * x
    lean = float(np.tan(np.radians(metrics.slant_deg)))
    gap = (CAPITAL_GAP if tall else GAP["top"]) * x
    return sideways + lean * gap, gap


def _shoulder(mark: str, base: Glyph, x_height: float) -> tuple[float, float] | None:
    """Return where a second mark stands on a circumflex or breve: beside its top, as in Vietnamese (ấ ầ ẩ ắ)."""
    first = unicodedata.normalize("NFD", base.char)[-1]
    if first not in "\u0302\u0306" or mark not in "\u0300\u0301\u0309":
        return None
    side = -1.0 if mark == "\u0300" else 1.0
    return side * 0.3 * x_height, -0.12 * x_height


def _clearance(letter: Sequence[np.ndarray], sign: Sequence[np.ndarray], shift: np.ndarray) -> float:
    a, b = np.vstack(list(letter)), np.vstack(list(sign)) + shift
    if len(a) * len(b) > ALL_PAIRS:
        from scipy.spatial import cKDTree  # here, because hardly any font has such letters

        return float(cKDTree(a).query(b)[0].min())
    return float(np.sqrt(((a[:, None] - b[None]) ** 2).sum(axis=2)).min())


def _beside(base: Glyph, mark: Glyph, metrics: Metrics) -> Glyph:
    """Return a ď, ť, ľ, Ľ: the apostrophe beside the top of the stem."""
    x = metrics.x_height
    letter, sign = sample_glyph(base), sample_glyph(mark)
    points, sign_points = np.vstack(letter), np.vstack(sign)
    top = float(points[:, 1].max())
    high = points[points[:, 1] > top - 0.45 * x]
    shift = np.array(
        [float(high[:, 0].max()) + 0.22 * x - float(sign_points[:, 0].min()), top - float(sign_points[:, 1].max())]
    )
    placed = moved(mark, float(shift[0]), float(shift[1]))
    further = max(0.0, float(sign_points[:, 0].max() + shift[0] - points[:, 0].max()))
    return replace(base, strokes=(*base.strokes, *placed.strokes), advance=base.advance + further)
