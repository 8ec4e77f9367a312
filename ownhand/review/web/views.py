"""What the page is told, as plain JSON data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ownhand.hands.one_off import suggested
from ownhand.review.edits.alike_cuts import AlikeCut
from ownhand.review.edits.edit_requests import current
from ownhand.review.edits.letter_cuts import neighbour_of
from ownhand.review.edits.propagate import Propagated
from ownhand.review.images.contact_strips import slots
from ownhand.review.images.ink_images import contour_mm, inked_mm, size_mm
from ownhand.review.session.review_reasons import doubts, is_settled, name_of, sorting_key
from ownhand.review.session.review_session import ReviewSession
from ownhand.review.session.word_cuts import beside, moved_to_next
from skeleton.geometry.stroke import Stroke
from skeleton.result import LOW_CONFIDENCE


def strokes_view(strokes: tuple[Stroke, ...]) -> list[list[list[float]]]:
    """Return the strokes' points (cell frame, mm, y up), rounded to a hundredth."""
    return [np.round(s.points_mm, 2).tolist() for s in strokes]


def status_view(book: ReviewSession) -> dict[str, Any]:
    """Return the version, and what can be undone and done again."""
    undo, redo = book.next_words()
    family = book.hand.record.family
    return {
        "version": book.decisions.version,
        "undo": undo,
        "redo": redo,
        "family": family,
        "read": book.read_stamp,
    }


def attempt_summary(book: ReviewSession, key: str, outlier: str) -> dict[str, Any]:
    """Return what the overview shows of an attempt."""
    attempt, decision = book.attempt(key), book.decision(key)
    return {
        "id": key,
        "number": book.numbers[key],
        "char": book.char(key),
        "asked": attempt.char,
        "verdict": decision.verdict,
        "reason": decision.reason,
        "spoiled": attempt.status == "spoiled",
        "mended": decision.strokes is not None,
        "settled": is_settled(attempt, decision),
        "doubts": list(doubts(attempt, decision, outlier)) if attempt.status != "spoiled" else [],
        "confidence": round(attempt.confidence, 2),
        "strokes": len(current(attempt, decision)),
    }


def picture_view(book: ReviewSession, key: str) -> dict[str, float] | None:
    """Return where an attempt's ink picture lies on its cell, in mm; None where there is none."""
    width, height = size_mm(book, key)
    if not width:
        return None
    place = book.ink[key][1]
    return {"left": round(place.left_mm, 3), "top": round(place.top_mm, 3), "width": width, "height": height}


def overview(book: ReviewSession, outliers: Mapping[str, str]) -> dict[str, Any]:
    """Return all characters with a summary of their attempts; those with open doubts first, the worst first."""
    with book.lock:
        by_char: dict[str, list[dict[str, Any]]] = {}
        places = {key: slot for char in book.asked for key, slot in slots(book, char).items()}
        for key in book.attempts:
            place = places[key]
            summary = {**attempt_summary(book, key, outliers.get(key, "")), "strip": [place.x, place.width]}
            by_char.setdefault(summary["char"], []).append(summary)
        characters = [_character(char, found) for char, found in by_char.items()]
        known = set(book.decisions.characters)
        status = status_view(book)
    characters.sort(key=lambda c: (not c["open"], c["worst"], *sorting_key(c["char"])))
    doubtful = [a for c in characters for a in c["attempts"] if a["doubts"]]
    return {
        **status,
        "writer": book.hand.record.writer,
        "characters": [{**c, "known": c["char"] in known} for c in characters],
        "one_off": one_off_view(book),
        "doubtful": len(doubtful),
        "settled": sum(a["settled"] for a in doubtful),
    }


def one_off_view(book: ReviewSession) -> list[dict[str, Any]]:
    """Return the runs of cells that may be filled one cell off, as far as nobody has said so or otherwise."""
    runs: dict[tuple[str, str], list[dict[str, str]]] = {}
    for key, attempt in book.attempts.items():
        decision = book.decision(key)
        if (rather := suggested(attempt)) and not decision.char and not decision.verdict:
            runs.setdefault((key.rpartition("/")[0], rather[1]), []).append({"attempt": key, "char": rather[0]})
    return [
        {"where": "Sheet {}, page {}".format(*page.rsplit("/", 1)), "words": words, "letters": letters}
        for (page, words), letters in runs.items()
    ]


