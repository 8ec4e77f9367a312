"""What the rows of a run need and the hand lacks, all rows together."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from capture.errors import UsageError
from ownhand.composer.composition import Composition
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.merge.workers import Job
from ownhand.composer.settings.settings import Settings


@dataclass(frozen=True)
class Lack:
    """A character that the hand lacks."""

    char: str
    count: int
    lines: tuple[int, ...] = ()
    """Of the table, where its rows begin."""

    hand: str = ""
    """The name of the further hand that lacks it; '' where it is the page's own."""


def lacks_of(jobs: Iterable[Job], ensemble: Ensemble, settings: Settings) -> tuple[Lack, ...]:
    """Return what the texts of all jobs need and the hand lacks, the most frequent first.

    A text that cannot be set at all lacks nothing here: it is refused with its row, when its turn comes.
    """
    counts: dict[tuple[str, str], int] = defaultdict(int)
    lines: dict[tuple[str, str], list[int]] = defaultdict(list)
    for job in jobs:
        try:
            missing = ensemble.missing(job.text, settings)
        except UsageError:
            continue
        for hand, lacked in missing.items():
            for char, n in lacked.items():
                counts[hand, char] += n
                lines[hand, char].append(job.line)
    return _sorted(Lack(char, n, tuple(sorted(set(lines[hand, char]))), hand) for (hand, char), n in counts.items())


def lacks_in(done: Composition) -> tuple[Lack, ...]:
    """Return what the hands of a text lack, the most frequent first."""
    elsewhere = done.missing_elsewhere
    own = Counter(done.missing)
    for lacked in elsewhere.values():
        own.subtract(lacked)
    every = {"": +own, **elsewhere}
    return _sorted(Lack(char, n, (), hand) for hand, lacked in every.items() for char, n in lacked.items())


def lacks_elsewhere(lacks: Sequence[Lack]) -> list[str]:
    """Return a line for each further hand with what it lacks."""
    by_hand: dict[str, list[str]] = {}
    for lack in lacks:
        if lack.hand:
            by_hand.setdefault(lack.hand, []).append(f"{lack.char} ({lack.count})")
    return [f"Missing in the hand '{hand}'; a gap is left for each: {', '.join(of)}." for hand, of in by_hand.items()]


def _sorted(lacks: Iterable[Lack]) -> tuple[Lack, ...]:
    return tuple(sorted(lacks, key=lambda lack: (-lack.count, lack.char, lack.hand)))
