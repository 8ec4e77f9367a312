"""Which forms are looked for in some ink: the writer's own, the table's, and those that the picture suggests."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Literal

import numpy as np

from capture.units import Points
from skeleton.ductus.observed import observed_allographs
from skeleton.ink.ink_map import InkMap
from skeleton.matching.sketches import suggested_forms
from skeleton.matching.template_matching import Model

SUGGESTED_SHARE = 0.5
"""Share of the forms that a picture suggests among all, the table has the rest. Set by hand on people of the validation
part: 0.15 reads them as well."""


def models_of(char: str, handedness: str, known: Sequence[Sequence[Points]] = ()) -> list[Model]:
    """Return the forms to look for that need no picture: the writer's own first, then the table's."""
    return [*own_forms(known), *_table(char, _hand(handedness))]


def forms_for(ink: InkMap, char: str, handedness: str, known: Sequence[Sequence[Points]] = ()) -> list[Model]:
    """Return the forms to look for in some ink: the writer's own, the table's, and those that the picture suggests."""
    guesses = suggested_forms(unicodedata.normalize("NFC", char), ink)
    table = _table(char, _hand(handedness), 1 - SUGGESTED_SHARE if guesses else 1.0)
    guesses = [replace(m, prior=SUGGESTED_SHARE * m.prior) for m in guesses]
    return [*own_forms(known), *table, *guesses]


def own_forms(known: Sequence[Sequence[Points]]) -> list[Model]:
    """Return the forms that a writer is known to use; known: strokes of (n, 2), y down, of each."""
    return [Model("known", tuple(strokes), 1.0) for strokes in known]


def _hand(handedness: str) -> Literal["right", "left"]:
    return "left" if handedness == "left" else "right"


@lru_cache(maxsize=256)
def _table(char: str, hand: Literal["right", "left"], share: float = 1.0) -> tuple[Model, ...]:
    """Return the table's forms of a character, y down; share: what their priors sum to where it is less than one."""
    flip = np.array([1.0, -1.0])
    forms = observed_allographs(unicodedata.normalize("NFC", char), handedness=hand)
    total = sum(a.prior for a in forms) if share < 1.0 else 1.0
    return tuple(Model(a.name, tuple(s * flip for s in a.strokes), share * a.prior / total) for a in forms)