def _character(char: str, found: list[dict[str, Any]]) -> dict[str, Any]:
    found.sort(key=lambda a: (a["asked"] != char, a["number"], a["id"]))
    open_ones = [a for a in found if a["doubts"] and not a["settled"]]
    # What was not counted as unsure is doubtful for another reason, and no less so.
    worst = min((a["confidence"] if a["confidence"] < LOW_CONFIDENCE else 0.0 for a in open_ones), default=0.0)
    return {"char": char, "name": name_of(char), "attempts": found, "open": len(open_ones), "worst": worst}


def character(
    book: ReviewSession, char: str, outliers: Mapping[str, str], spaced: Mapping[str, tuple[float, float]]
) -> dict[str, Any]:
    """Return everything about the attempts that are this character now."""
    with book.lock:
        keys = [key for key in book.attempts if book.char(key) == char]
        found = [
            {**attempt_summary(book, key, outliers.get(key, "")), **_details(book, key, spaced.get(key))}
            for key in keys
        ]
        known = book.decisions.characters.get(char)
        status = status_view(book)
    found.sort(key=lambda a: (a["asked"] != char, a["number"], a["id"]))
    return {**status, "char": char, "name": name_of(char), "attempts": found, "known": known.attempt if known else ""}


def _details(book: ReviewSession, key: str, spaced: tuple[float, float] | None) -> dict[str, Any]:
    attempt, decision = book.attempt(key), book.decision(key)
    return {
        "lines": strokes_view(current(attempt, decision)),
        "x_height": attempt.x_height_mm,
        "picture": picture_view(book, key),
        "inked": inked_mm(book, key),
        "contour": contour_mm(book, key),
        "pen": round(attempt.pen_mm, 3),
        "ascender": attempt.ascender_mm,
        "descender": attempt.descender_mm,
        "cell_width": attempt.width_mm,
        "baseline": decision.baseline_mm,
        "left": decision.left_mm,
        "right": decision.right_mm,
        "spaced": spaced and {"left": round(spaced[0], 3), "right": round(spaced[1], 3)},
        "beside": beside(book, key),
        "done": list(decision.done[-12:]),
    }


def carried_view(book: ReviewSession, others: Mapping[str, Propagated]) -> list[dict[str, Any]]:
    """Return what mending alike would make of the other attempts; those that would change first."""
    out = [
        {**_proposed(book, key, c.strokes), "fits": c.fits, "changes": c.changes, "why": c.why}
        for key, c in others.items()
    ]
    return sorted(out, key=lambda c: (not c["changes"], not c["fits"], c["char"], c["number"]))


def cuts_view(book: ReviewSession, others: Mapping[str, AlikeCut]) -> list[dict[str, Any]]:
    """Return what the same pair of letters elsewhere would be, cut alike; those that would change first."""
    out = []
    for key, c in others.items():
        other = neighbour_of(key, "next")
        letters = [_proposed(book, key, c.first), _proposed(book, other, moved_to_next(book, key, c.second))]
        out.append({"id": key, "letters": letters, "fits": c.fits, "changes": c.changes, "why": c.why})
    return sorted(out, key=lambda c: (not c["changes"], not c["fits"], c["letters"][0]["number"]))


def _proposed(book: ReviewSession, key: str, strokes: tuple[Stroke, ...]) -> dict[str, Any]:
    """Return what the page needs to draw an attempt with other strokes than it has."""
    attempt = book.attempt(key)
    return {
        "id": key,
        "char": book.char(key),
        "number": book.numbers[key],
        "lines": strokes_view(strokes),
        "picture": picture_view(book, key),
        "inked": inked_mm(book, key),
        "contour": contour_mm(book, key),
        "x_height": attempt.x_height_mm,
        "pen": round(attempt.pen_mm, 3),
    }
