"""Acts of review at random, many too far: the hand is read again after each, and built after all."""

from __future__ import annotations

import random
from pathlib import Path

from capture.errors import OwnhandError
from fontbuild.formats.opentype import save_opentype
from ownhand.commands.build import make_font
from ownhand.hands.decisions_file import load_decisions
from ownhand.review.edits.operations import OperationError
from ownhand.review.session.review_session import ReviewSession
from ownhand.validation import FaultsError, Place
from tests.bench.attacks.tally import Tally
from tests.ownhand.stand_in import write_hand

NUMBERS = (0, 1, 2, -1, 0.5, 49, 51, 150, -300, 9999, 1e13, 10**400, float("nan"), None, "x", [], True)
TEXTS = ("a", "é", "", "\x1b", "\ud800", "a" * 300, "a" + "\u0301" * 20, "ж", 7, None)


def _act(rng: random.Random, key: str, other: str) -> dict[str, object]:
    number, pair = rng.choice(NUMBERS), [rng.choice(NUMBERS), rng.choice(NUMBERS)]
    k = rng.choice((0, 0, 0, 1, number))
    kinds: list[dict[str, object]] = [
        {"do": "turn", "stroke": k}, {"do": "place", "stroke": k, "to": number}, {"do": "delete", "stroke": k},
        {"do": "split", "stroke": k, "at": pair}, {"do": "move", "stroke": k, "by": pair},
        {"do": "join", "stroke": 0, "other": k},
        {"do": "bend", "stroke": k, "point": number, "to": pair}, {"do": "baseline", "mm": number},
        {"do": "redraw", "samples": [[0, 0], pair, [3, 4]]}, {"do": "bearings", "left_mm": number, "right_mm": 1},
        {"do": "label", "char": rng.choice(TEXTS)}, {"do": "set aside", "reason": rng.choice(TEXTS)}, {"do": "keep"},
        {"do": "undecide"}, {"do": "as read"}, {"do": "learn"}, {"do": "carry", "from": other},
        {"do": "reading", "number": number}, {"do": rng.choice(TEXTS)},
    ]  # fmt: skip
    return {"attempt": key, **rng.choice(kinds)}


def acts(folder: Path, tally: Tally, share: float) -> None:
    """Take 1,000 acts, each on what the ones before left."""
    hand = write_hand(folder / "hand", "teno", attempts=2)
    session = ReviewSession(hand)
    keys, rng = sorted(session.attempts), random.Random(23)
    for _ in range(max(1, int(1000 * share))):
        mend = _act(rng, rng.choice(keys), rng.choice(keys))
        try:
            session.take(session.decisions.version, Place([mend], "mends", []))
            faults = load_decisions(hand.decisions_file).faults
            tally.note("acts of review", fault=faults[0] if faults else "")
        except (FaultsError, OperationError, OwnhandError) as error:
            tally.note("acts of review", refused=True, fault="" if "\n" not in str(error) else repr(str(error)))
        except Exception as error:
            tally.note("acts of review", fault=f"{mend}: {type(error).__name__}: {error}")
    tally.reads("builds after review", lambda: save_opentype(make_font(hand)[0], folder / "x.ttf"))
    tally.reads("builds after review", lambda: ReviewSession(hand).decided())
