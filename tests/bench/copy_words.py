"""Words to copy for hands that join: `python -m tests.bench copy_words [--write]`.

The table `capture/tables/copy_words.json` holds, for every language whose pairs of letters are counted, common words in
which nearly all of these pairs occur. They are words of wordfreq's lists (Speer 2022; CC BY-SA 4.0, and so is the
table), sieved by Debian's hunspell dictionaries (`hunspell-*`): a word stays that stands there as it is, in small
letters, which names and makers' marks do not, and that is not among those which the dictionary marks as never to be
suggested. `--write` makes it anew and needs wordfreq (extra `train`) and these dictionaries; nothing that runs the
program does. Printed: words, and the share of all pairs that they hold.
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from capture.copy_words import TABLE, covering, pairs_of, words_to_copy
from capture.letter_frequencies import pair_shares, tags

DICTIONARIES = Path("/usr/share/hunspell")

LENGTHS = (4, 9)
"""Letters of a word: shorter ones hold few pairs, longer ones are miscopied."""

MOST_WORDS = 6000
"""Of the commonest words of a language, those that are looked at."""

KEPT = 0.995
"""Share of all pairs that the kept words hold, as far as it goes."""

UNWANTED = """
alcohol army asyl battle bayer blut brésil caos cash chirurgie chuj crisis cunha debt desespero dramma drogue
dumm dying döds ebba ethnic evil fabrizio fraud gdańska gefängnis getötet gross grym guard gwałt idiota inferno
infierno insane jail jork juden judío juif kristna krwi kurde kyle käft köln kölner kłamstwo libia lüge mainz
mamãe marqués maxime misbruik miseria mord moslim murphy münchen nudo nürnberg ofiara oorlog oroa panique
pregnant punk racisme rasizm schweiz sejm sexo shock sklaven snus suck suspect syrien síndrome teufel töten ugly
vapen verdammt viol våld wolfsburg zabójstwo óleo
"""
"""What nobody should have to copy, or names a person: taken out after reading the words of nine languages."""

SHARED = 5
"""Languages in whose lists a word stands from which it is taken for a name, or for slang that travels."""


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="tests.bench copy_words", description=__doc__)
    parser.add_argument("--write", action="store_true", help="make the table anew")
    if parser.parse_args(argv).write:
        lines = ",\n".join(f'"{key}": {json.dumps(value, ensure_ascii=False)}' for key, value in made().items())
        TABLE.write_text("{" + lines + "}\n", encoding="utf-8")
    table = json.loads(TABLE.read_text(encoding="utf-8"))
    print(f"{'':5} {'words':>5} {'taken':>5} {'letters':>7} {'pairs held':>10}")
    for tag, entry in table.items():
        if tag == "about":
            continue
        chosen = words_to_copy([tag])
        letters = sum(map(len, chosen.words))
        print(f"{tag:5} {len(entry['words'].split()):5} {len(chosen.words):5} {letters:7} {chosen.covered:10.1%}")
    return 0


def made() -> dict[str, Any]:
    """Return the whole table."""
    from importlib.metadata import version

    import wordfreq

    common = {
        tag: [w for w in wordfreq.top_n_list(tag, MOST_WORDS, "small") if w.isalpha()]
        for tag in tags()
        if pair_shares(tag)
    }
    several: dict[str, int] = {}
    for words in common.values():
        for word in words:
            several[word] = several.get(word, 0) + 1
    unwanted = frozenset(UNWANTED.split())
    out: dict[str, Any] = {
        "about": {
            "what": "common words that hold the pairs of neighbouring letters of a language",
            "source": f"wordfreq {version('wordfreq')}, lists 'small' (Robyn Speer, 2022, doi 10.5281/zenodo.7199437)",
            "licence": "CC BY-SA 4.0, as the word lists",
            "recipe": "python -m tests.bench copy_words --write",
            "date": datetime.now(UTC).date().isoformat(),
        }
    }
    for tag, words in common.items():
        proper = dictionary(tag)
        least, most = LENGTHS
        candidates = [
            w for w in words if least <= len(w) <= most and w in proper and several[w] < SHARED and w not in unwanted
        ]
        chosen = covering(pair_shares(tag), candidates, KEPT)
        if len(chosen) >= 20:
            out[tag] = {"words": " ".join(chosen)}
    return out


def dictionary(tag: str) -> frozenset[str]:
    """Return the words of a language that stand in its dictionary as they are, in small letters, and may be said."""
    files = sorted(DICTIONARIES.glob(f"{tag}.dic")) + sorted(DICTIONARIES.glob(f"{tag}_*.dic"))
    found: set[str] = set()
    for file in files:
        rules = file.with_suffix(".aff").read_bytes()
        coding = re.search(rb"^SET\s+(\S+)", rules, re.MULTILINE)
        encoding = coding[1].decode() if coding else "latin-1"
        encoding = {"microsoft-cp1251": "cp1251"}.get(encoding.lower(), encoding)
        flag = re.search(rb"^NOSUGGEST\s+(\S+)", rules, re.MULTILINE)
        unsaid = flag[1].decode(encoding) if flag else ""
        numbered = re.search(rb"^FLAG\s+num", rules, re.MULTILINE) is not None
        for line in file.read_text(encoding=encoding, errors="replace").splitlines()[1:]:
            word, _, flags = line.split("\t")[0].split(" ")[0].partition("/")
            held = flags.split(",") if numbered else [flags]
            if word == word.lower() and not (unsaid and any(unsaid in f for f in held)):
                found.add(word)
    return frozenset(w for w in found if pairs_of(w))
