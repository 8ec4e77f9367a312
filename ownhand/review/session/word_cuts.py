"""Cuts between the letters of a word: a part passed on to a neighbour, and the same pair elsewhere cut alike."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Protocol

from capture.units import Points
from ownhand.hands.captures import InkPicture
from ownhand.hands.decisions import SET_ASIDE, Decision
from ownhand.review.edits.alike_cuts import AlikeCut, Pair, cut_alike, moved
from ownhand.review.edits.edit_requests import current, with_strokes
from ownhand.review.edits.letter_cuts import BESIDE, moved_frame, neighbour_of, passed_on
from ownhand.review.edits.operations import OperationError, Strokes
from ownhand.validation import Place, raise_faults
from skeleton.attempt import Attempt

Changed = Mapping[str, Decision]


class Letters(Protocol):
    """The session, as far as cuts need it."""

    attempts: dict[str, Attempt]
    numbers: dict[str, int]
    ink: dict[str, tuple[str, InkPicture]]

    def attempt(self, key: str) -> Attempt:
        """Return the attempt as it was read."""
        ...

    def decision(self, key: str) -> Decision:
        """Return what was decided on it."""
        ...

    def char(self, key: str) -> str:
        """Return the character it is."""
        ...


def beside(book: Letters, key: str) -> dict[str, str]:
    """Return the characters before and next to a letter in its word, by 'before' and 'next'."""
    out = {}
    for to in BESIDE:
        other = neighbour_of(key, to)
        if other in book.attempts and _shift(book, key, other) is not None:
            out[to] = book.char(other)
    return out


def _shift(book: Letters, key: str, other: str) -> Points | None:
    """Return how one letter's cell stands to another's; see `letter_cuts.moved_frame`."""
    one, another = (book.ink[k][1] if k in book.ink else None for k in (key, other))
    return moved_frame(one, another)


def moved_to_next(book: Letters, key: str, strokes: Strokes) -> Strokes:
    """Return strokes in a letter's cell frame as they stand in the next letter's; as they are where there is none."""
    shift = _shift(book, key, neighbour_of(key, "next"))
    return strokes if shift is None else moved(strokes, shift)


def _pass_on(book: Letters, item: Place, key: str, changed: Changed) -> tuple[dict[str, Decision], str]:
    """Return the decisions on two letters of one word, a stroke of the one passed on to the other."""
    to, k = item.of("to").choice("next", tuple(BESIDE)), item.of("stroke").whole(0, 1000)
    raise_faults(item.faults)
    other = neighbour_of(key, to)
    shift = _shift(book, key, other)
    if other not in book.attempts or shift is None:
        raise OperationError(f"no letter {'before it' if to == 'before' else 'next to it'} was read in its word")
    of_one, of_other = (changed.get(k, book.decision(k)) for k in (key, other))
    one, another = book.attempt(key), book.attempt(other)
    left, got = passed_on(current(one, of_one), k, current(another, of_other), shift)
    chars = of_one.char or one.char, of_other.char or another.char
    return {
        key: with_strokes(one, of_one, left, f"stroke {k + 1} passed on to '{chars[1]}'"),
        other: with_strokes(another, of_other, got, f"a stroke taken over from '{chars[0]}'"),
    }, f"cut apart from '{chars[1]}' in another place"


def pair_of(book: Letters, key: str, changed: Changed | None = None) -> Pair | None:
    """Return a letter and the next one of its word as they stand; None where there is no next one."""
    other = neighbour_of(key, "next")
    back = _shift(book, other, key)
    if key not in book.attempts or other not in book.attempts or back is None:
        return None
    one, another = book.attempt(key), book.attempt(other)
    of_one, of_other = ((changed or {}).get(k, book.decision(k)) for k in (key, other))
    return Pair(current(one, of_one), moved(current(another, of_other), back), one.x_height_mm)


def pairs_alike(book: Letters, source: str) -> dict[str, AlikeCut]:
    """Return what would become of the same pair of letters elsewhere, cut as the one that `source` begins.

    By the id of its first letter. Pairs of which a letter was set aside are not looked at.
    """
    model = pair_of(book, source)
    if model is None or model.line is None:
        return {}
    chars = book.char(source), book.char(neighbour_of(source, "next"))
    out = {}
    for key in book.attempts:
        other = neighbour_of(key, "next")
        if key == source or other not in book.attempts or (book.char(key), book.char(other)) != chars:
            continue
        pair = pair_of(book, key)
        if pair is not None and all(book.decision(k).verdict != SET_ASIDE for k in (key, other)):
            out[key] = cut_alike(model, pair)
    return out


def _cut_alike(book: Letters, item: Place, key: str, changed: Changed) -> tuple[dict[str, Decision], str]:
    """Return the decisions on a letter and the next one, cut apart as those that `from` begins are."""
    source = item.of("from").text(None, 200)
    raise_faults(item.faults)
    book.attempt(source)
    other = neighbour_of(key, "next")
    model, pair = pair_of(book, source, changed), pair_of(book, key, changed)
    if model is None or pair is None:
        raise OperationError("no next letter was read in its word")
    found = cut_alike(model, pair)
    if not found.fits:
        raise OperationError(f"attempt {book.numbers[key]} {found.why}")
    one, another = book.attempt(key), book.attempt(other)
    of_one, of_other = (changed.get(k, book.decision(k)) for k in (key, other))
    words = f"cut alike: {found.why}"
    return {
        key: with_strokes(one, of_one, found.first, words),
        other: with_strokes(another, of_other, moved_to_next(book, key, found.second), words),
    }, "cut alike"


BETWEEN_LETTERS: dict[str, Callable[[Letters, Place, str, Changed], tuple[dict[str, Decision], str]]] = {
    "pass on": _pass_on,
    "cut alike": _cut_alike,
}
"""Operations that change a letter and its neighbour, by name."""
