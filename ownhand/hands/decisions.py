"""What the person decided in review, as plain data, and the one act that re-applies it.

Decisions are kept apart from the captures and by attempt id, so that reading a scan again or rebuilding the font
loses none of them. `ownhand.hands.decisions_file` says how they are written down.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from capture.report import Finding
from capture.units import image_from_cell
from fontbuild.font import Font
from fontbuild.glyph import Glyph
from fontbuild.usable_attempts import BuildingRules
from skeleton.attempt import ONE_OFF, Attempt
from skeleton.geometry.stroke import Stroke

KEPT = "kept"
SET_ASIDE = "set aside"

INK_MOVED_MM = 0.6
INK_LENGTH_SHARE = 0.2
"""A better scan of the same paper moves the bounds by hundredths of a millimetre and the length by a few per cent;
another attempt in the same cell moves them by more than this. Common practice, no source; checked in the tests."""


@dataclass(frozen=True, eq=False)
class Decision:
    """What was decided on one attempt; every default means 'as it was read'."""

    verdict: str = ""
    """'', 'kept' or 'set aside'."""

    reason: str = ""
    char: str = ""
    strokes: tuple[Stroke, ...] | None = None
    """Cell frame as read (mm, y up), before the baseline is moved."""

    baseline_mm: float = 0.0
    """Where the attempt's own baseline lies in the cell's frame."""

    left_mm: float | None = None
    right_mm: float | None = None
    done: tuple[str, ...] = ()
    seen_mm: tuple[float, ...] = ()
    """x0, y0, x1, y1 and length of the strokes that had been read when they were mended; () where they were not."""

    changed: int = 0

    @property
    def is_empty(self) -> bool:
        """True when nothing is decided (any more)."""
        return not (self.verdict or self.char or self.baseline_mm or self.strokes is not None) and (
            self.left_mm is None and self.right_mm is None
        )


@dataclass(frozen=True, eq=False)
class KnownWay:
    """The hand's own way of writing a character, learned from a mended attempt."""

    attempt: str
    x_height_mm: float
    strokes: tuple[Stroke, ...]
    """Cell frame of that attempt, its own baseline at y = 0."""

    changed: int = 0


@dataclass(frozen=True, eq=False)
class Decisions:
    """All decisions of one hand."""

    version: int = 0
    step: int = 0
    attempts: Mapping[str, Decision] = field(default_factory=dict)
    """By attempt id."""

    characters: Mapping[str, KnownWay] = field(default_factory=dict)
    """By character, NFC."""

    unread: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    """By 'attempts' and 'characters': what stands in the file and cannot be read, as it stands there; it is kept."""

    faults: tuple[str, ...] = ()
    """What is wrong with it, each with its place."""


def seen(strokes: Iterable[Stroke]) -> tuple[float, ...]:
    """Return bounds (x0, y0, x1, y1) and total length of `strokes` in mm; () for none."""
    strokes = tuple(strokes)
    if not strokes:
        return ()
    points = np.vstack([s.points_mm for s in strokes])
    values = [*points.min(axis=0), *points.max(axis=0), sum(s.length_mm for s in strokes)]
    return tuple(round(float(v), 3) for v in values)


def ink_changed(attempt: Attempt, decision: Decision) -> bool:
    """Return whether something else stands in the cell now than when `decision` mended its strokes."""
    if decision.strokes is None or not decision.seen_mm:
        return False
    now = seen(attempt.strokes)
    if not now:
        return True
    moved = max(abs(a - b) for a, b in zip(now[:4], decision.seen_mm[:4], strict=True))
    return moved > INK_MOVED_MM or abs(now[4] - decision.seen_mm[4]) > INK_LENGTH_SHARE * max(now[4], 1.0)


