"""How many attempts at each character a sheet asks for."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import cache

from capture.errors import UsageError
from capture.languages import language
from capture.layout import LAYOUT, lay_out
from capture.letter_frequencies import nearest_tag, table_of

LEAST, MOST = 2, 12
"""Attempts at a character, where nothing else is asked for: one more variant hardly shows beyond a dozen."""

CAPITALS = 0.04
"""Share of capitals among letters in running text; spread like the first letters of words (common practice, no source:
English prose has about one capital in 25 letters, German twice that)."""

UNSEEN = 2e-4
"""Share given to a character that the table does not hold."""

SIGNS: Mapping[str, float] = {
    **dict.fromkeys(".,", 0.012),
    **dict.fromkeys("'’-", 0.003),
    **dict.fromkeys("0123456789", 0.002),
    **dict.fromkeys('"“”„«»!?:', 0.001),
    **dict.fromkeys("()–;/", 0.0007),
}
"""Shares of digits and punctuation, which the word lists leave out (common practice, no source: the order of size in
letters and newspapers; 1 and 2 are commoner than 7, but each figure is wanted for any date or price)."""


def letter_frequencies(languages: Sequence[str]) -> dict[str, float]:
    """Return how often each character occurs in running text of the languages, as a share of all characters.

    The letters come from the table of `capture.letter_frequencies`. The languages count alike. A language that is not
    in the table adds nothing of its own; characters that are nowhere seen have `UNSEEN`.
    """
    tables = [table for code in languages if (table := _letters_of(code))]
    tables = tables or [_letters_of("en")]
    total: defaultdict[str, float] = defaultdict(float)
    for table in tables:
        for char, share in table.items():
            total[char] += share / len(tables)
    return {**total, **SIGNS}


@cache
def _letters_of(code: str) -> dict[str, float]:
    tag = nearest_tag(language(code).code)
    if tag is None:
        return {}
    letters = table_of(tag)
    table = {char: (1 - CAPITALS) * share for char, (share, _) in letters.items()}
    for char, (share, first) in letters.items():
        capital = char.upper()
        if len(capital) == 1 and capital != char:
            # A tenth as in running text, so that letters that begin no word are not given up (titles, initials).
            table[capital] = CAPITALS * (0.9 * first + 0.1 * share)
    return table


def plan_attempts(
    chars: Iterable[str],
    languages: Sequence[str],
    *,
    pages: int | None = None,
    least: int = LEAST,
    most: int = MOST,
    paper: str = "A4",
    x_height_mm: float = 3.5,
    layout: int = LAYOUT,
) -> dict[str, int]:
    """Return the number of attempts at each character, in the order of `chars`.

    The number grows with the square root of how often a character occurs. With n variants in turn, the share of
    letters that repeat the shape of the last one of their kind is 1/n; over a text with shares f this sums to
    Σ f/n, which for a given number of cells is least when n is proportional to √f (Lagrange).

    Parameters
    ----------
    pages
        How many pages of cells there may be; as many attempts are planned as fit. By default the commonest character
        gets `most`, and the pages follow.
    least, most
        Bounds for each character.
    layout
        By the rules of which version they are laid out (`capture.layout`).

    Raises
    ------
    UsageError
        If the pages do not even hold `least` attempts at each; the message says how many it takes.
    """
    wanted = list(dict.fromkeys(chars))
    if not 1 <= least <= most:
        raise UsageError("attempts", f"at least {least} and at most {most} cannot be", "Give 1 <= least <= most.")
    if pages is not None and pages < 1:
        raise UsageError("pages", f"{pages} pages cannot be", "Ask for one page or more.")
    shares = letter_frequencies(languages)
    roots = {char: math.sqrt(shares.get(char, UNSEEN)) for char in wanted}
    if not roots:
        raise UsageError("sheet", "no characters to write", "Name languages, characters or a text.")

    def counts(scale: float) -> dict[str, int]:
        return {char: min(most, max(least, round(scale * root))) for char, root in roots.items()}

    def needed(planned: Mapping[str, int]) -> int:
        return len(lay_out(planned, sheet_id="plan", paper=paper, x_height_mm=x_height_mm, layout=layout).pages)

    if pages is None:
        return counts(most / max(roots.values()))
    if (takes := needed(counts(0.0))) > pages:
        raise UsageError(
            "pages",
            f"{len(wanted)} characters, {least} attempts at each, take {takes} pages of {paper}, not {pages}",
            f"Ask for {takes} pages, for fewer characters, or for a smaller writing size.",
        )
    low, high = 0.0, (most + 1) / min(roots.values())
    if needed(counts(high)) <= pages:
        return counts(high)
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if needed(counts(middle)) <= pages else (low, middle)
        if counts(low) == counts(high):
            break
    return counts(low)
