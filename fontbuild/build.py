"""The package on one page: attempts in, a stroke font out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from capture.units import em_from_cell
from fontbuild.accents import build_accents
from fontbuild.anchors import with_anchors
from fontbuild.broken_stroke_repair import mended
from fontbuild.collisions import find_collisions
from fontbuild.compatible_cubics import tolerance_of
from fontbuild.doubtful import find_doubtful, find_lacking, may_stand_in_words
from fontbuild.font import Font, Metrics, Record
from fontbuild.geometry import glyph_bounds, moved
from fontbuild.glyph import Glyph
from fontbuild.guide_size import Size, reference_size, size_of
from fontbuild.joins import APART, IN_TEXT, WAYS, attached, joining, printing, without_joined
from fontbuild.kerning import gap_sd, kerning
from fontbuild.letter_steps import letter_steps
from fontbuild.letterwise import Letterwise, in_turn
from fontbuild.lifted_gap import lifted_gap
from fontbuild.metrics import measure
from fontbuild.naming import SPACE, variant_name
from fontbuild.outliers import find_outliers
from fontbuild.running_text import on_the_line, size_on_lines
from fontbuild.separate_marks import separate_marks
from fontbuild.shared_variation import shared_variation
from fontbuild.spacing import box_gap, rule, space_glyphs
from fontbuild.stroked_letters import build_barred
from fontbuild.text_spacing_statistics import LEAST_WORDS, CopiedWord
from fontbuild.usable_attempts import ENOUGH, BuildingRules, choose, joins_letters
from fontbuild.variants import AttemptStrokes, Variant, each_by_itself, variants_of
from skeleton.attempt import Attempt

Progress = Callable[[str, int, int], None]

WORD_GAP = 1.2
"""x-heights of white between words where the hand's own has not been measured: the closer of the two writers of UNIPEN
train_r01_v07 (Guyon et al., ICPR 1994), art08; the other's mean is 2.6."""


@dataclass(frozen=True)
class SetAside:
    """An attempt that did not become a variant."""

    id: str
    char: str
    reason: str


@dataclass(frozen=True, eq=False)
class BuildResult:
    """The font, and what did not go into it."""

    font: Font
    set_aside: tuple[SetAside, ...]
    missing: tuple[str, ...]
    """Characters that were attempted, none of whose attempts can be used."""

    mended: tuple[str, ...] = ()
    """Ids of attempts whose broken line was joined, or whose speck was left out, after the others at the character."""

    doubtful: tuple[str, ...] = ()
    """Characters that have no attempt but doubtful ones: these are drawn."""


