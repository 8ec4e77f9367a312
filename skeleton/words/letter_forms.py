"""How letters are written inside words: a table of forms, and a writer's own.

The table's forms are means of what many people write, found by clustering letters cut out of words and single letters
(`tests.bench.training.letter_forms`); each says how often it is met. What the table lacks comes from `skeleton.ductus`.
Dots and bars that may come after the word are no part of a form: they are dealt to the letters afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.units import Points
from skeleton.ductus import allographs
from skeleton.geometry.polyline import at_lengths, line_length

STEP = 0.12
"""x-heights between the points of a form."""

RAREST = 0.01
"""Share of writers below which a form costs no more for being rare."""

OWN_SHARE = 0.9
"""Share of a letter that the writer's own forms have, where there are any."""

ENOUGH_OWN, BESIDE_OWN = 3, 5
"""Of a letter of which so many own forms are known, so many of the table's are tried, the commonest: readings are as
good (letters of 90 joined words .905 for .903), and a quarter of the time is saved."""

UNIT = 256.0
"""Parts of an x-height in which the table keeps places."""

DOTTED = frozenset("ijäöüÄÖÜáéíóúàèìòùâêîôûåñõïëÿçšžčćżźśńőűěřůāēīōūășțđğİ")
"""Letters with marks that stand above, written after the letter or after the word."""

BARRED = frozenset("tfŧ")
"""Letters whose bar may be written after the word."""

Known = Mapping[str, Sequence[Sequence[Points]]]
"""A writer's own letters: for each character attempts, each a list of strokes (n, 2) in x-heights, baseline at y = 0,
y down."""


@dataclass(frozen=True, eq=False)
class LetterForm:
    """One way of writing a letter, as the compiled loops take it. Frame: x-heights, baseline at y = 0, y down."""

    points: Points
    """Shape (n, 2), `STEP` apart; of all strokes, one after the other."""

    tangents: NDArray[np.float64]
    """Shape (n, 2): unit directions, (0, 0) for a dot."""

    breaks: NDArray[np.int32]
    """Shape (n,): 1 where a stroke begins."""

    log_share: float

    @property
    def before(self) -> float:
        """How far the left edge lies left of the first point."""
        return float(self.points[0, 0] - self.points[:, 0].min())

    @property
    def after(self) -> float:
        """How far the right edge lies right of the last point."""
        return float(self.points[:, 0].max() - self.points[-1, 0])


@dataclass(frozen=True, eq=False)
class FormTable:
    """The forms of a text's letters in flat arrays, as the compiled loops take them; n points, f forms."""

    points: Points
    """Shape (n, 2): of all forms, one after the other; see `LetterForm`."""

    tangents: NDArray[np.float64]
    """Shape (n, 2)."""

    breaks: NDArray[np.int32]
    """Shape (n,)."""

    form_at: NDArray[np.int64]
    """Shape (f + 1,): where each form's points begin, with the end."""

    letter_at: NDArray[np.int64]
    """Shape (letters + 1,): where each letter's forms begin, with the end."""

    log_share: NDArray[np.float64]
    """Shape (f,)."""

    before: NDArray[np.float64]
    """Shape (f,)."""

    after: NDArray[np.float64]
    """Shape (f,)."""


def form_table(forms: Sequence[Sequence[LetterForm]]) -> FormTable:
    """Return the forms of each letter of a text in flat arrays, the short ones of a letter first."""
    every = [f for of_letter in forms for f in sorted(of_letter, key=lambda f: len(f.points))]
    return FormTable(
        np.concatenate([f.points for f in every]),
        np.concatenate([f.tangents for f in every]),
        np.concatenate([f.breaks for f in every]),
        np.cumsum([0, *(len(f.points) for f in every)], dtype=np.int64),
        np.cumsum([0, *map(len, forms)], dtype=np.int64),
        np.array([f.log_share for f in every]),
        np.array([f.before for f in every]),
        np.array([f.after for f in every]),
    )


def forms_of(char: str, known: Known | None = None) -> tuple[LetterForm, ...]:
    """Return the forms in which a character is written inside words; none if nothing is known of it."""
    own = list((known or {}).get(char, ()))
    table = _table_forms(char)
    if not own:
        return table
    if len(own) >= ENOUGH_OWN:
        table = table[:BESIDE_OWN]
    share = np.log(OWN_SHARE / len(own))
    mine = [_form(main_strokes(char, strokes), share) for strokes in own]
    rest = [LetterForm(f.points, f.tangents, f.breaks, f.log_share + np.log(1 - OWN_SHARE)) for f in table]
    return (*mine, *rest)


