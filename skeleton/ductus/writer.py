"""What a writer's known letters say about the letters that are not known yet.

Who begins x with the rising stroke begins X with it too, and writes é as e with an accent.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from skeleton.ductus import marks
from skeleton.ductus.allograph import Allograph
from skeleton.ductus.drawing import Drawing
from skeleton.ductus.known import OWN_FORMS_SHARE, with_own
from skeleton.ductus.lookup import Handedness, allographs, drawings

RELATED = ("cC", "kK", "oO0", "pP", "sS", "uU", "vV", "wW", "xX", "zZ", "оО", "кК", "хХ", "сС", "рР", "οΟ")
"""Characters that one hand writes the same way, apart from their size."""

RELATED_FORMS_SHARE = 0.6
"""Share of the forms taken from a related character; an estimate."""


def forms_of_writer(
    char: str, known: Mapping[str, Sequence[Allograph]], *, handedness: Handedness = "right"
) -> tuple[Allograph, ...]:
    """Return the forms of `char` for a writer of whom some forms are known, the likeliest first.

    Parameters
    ----------
    char
        The character to be read.
    known
        The writer's own forms, as `allograph_from_strokes` makes them, by character (NFC).
    handedness
        Of the writer, for what the table adds.

    Returns
    -------
    tuple of Allograph
        The own forms of the character; without them, own forms of its base with the table's marks; without those, own
        forms of a related character, brought to size. Then the table's. The priors sum to 1.

    Examples
    --------
    >>> from skeleton.ductus import allograph_from_strokes
    >>> own = allograph_from_strokes("x", [[[3, 3], [0, 0]], [[0, 3], [3, 0]]], x_height_mm=3)
    >>> forms_of_writer("X", {"x": [own]})[0].name
    'own, as in x'
    """
    char = unicodedata.normalize("NFC", char)
    if own := known.get(char, ()):
        return with_own(own, char, handedness=handedness)
    if own := _on_own_base(char, known, handedness):
        return with_own(own, char, handedness=handedness, trust=OWN_FORMS_SHARE)
    return with_own(_from_related(char, known), char, handedness=handedness, trust=RELATED_FORMS_SHARE)


def _on_own_base(char: str, known: Mapping[str, Sequence[Allograph]], handedness: Handedness) -> list[Allograph]:
    decomposed = unicodedata.normalize("NFD", char)
    base, added = decomposed[:1], list(decomposed[1:])
    own = known.get(base, ())
    if not added or not own:
        return []
    if marks.dotless(base, added) != base:
        own = [a for a in map(_without_dot, own) if a is not None]
    bases = [Drawing(a.name, a.prior, a.strokes) for a in own]
    drawn = [drawings(m, handedness) for m in added]
    placed = [
        marks.placed(base, start, list(zip(added, written, strict=True))) for start, *written in product(bases, *drawn)
    ]
    total = sum(d.share for d in placed)
    return [Allograph(d.name, char, d.strokes, d.share / total) for d in placed]


def _without_dot(form: Allograph) -> Allograph | None:
    """Return a soft-dotted letter without what stands above its stem, or None if nothing else is there."""
    top = max(float(s[:, 1].max()) for s in form.strokes if len(s) > 1) if any(len(s) > 1 for s in form.strokes) else 0
    kept = tuple(s for s in form.strokes if len(s) > 1 and s[:, 1].min() < 0.8 * top)
    return replace(form, strokes=kept) if kept else None


def _from_related(char: str, known: Mapping[str, Sequence[Allograph]]) -> list[Allograph]:
    usual = allographs(char)
    others = next((group.replace(char, "") for group in RELATED if char in group), "")
    found = [a for other in others for a in known.get(other, ())]
    return [_brought_to_size(a, usual[0], char) for a in found] if usual else []


def _brought_to_size(form: Allograph, like: Allograph, char: str) -> Allograph:
    """Return `form` in the height of `like`, for another character."""
    x0, y0, x1, y1 = form.box
    left, bottom, right, top = like.box
    scale = (top - bottom) / (y1 - y0) if y1 > y0 else (right - left) / max(x1 - x0, 1e-6)
    strokes = tuple((s - [x0, y0]) * scale + np.array([left, bottom]) for s in form.strokes)
    return Allograph(f"{form.name}, as in {form.char}", char, strokes, form.prior)