def build_font(
    attempts: Iterable[Attempt],
    record: Record,
    *,
    decisions: BuildingRules | None = None,
    rhythm: Mapping[str, float] | None = None,
    copied: Sequence[CopiedWord] = (),
    accents: bool = True,
    wanted: Iterable[str] | None = None,
    letterwise: Letterwise = in_turn,
    progress: Progress | None = None,
    seed: int = 0,
) -> BuildResult:
    """Return the stroke font of a hand.

    The attempts' own place on the baseline, size and lean are kept; only the place along the line is replaced by side
    bearings. Attempts from sheets of several writing sizes are brought to the commonest size by their guides.

    Parameters
    ----------
    attempts
        All of the hand's attempts, from all sheets, with the corrections of the review applied; in any order.
    decisions
        Which attempts the person kept or set aside.
    rhythm
        Habits of running text, as `fontbuild.metrics` names them, where a ruled page was measured.
    copied
        Words of the copied lines: they tell how large and how close the hand writes in running text.
    accents
        Whether to build the accented letters that were not written.
    wanted
        Which ones; by default all in everyday Latin use whose parts there are.
    letterwise
        How work is done that concerns one character by itself.
    progress
        Called as `progress(step, done, total)`.
    seed
        For calling all stages alike: nothing here is left to chance.

    Raises
    ------
    InputError
        If no attempt can be used.
    """
    del seed
    tell = progress or (lambda step, done, total: None)
    wishes = decisions or BuildingRules()
    everything = sorted(attempts, key=lambda a: (a.char, a.id))
    usable, aside = choose(everything, wishes)
    size = reference_size(usable)
    tell("judge attempts", 0, 1)
    joins = joins_letters(usable)
    spare = [a for a in everything if joins and aside.get(a.id) == ENOUGH]
    running = [*usable, *spare]
    read = by_char([as_written(a, size) for a in running])
    read = on_the_line(read, x_height_mm=size.x_height_mm)
    guided = {size_of(a) for a in usable if a.allograph not in IN_TEXT}
    true_size = {a.id for a in running if a.allograph in IN_TEXT and size_of(a) in guided}
    pen_mm = float(np.median([a.pen_mm for a in usable]))
    grown = size_on_lines(
        copied,
        {c: cells for c, group in read.items() if (cells := [w.strokes for w in group if w.id not in true_size])},
        pen_mm=pen_mm,
        x_height_mm=size.x_height_mm,
    )
    read = {char: [w if w.id in true_size else resized(w, grown) for w in group] for char, group in read.items()}
    cut_out = [w for group in read.values() for w in group if w.allograph in WAYS.values()]
    aside |= find_lacking(
        read, {a.id for a in spare}, x_height_mm=size.x_height_mm, keep=wishes.keep, letterwise=letterwise
    )
    read = {char: left for char, group in read.items() if (left := [w for w in group if w.id not in aside])}
    letters, whole = mended(read, x_height_mm=size.x_height_mm, keep=wishes.keep, letterwise=letterwise)
    aside |= find_outliers(letters, x_height_mm=size.x_height_mm, keep=wishes.keep, letterwise=letterwise)
    staying = {char: [w for w in group if w.id not in aside] for char, group in letters.items()}
    aside |= find_collisions(staying, keep=wishes.keep)
    staying = {char: [w for w in group if w.id not in aside] for char, group in staying.items()}
    doubts, doubtful = find_doubtful(staying, x_height_mm=size.x_height_mm, keep=wishes.keep)
    aside |= doubts
    kept = {char: left for char, group in letters.items() if (left := [w for w in group if w.id not in aside])}
    if not joins:  # a letter of a printing hand is written alike in a word and in a cell
        kept = {
            c: [replace(w, allograph="" if w.allograph == APART else w.allograph) for w in g] for c, g in kept.items()
        }

    metrics = measured(kept, usable, size)
    fine = tolerance_of(metrics.x_height * size.mm_per_unit)
    fit = partial(variants_of, x_height_mm=size.x_height_mm, tolerance_mm=fine)
    drawn: dict[str, tuple[Glyph, ...]] = {}
    for char, variants in zip(kept, letterwise(fit, kept.items()), strict=True):
        tell("fit strokes", len(drawn), len(kept))
        drawn[char] = glyphs_of(variants, size.mm_per_unit)
    tell("build accents", 0, 1)
    parts = separate_marks(kept, metrics, size, keep=wishes.keep)
    bases = {char: lifted for char, lifted in parts.letters.items() if char not in drawn}
    for char, variants in zip(bases, letterwise(fit, bases.items()), strict=True):
        drawn[char] = glyphs_of(variants, size.mm_per_unit)
    if accents:
        drawn.update(build_barred(drawn, metrics))
        drawn.update(build_accents(drawn, metrics, habits=parts.habits, wanted=wanted))
    tell("space letters", 0, 1)
    known = {**(rhythm or {}), **(joining(running) if joins else printing(usable)), **shared_variation(letters)}
    words = [(w.text, ((w.box[2] - w.box[0]) * size.x_height_mm - pen_mm) / size.mm_per_unit) for w in copied]
    # a printing hand's letters that touch now and then stand by their white like all others
    ways = {a.id: a.allograph for a in usable if joins and a.allograph in WAYS.values()}
    alone = {c: own for c, group in drawn.items() if (own := [g for g in group if g.source not in ways])}
    spaced, by = space_glyphs(
        drawn, metrics, letter_gap=known.get("letter_gap"), words=words if len(words) >= LEAST_WORDS else (),
        apart=alone,
    )  # fmt: skip
    if by.white != rule(metrics).white:
        known["letter_white"] = round(by.white, 2)
    anchored = {char: tuple(with_anchors(g, metrics) for g in group) for char, group in spaced.items()}
    may = [w for w in cut_out if w.id in aside and may_stand_in_words(aside[w.id], w.confidence)]
    loose = by_char(may) if joins else {}
    in_words = {
        char: with_usual_white(glyphs_of(variants, size.mm_per_unit, in_words=True), spaced.get(char, ()))
        for char, variants in zip(
            loose, letterwise(partial(each_by_itself, tolerance_mm=fine), loose.items()), strict=True
        )
    }
    anchored, in_words = attached(
        anchored, in_words, {a.id: a.allograph for a in running} if joins else {}, x_height=metrics.x_height
    )
    if "step" not in known:
        known |= letter_steps(anchored, in_words, x_height=metrics.x_height)
    gap = known.get("word_gap", WORD_GAP * metrics.x_height)
    anchored[" "] = (Glyph(SPACE, " ", (), advance=round(gap - (box_gap(anchored, metrics, by) or by.white), 1)),)
    pairs = without_joined(kerning(anchored, metrics, by), anchored)
    if joins and len(words) >= LEAST_WORDS:
        known["lifted_gap"] = round(lifted_gap(anchored, words, pairs, known, x_height=metrics.x_height), 2)
    lifted = {c: lone for c, group in anchored.items() if (lone := [g for g in group if g.source not in ways])}
    differ = gap_sd(lifted, pairs, [w.text for w in copied], share=known.get("letter_gap_share", 1.0))
    if "letter_gap_sd" in known and differ is not None:
        known["pair_gap_sd"] = round(differ, 2)
    font = Font(record, metrics, size.mm_per_unit, anchored, pairs, known, in_words)
    tell("space letters", 1, 1)
    listed = [SetAside(a.id, a.char, aside[a.id]) for a in everything if a.id in aside]
    missing = tuple(sorted({s.char for s in listed} - set(drawn)))
    return BuildResult(font, tuple(listed), missing, tuple(sorted(whole - aside.keys())), doubtful)