def apply_decision(attempt: Attempt, decision: Decision) -> Attempt:
    """Return `attempt` as the person wants it, in a cell frame whose baseline is the attempt's own."""
    strokes = attempt.strokes if decision.strokes is None else decision.strokes
    if decision.baseline_mm:
        shift = np.array([0.0, decision.baseline_mm])
        strokes = tuple(dataclasses.replace(s, points_mm=s.points_mm - shift) for s in strokes)
    findings = attempt.findings
    if ink_changed(attempt, decision):
        findings = (*findings, Finding("the ink has changed since it was mended", char=attempt.char))
    if decision.char:
        findings = tuple(f for f in findings if f.kind != ONE_OFF)
    status = attempt.status
    if decision.verdict == SET_ASIDE:
        status = SET_ASIDE
        findings = (*findings, Finding(SET_ASIDE, char=attempt.char, detail=decision.reason))
    elif decision.verdict == KEPT and strokes:
        status = "written"
    trusted = decision.verdict == KEPT or decision.strokes is not None
    return dataclasses.replace(
        attempt,
        char=decision.char or attempt.char,
        strokes=strokes,
        status=status,
        findings=findings,
        confidence=1.0 if trusted else attempt.confidence,
    )


def apply_decisions(attempts: Iterable[Attempt], decisions: Decisions) -> tuple[Attempt, ...]:
    """Return the attempts as the person wants them, in the same order.

    One that was set aside has the status 'set aside'; `building_rules` tells the builder which ones were kept, whatever
    a machine thinks of them. Decisions on attempts that are not there (their page is still to be read again) do
    nothing, and are not lost.
    """
    return tuple(apply_decision(a, decisions.attempts[a.id]) if a.id in decisions.attempts else a for a in attempts)


def building_rules(decisions: Decisions) -> BuildingRules:
    """Return which attempts the builder must use and which it must not."""
    return BuildingRules(
        keep=frozenset(key for key, d in decisions.attempts.items() if d.verdict == KEPT),
        set_aside=frozenset(key for key, d in decisions.attempts.items() if d.verdict == SET_ASIDE),
    )


def with_bearings(font: Font, decisions: Decisions) -> Font:
    """Return `font` with the side bearings that were set by hand on the glyphs made from those attempts.

    Distances are from the edge of the advance to the outermost point of the strokes' centre lines, as UFO measures
    side bearings of what is drawn. Where only one side was set, the other stays as it was spaced.
    """
    glyphs = {}
    for char, variants in font.glyphs.items():
        glyphs[char] = tuple(_with_bearings(g, decisions.attempts.get(g.source), font.mm_per_unit) for g in variants)
    return dataclasses.replace(font, glyphs=glyphs)


def _with_bearings(glyph: Glyph, decision: Decision | None, mm_per_unit: float) -> Glyph:
    if decision is None or (decision.left_mm is None and decision.right_mm is None) or not glyph.strokes:
        return glyph
    x = np.concatenate([s[:, 0] for s in glyph.strokes])
    left = float(x.min()) if decision.left_mm is None else decision.left_mm / mm_per_unit
    right = glyph.advance - float(x.max()) if decision.right_mm is None else decision.right_mm / mm_per_unit
    shift = np.array([left - float(x.min()), 0.0])
    return dataclasses.replace(
        glyph,
        strokes=tuple(s + shift for s in glyph.strokes),
        advance=left + float(x.max() - x.min()) + right,
        anchors={name: (ax + float(shift[0]), ay) for name, (ax, ay) in glyph.anchors.items()},
    )


def known_ways(decisions: Decisions) -> dict[str, tuple[Stroke, ...]]:
    """Return, by character, strokes in the order and direction in which this hand is known to write them.

    In the frame in which the tracer wants them: mm, y down, their own baseline at y = 0.
    """
    return {
        char: tuple(
            Stroke(image_from_cell(s.points_mm, left_mm=0.0, baseline_mm=0.0), s.width_mm, closed=s.closed)
            for s in way.strokes
        )
        for char, way in decisions.characters.items()
    }
