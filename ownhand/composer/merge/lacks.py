"""What the rows of a run need and the hand lacks, all rows together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from capture.errors import UsageError
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.merge.workers import Job
from ownhand.composer.settings.settings import Settings

SHOWN = 12
"""Ranges of lines that are listed of each character; of further ones only the number."""


@dataclass(frozen=True)
class Lack:
    """A character that the hand lacks."""

    char: str
    count: int
    lines: tuple[int, ...] = ()
    """Of the table, where its rows begin."""


def lacks_of(jobs: Iterable[Job], ensemble: Ensemble, settings: Settings) -> tuple[Lack, ...]:
    """Return what the texts of all jobs need and the hand lacks, the most frequent first.

    A text that cannot be set at all lacks nothing here: it is refused with its row, when its turn comes.
    """
    counts: dict[str, int] = defaultdict(int)
    lines: dict[str, list[int]] = defaultdict(list)
    for job in jobs:
        try:
            missing = ensemble.missing(job.text, settings)
        except UsageError:
            continue
        for char, n in missing.items():
            counts[char] += n
            lines[char].append(job.line)
    found = [Lack(char, n, tuple(sorted(set(lines[char])))) for char, n in counts.items()]
    return tuple(sorted(found, key=lambda lack: (-lack.count, lack.char)))


def ranges(numbers: Sequence[int]) -> str:
    """Return ascending numbers in words, neighbours together.

    Examples
    --------
    >>> ranges([2, 3, 4, 7, 9])
    '2-4, 7, 9'
    """
    if not numbers:
        return ""
    cuts = [i for i, (a, b) in enumerate(pairwise(numbers), 1) if b != a + 1]
    runs = [numbers[i:k] for i, k in zip([0, *cuts], [*cuts, len(numbers)], strict=True)]
    told = [f"{run[0]}" if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]
    left = sum(len(run) for run in runs[SHOWN:])
    return ", ".join(told[:SHOWN]) + (f" and {left} more" if left else "")