def as_written(attempt: Attempt, size: Size) -> AttemptStrokes:
    """Return what building needs of an attempt, at the reference size."""
    scale = size.x_height_mm / attempt.x_height_mm
    widths = [s.width_mm for s in attempt.strokes if s.width_mm > 0]
    return AttemptStrokes(
        id=attempt.id,
        char=attempt.char,
        strokes=tuple(s.points_mm * scale for s in attempt.strokes),
        allograph=attempt.allograph,
        confidence=attempt.confidence,
        width_mm=float(np.median(widths)) if widths else attempt.pen_mm,
    )


def resized(written: AttemptStrokes, factor: float) -> AttemptStrokes:
    """Return an attempt larger by a factor, about where the line meets its left guide."""
    return replace(written, strokes=tuple(s * factor for s in written.strokes)) if factor != 1 else written


def by_char(written: Sequence[AttemptStrokes]) -> dict[str, list[AttemptStrokes]]:
    """Return the attempts by character, both in order."""
    letters: dict[str, list[AttemptStrokes]] = {}
    for w in written:
        letters.setdefault(w.char, []).append(w)
    return letters


def glyphs_of(variants: Sequence[Variant], mm_per_unit: float, *, in_words: bool = False) -> tuple[Glyph, ...]:
    """Return the variants of one character as glyphs in font units, their leftmost point at x = 0; advance not set."""
    glyphs = []
    for number, v in enumerate(variants, 1):
        strokes = tuple(np.round(em_from_cell(s, mm_per_unit=mm_per_unit), 2) for s in v.strokes)
        glyph = Glyph(
            name=variant_name(v.written.char, number, in_words=in_words),
            char=v.written.char,
            strokes=strokes,
            advance=0.0,
            ductus=v.ductus,
            source=v.written.id,
            width=round(v.written.width_mm / mm_per_unit, 2),
        )
        x_min = glyph_bounds(glyph)[0]
        glyphs.append(moved(glyph, -round(x_min, 2)))
    return tuple(glyphs)


def with_usual_white(glyphs: Sequence[Glyph], others: Sequence[Glyph]) -> tuple[Glyph, ...]:
    """Return glyphs with as much white to their right as others at the character have in the middle, none without."""
    whites = [g.advance - glyph_bounds(g)[2] for g in others if g.strokes]
    white = float(np.median(whites)) if whites else 0.0
    return tuple(replace(g, advance=round(glyph_bounds(g)[2] + white, 2)) for g in glyphs)


def measured(kept: Mapping[str, Sequence[AttemptStrokes]], attempts: Sequence[Attempt], size: Size) -> Metrics:
    """Return the metrics of the hand in font units."""
    unit = size.mm_per_unit
    letters = {char: [[s / unit for s in w.strokes] for w in group] for char, group in kept.items()}
    guides = (size.x_height_mm / unit, size.ascender_mm / unit, size.descender_mm / unit)
    pen = float(np.median([a.pen_mm for a in attempts]))
    return measure(letters, pen_width=pen / unit, guides=guides)