def main_strokes(char: str, strokes: Sequence[Points]) -> list[Points]:
    """Return a letter's strokes without dots and bars that may be written after the word."""
    if len(strokes) < 2:
        return [np.asarray(s, float) for s in strokes]
    longest = max(line_length(s) for s in strokes)
    out = []
    for s in strokes:
        size, extent = line_length(s), np.ptp(s, axis=0)
        mark = char in DOTTED and size < min(0.8, 0.5 * longest) and s[:, 1].mean() < -1.0
        bar = char in BARRED and extent[0] > 1.5 * extent[1] and size < longest
        if not (mark or bar):
            out.append(np.asarray(s, float))
    return out or [np.asarray(s, float) for s in strokes]


def expected_extent(text: str, known: Known | None = None) -> tuple[float, float]:
    """Return (top, bottom) that a text's ink is likely to have, x-heights, y down."""
    tops, bottoms = [], []
    for char in text:
        forms = forms_of(char, known)
        if forms:
            share = np.exp([f.log_share for f in forms])
            tops.append(float(np.average([f.points[:, 1].min() for f in forms], weights=share)))
            bottoms.append(float(np.average([f.points[:, 1].max() for f in forms], weights=share)))
    return (min(tops), max(bottoms)) if tops else (-1.0, 0.0)


def width_of(char: str, known: Known | None = None) -> float:
    """Return how wide a character is likely to be, x-heights."""
    forms = forms_of(char, known)
    if not forms:
        return 1.0
    return float(np.average([np.ptp(f.points[:, 0]) for f in forms], weights=np.exp([f.log_share for f in forms])))


@lru_cache(maxsize=512)
def _table_forms(char: str) -> tuple[LetterForm, ...]:
    found = _table().get(char)
    if found:
        return tuple(_form(strokes, float(np.log(max(share, RAREST)))) for share, strokes in found)
    flip = np.array([1.0, -1.0])
    drawn = [(a.prior, [s * flip for s in a.strokes]) for a in allographs(char)]
    return tuple(_form(main_strokes(char, strokes), float(np.log(max(p, RAREST)))) for p, strokes in drawn)


def _form(strokes: Sequence[Points], log_share: float) -> LetterForm:
    points, tangents, breaks = [], [], []
    for s in strokes:
        length = line_length(s) if len(s) > 1 else 0.0
        if length < 0.5 * STEP:
            points.append(np.asarray(s, float).mean(axis=0, keepdims=True))
            tangents.append(np.zeros((1, 2)))
            breaks.append([1])
            continue
        n = max(2, round(length / STEP) + 1)
        even = at_lengths(np.ascontiguousarray(s, float), np.linspace(0, length, n))
        way = np.gradient(even, axis=0)
        points.append(even)
        tangents.append(way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None])
        breaks.append([1] + [0] * (n - 1))
    return LetterForm(
        np.concatenate(points), np.concatenate(tangents), np.concatenate(breaks).astype(np.int32), float(log_share)
    )


@lru_cache(maxsize=1)
def _table() -> dict[str, list[tuple[float, list[Points]]]]:
    path = files("skeleton.words").joinpath("tables/letter_forms.npz")
    with path.open("rb") as file, np.load(file) as data:
        return unpacked({name: data[name] for name in data.files})


def packed(forms: Mapping[str, Sequence[tuple[float, Sequence[Points]]]]) -> dict[str, NDArray[Any]]:
    """Return a table as the arrays that are kept.

    Of each form, shape (forms,): `chars`, `shares`, number of `strokes`; of each stroke its number of points, `lengths`
    (strokes,); of all points the `steps` from the one before, (points, 2), in 1/256 of an x-height.
    """
    chars, shares, strokes, lengths, steps = [], [], [], [], []
    for char, found in forms.items():
        for share, lines in found:
            chars.append(char)
            shares.append(share)
            strokes.append(len(lines))
            for s in lines:
                whole = np.round(np.asarray(s) * UNIT).astype(np.int16)
                lengths.append(len(whole))
                steps.append(np.diff(whole, axis=0, prepend=np.zeros((1, 2), np.int16)))
    return {
        "chars": np.array(chars), "shares": np.array(shares, np.float32), "strokes": np.array(strokes, np.int16),
        "lengths": np.array(lengths, np.int16), "steps": np.concatenate(steps).astype(np.int16),
    }  # fmt: skip


def unpacked(data: Mapping[str, NDArray[Any]]) -> dict[str, list[tuple[float, list[Points]]]]:
    """Return the table of which `data` are the arrays that `packed` makes."""
    out: dict[str, list[tuple[float, list[Points]]]] = {}
    ends = np.cumsum(data["lengths"].astype(int))
    lines = [np.cumsum(part, axis=0) / UNIT for part in np.split(data["steps"].astype(float), ends[:-1])]
    k = 0
    for char, share, count in zip(
        data["chars"].tolist(), data["shares"].tolist(), data["strokes"].tolist(), strict=True
    ):
        out.setdefault(char, []).append((share, lines[k : k + count]))
        k += count
    return out
