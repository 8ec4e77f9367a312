"""Which attempts a person should look at first, and why, in words."""

from __future__ import annotations

import unicodedata

from fontbuild.usable_attempts import ENOUGH
from ownhand.hands.decisions import KEPT, SET_ASIDE, Decision, ink_changed
from skeleton.attempt import ONE_OFF, Attempt
from skeleton.result import LOW_CONFIDENCE

PLAIN = {
    "filled counter": "a loop is filled with ink, so the line in it is guessed",
    ONE_OFF: "perhaps filled one cell off",
}
"""Kinds of findings whose own words only the trade knows."""

DOUBTFUL = "doubtful reading"
"""How the builder begins its reason where it left an attempt aside because the reading was unsure (`fontbuild`)."""


def doubts(attempt: Attempt, decision: Decision, outlier: str = "") -> tuple[str, ...]:
    """Return why `attempt` should be looked at; () where nothing speaks against it.

    `outlier` is the builder's reason for leaving it aside, '' if it uses it.
    """
    unsure = [f for f in attempt.findings if f.kind == "low confidence"]
    kinds = [(PLAIN.get(f.kind, f.kind), f.detail) for f in attempt.findings if f not in unsure]
    out = [f"{kind}, {detail}" if detail else kind for kind, detail in kinds]
    left_out_unsure = outlier.startswith(DOUBTFUL)
    if unsure or left_out_unsure or (attempt.status == "written" and attempt.confidence < LOW_CONFIDENCE):
        out.append("strokes or their order may be wrong")
    if outlier and outlier != ENOUGH and not left_out_unsure and outlier not in out:
        out.append(f"unlike the others: {outlier}")
    if ink_changed(attempt, decision):
        out.append("the ink has changed since it was mended")
    return tuple(out)


def is_settled(attempt: Attempt, decision: Decision) -> bool:
    """Return whether a person has answered the doubts."""
    if ink_changed(attempt, decision):
        return False
    return decision.verdict in (KEPT, SET_ASIDE) or decision.strokes is not None or bool(decision.char)


def name_of(char: str) -> str:
    """Return what `char` is called, in small letters, without its script where that is Latin."""
    names = [unicodedata.name(c, f"U+{ord(c):04X}") for c in char]
    words = " with ".join([names[0], *(n.removeprefix("COMBINING ") for n in names[1:])]).lower()
    return words.replace("latin ", "").replace("small letter ", "small ").replace("capital letter ", "capital ")


def sorting_key(char: str) -> tuple[int, str, str, str]:
    """Return the key that puts letters first, each with its accented forms, then figures, then signs."""
    plain = unicodedata.normalize("NFD", char)[:1]
    kind = unicodedata.category(plain or " ")[0]
    rank = {"L": 0, "N": 1}.get(kind, 2)
    return rank, plain.casefold(), plain, char
