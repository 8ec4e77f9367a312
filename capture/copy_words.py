"""Words to copy for a hand that joins its letters: few, and all pairs of neighbours that a language needs are in them.

The words stand in a table beside this module, by language; they are words of wordfreq's lists (Robyn Speer, 2022, doi
10.5281/zenodo.7199437; CC BY-SA 4.0), sieved. `python -m tests.bench copy_words --write` makes it anew. How often a
pair occurs is `capture.letter_frequencies`.

Which words are taken is a weighted set cover, for which the greedy choice is near the best that can be had at all
(Chvátal 1979, A greedy heuristic for the set-covering problem, Mathematics of Operations Research 4).
"""

from __future__ import annotations

import json
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import regex

from capture.errors import UsageError
from capture.languages import language
from capture.letter_frequencies import nearest_tag, pair_shares

TABLE = Path(__file__).with_name("tables") / "copy_words.json"

NEEDED = 0.985
"""Share of all pairs of running text that are to be written, as far as there are words with them; the rest would take
as many words again, with pairs that come up once in a page."""

TIMES = 2
"""How often each word is written: two are the fewest that vary."""

BETWEEN = 1.0
"""Letters that a space counts as: a long word costs less than two short ones."""


@dataclass(frozen=True)
class CopyWords:
    """Words that hold the pairs of letters which running text needs."""

    words: tuple[str, ...]
    """Each once, in the order in which they were taken."""

    shares: Mapping[str, float]
    """By pair: how often it occurs among all pairs that were asked for; sums to 1."""

    strange: tuple[str, ...] = ()
    """Languages of whose pairs nothing is known."""

    @property
    def text(self) -> str:
        """What is to be copied: all words, then all of them again in another order, so that no two equals meet."""
        half = (len(self.words) + 1) // 2
        again = [w for pair in zip(self.words[half:], self.words[:half], strict=False) for w in pair]
        again += [w for w in self.words if w not in again]
        return " ".join([*self.words, *again])

    @property
    def written(self) -> frozenset[str]:
        """Pairs that are in the words."""
        return frozenset(p for w in self.words for p in pairs_of(w))

    @property
    def covered(self) -> float:
        """Share of running text's pairs that are in the words."""
        done = self.written
        return sum(share for pair, share in self.shares.items() if pair in done)


def pairs_of(word: str) -> list[str]:
    """Return the pairs of neighbouring letters in a word.

    Examples
    --------
    >>> pairs_of("l'été")
    ['ét', 'té']
    """
    letters = regex.findall(r"\X", unicodedata.normalize("NFC", word))
    return [a + b for a, b in pairwise(letters) if a.isalpha() and b.isalpha()]


def words_to_copy(languages: Sequence[str], text: str = "") -> CopyWords:
    """Return words in which the pairs of the languages, and of a text, are written.

    Languages count alike, the text as much as all of them together; its own words are among those to choose from.

    Raises
    ------
    UsageError
        If nothing is known of any pair.
    """
    known, strange = [], []
    for code in languages:
        tag = nearest_tag(language(code).code)
        if tag is not None and pair_shares(tag) and tag in _table():
            known.append(tag)
        else:
            strange.append(code)
    own = [w for w in regex.findall(r"\p{L}[\p{L}\p{M}]+", unicodedata.normalize("NFC", text))]
    counts = Counter(p for w in own for p in pairs_of(w))
    shares: defaultdict[str, float] = defaultdict(float)
    for tag in dict.fromkeys(known):
        for pair, share in pair_shares(tag).items():
            shares[pair] += share / len(known)
    whole, several = sum(shares.values()), sum(counts.values())
    parts = (whole > 0) + (several > 0)
    if not parts:
        what = "no pairs of letters are known of " + (", ".join(strange) if strange else "what is asked for")
        raise UsageError("--joined", what, "Name a language with --languages, or give a text with --text.")
    shares = defaultdict(float, {pair: share / whole / parts for pair, share in shares.items()})
    for pair, count in counts.items():
        shares[pair] += count / several / parts
    candidates = dict.fromkeys([*own, *(w for tag in dict.fromkeys(known) for w in _table()[tag])])
    return CopyWords(tuple(covering(shares, candidates)), dict(shares), tuple(strange))


def covering(shares: Mapping[str, float], candidates: Iterable[str], needed: float = NEEDED) -> list[str]:
    """Return few of the candidates that hold pairs of at least the share `needed`, as far as they can.

    Each in turn is the one that adds most for its length; of equals the first. What a later one made needless is left
    out again.
    """
    pairs = {word: frozenset(p for p in pairs_of(word) if p in shares) for word in candidates}
    missing = set(shares)
    left = sum(shares.values())
    allowed = (1 - needed) * left
    taken: list[str] = []
    while left > allowed:
        gains = {w: sum(shares[p] for p in ps & missing) / (len(w) + BETWEEN) for w, ps in pairs.items()}
        best = max(gains, key=lambda w: gains[w], default="")
        if not best or gains[best] <= 0:
            break
        taken.append(best)
        missing -= pairs.pop(best)
        left = sum(shares[p] for p in missing)
    return _without_needless(taken, shares)


def _without_needless(taken: Sequence[str], shares: Mapping[str, float]) -> list[str]:
    """Return the words without those all of whose pairs the others hold too."""
    times = Counter(p for w in taken for p in set(pairs_of(w)) if p in shares)
    kept = []
    for word in reversed(taken):
        own = {p for p in pairs_of(word) if p in shares}
        if all(times[p] > 1 for p in own):
            times.subtract(own)
        else:
            kept.append(word)
    return kept[::-1]


def pair_rows(chosen: CopyWords) -> list[list[str]]:
    """Return the table of pairs, a row for each first letter, the commonest first.

    The letter; those that follow it on the sheet; the share of all pairs that this is; those that occur and are not
    there.
    """
    done = chosen.written
    by_first: defaultdict[str, list[str]] = defaultdict(list)
    for pair in sorted(chosen.shares, key=lambda p: (-chosen.shares[p], p)):
        by_first[regex.findall(r"\X", pair)[0]].append(pair)
    rows = []
    for first, pairs in sorted(by_first.items(), key=lambda item: -sum(chosen.shares[p] for p in item[1])):
        here, gone = [p for p in pairs if p in done], [p for p in pairs if p not in done]
        share = sum(chosen.shares[p] for p in here)
        rows.append(
            [first, " ".join(p[len(first) :] for p in here), f"{share:.1%}", " ".join(p[len(first) :] for p in gone)]
        )
    return rows


PAIR_COLUMNS = ("letter", "before", "share of all pairs", "not on the sheet")


@cache
def _table() -> dict[str, list[str]]:
    data = json.loads(TABLE.read_text(encoding="utf-8"))
    return {key: value["words"].split() for key, value in data.items() if key != "about"}
