"""In which order a writer is asked for the attempts.

A writer who makes the same letter six times running copies the last one and gets careless; one who jumps from letter to
letter never finds a rhythm. So attempts come in runs of two or three, and the runs in rounds: the first round goes once
through all characters, the next ones again through those that have attempts left. The alphabet stays in its order
(common practice of copy-books, no source), a letter's runs lie on different rows, and whoever hands in only the first
pages has still written every character at least twice.
"""

from __future__ import annotations

from collections.abc import Sequence

Attempt = tuple[str, int]
"""A character and which of its attempts."""


def runs_of(count: int) -> list[int]:
    """Return `count` attempts cut into runs of two or three (a single attempt only when there is just one).

    Examples
    --------
    >>> [runs_of(n) for n in (1, 2, 3, 4, 5, 7)]
    [[1], [2], [3], [2, 2], [3, 2], [3, 2, 2]]
    """
    if count <= 3:
        return [count] if count > 0 else []
    return [3, *runs_of(count - 3)] if count % 3 != 1 or count > 4 else [2, 2]


def in_rounds(counts: Sequence[tuple[str, int]]) -> list[Attempt]:
    """Return all attempts in the order of writing: rounds through the characters, a short run of each.

    Examples
    --------
    >>> "".join(char for char, attempt in in_rounds([("e", 5), ("t", 2), ("x", 4)]))
    'eeettxxeexx'
    """
    left = [(char, runs_of(count)) for char, count in counts]
    done: dict[str, int] = {}
    order: list[Attempt] = []
    for turn in range(max((len(runs) for _, runs in left), default=0)):
        for char, runs in left:
            for _ in range(runs[turn] if turn < len(runs) else 0):
                done[char] = done.get(char, 0) + 1
                order.append((char, done[char]))
    return order
