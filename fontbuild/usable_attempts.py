"""Which of a hand's attempts go into its font, before their shapes are looked at."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from capture.errors import InputError
from fontbuild.joins import IN_TEXT, WAYS
from skeleton.attempt import ONE_OFF, Attempt

REACH_EM = 12.0
"""How far from left guide and baseline strokes may lie, in ems; with bearings it is half of what OpenType holds."""

JOINS_FROM = 0.25
"""Share of the small letters of running text that are joined from which the hand joins."""

ENOUGH_SURE = 3
"""Letters of running text without a doubt from which doubtful ones of their kind are left out: cut in the wrong place
they spoil a joined word, and a page holds plenty."""

MOST_OF_A_KIND = 16
"""Letters of running text that are used of one character, joined in one way: more make no page livelier."""

ENOUGH = "there are enough surer ones of its kind"
"""Reason for leaving an attempt out that is nobody's fault."""


@dataclass(frozen=True)
class BuildingRules:
    """What the person decided in review, as far as building needs it; strokes are mended before."""

    keep: Collection[str] = frozenset()
    """Ids of attempts that are used whatever they look like."""

    set_aside: Collection[str] = frozenset()
    """Ids of attempts that are never used."""


def choose(attempts: Sequence[Attempt], decisions: BuildingRules) -> tuple[list[Attempt], dict[str, str]]:
    """Return the attempts that have strokes to use, and by id the reason for those that were written but are not used.

    Blank cells are neither: nobody wrote in them.

    Raises
    ------
    InputError
        If no attempt can be used.
    """
    usable: list[Attempt] = []
    aside: dict[str, str] = {}
    for a in attempts:
        if a.status == "blank":
            continue
        if a.id in decisions.set_aside:
            aside[a.id] = "set aside in review"
        elif not a.strokes:
            aside[a.id] = "no strokes found"
        elif not has_size(a):
            aside[a.id] = "drawn far outside its cell"  # kept or not: no font format holds it
        elif a.status == "spoiled" and a.id not in decisions.keep:
            aside[a.id] = "ticked as spoiled"
        elif a.id not in decisions.keep and any(f.kind == ONE_OFF for f in a.findings):
            aside[a.id] = "perhaps filled one cell off"
        else:
            usable.append(a)
    if not usable:
        raise InputError("the hand", "none of its attempts can be used", "Read a filled-in sheet first.")
    for a in _more_than_enough(usable, decisions):
        aside[a.id] = ENOUGH
    return [a for a in usable if a.id not in aside], aside


def _more_than_enough(attempts: Sequence[Attempt], decisions: BuildingRules) -> list[Attempt]:
    """Return the least sure letters of running text, of which a page holds hundreds, beyond `MOST_OF_A_KIND`."""
    kinds: dict[tuple[str, str], list[Attempt]] = {}
    for a in attempts:
        if a.allograph in IN_TEXT and a.id not in decisions.keep:
            kinds.setdefault((a.char, a.allograph), []).append(a)
    ranked = (sorted(group, key=lambda a: (len(a.findings), -a.confidence, a.id)) for group in kinds.values())
    return [a for group in ranked for a in group[_wanted(group) :]]


def _wanted(ranked: Sequence[Attempt]) -> int:
    """Return how many letters of one kind are used, the surest first: doubtful ones only where sure ones are few."""
    sure = sum(not a.findings for a in ranked)
    return min(max(sure, ENOUGH_SURE), MOST_OF_A_KIND)


def joins_letters(attempts: Sequence[Attempt]) -> bool:
    """Return whether a hand joins its letters: whether a quarter of those of its running text are joined."""
    small = [a.allograph in WAYS.values() for a in attempts if a.allograph in IN_TEXT and a.char.islower()]
    return bool(small) and float(np.mean(small)) >= JOINS_FROM


def has_size(attempt: Attempt) -> bool:
    """Return whether an attempt can be drawn in a font: OpenType counts font units with 16 bits."""
    em = attempt.ascender_mm - attempt.descender_mm
    guides = attempt.descender_mm <= 0 < attempt.x_height_mm <= attempt.ascender_mm and em <= 10 * attempt.x_height_mm
    return guides and all(float(np.abs(s.points_mm).max()) <= REACH_EM * em for s in attempt.strokes)
