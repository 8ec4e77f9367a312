"""How often letters and pairs of letters occur: `python -m tests.bench letter_frequencies [--write]`.

The table `capture/tables/letter_frequencies.json` is counted off the word lists of wordfreq (Speer 2022, words by their
share in books, subtitles, news and the web; the lists are CC BY-SA 4.0, and so is the table). `--write` counts it anew
and needs the package wordfreq (extra `train`); nothing that runs the program does. Printed: the commonest letters and
pairs of each language.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

from capture.letter_frequencies import TABLE, pair_shares, table_of, tags

LEAST_PAIR_PPM = 100
"""Pairs rarer than this are left out: together they are under a hundredth of all pairs."""


ALPHABET = 500
"""Letters of a script from which on no hand is asked for all pairs: their table is left out."""


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="tests.bench letter_frequencies", description=__doc__)
    parser.add_argument("--write", action="store_true", help="count the table anew")
    if parser.parse_args(argv).write:
        lines = ",\n".join(f'"{key}": {json.dumps(value, ensure_ascii=False)}' for key, value in counted().items())
        TABLE.write_text("{" + lines + "}\n", encoding="utf-8")
    print(f"{'':5} {'letters':>7} {'commonest letters':24} {'pairs':>6} commonest pairs")
    for tag in tags():
        letters, pairs = table_of(tag), pair_shares(tag)
        some = sorted(letters, key=lambda c: -letters[c][0])[:12], sorted(pairs, key=lambda p: -pairs[p])[:8]
        print(f"{tag:5} {len(letters):7} {' '.join(some[0]):24} {len(pairs):6} {' '.join(some[1])}")
    return 0


def counted() -> dict[str, Any]:
    """Return the whole table, counted off the word lists."""
    from importlib.metadata import version

    import wordfreq

    out: dict[str, Any] = {
        "about": {
            "what": "parts per million of all letters, of first letters of words, and of pairs of neighbours in words",
            "source": f"wordfreq {version('wordfreq')}, lists 'small' (Robyn Speer, 2022, doi 10.5281/zenodo.7199437)",
            "licence": "CC BY-SA 4.0, as the word lists",
            "recipe": "python -m tests.bench letter_frequencies --write",
            "date": datetime.now(UTC).date().isoformat(),
        }
    }
    for tag in sorted(wordfreq.available_languages("small")):
        single: Counter[str] = Counter()
        first: Counter[str] = Counter()
        pairs: Counter[str] = Counter()
        for word, share in wordfreq.get_frequency_dict(tag, "small").items():
            for char in word:
                single[char] += share
            first[word[0]] += share
            for pair in pairwise(word):
                if all(c.isalpha() for c in pair):
                    pairs["".join(pair)] += share
        letters = {c: share for c, share in single.items() if c.isalpha()}
        whole, firsts = sum(letters.values()), sum(share for c, share in first.items() if c.isalpha())
        several = sum(pairs.values())
        ppm = {pair: round(1e6 * share / several) for pair, share in pairs.most_common()}
        out[tag] = {
            "letters": {
                c: [_rounded(1e6 * letters[c] / whole), _rounded(1e6 * first.get(c, 0.0) / firsts)]
                for c in sorted(letters, key=lambda c: (-letters[c], c))
            },
            "pairs": {
                pair: share for pair, share in ppm.items() if share >= LEAST_PAIR_PPM and len(letters) < ALPHABET
            },
        }
    return out


def _rounded(ppm: float) -> float:
    """Return a share to four figures, a whole number where it is large enough."""
    rounded = float(f"{ppm:.5g}")
    return int(rounded) if rounded >= 1e4 else rounded
