"""Words to copy for hands that join: `python -m tests.bench copy_words [--write]`.

The table `capture/tables/copy_words.json` holds, for every language whose pairs of letters are counted, common words in
which nearly all of these pairs occur. They are words of wordfreq's lists (Speer 2022; CC BY-SA 4.0, and so is the
table), sieved by Debian's hunspell dictionaries (`hunspell-*`): a word stays that stands there as it is, in small
letters, which names and makers' marks do not, and that is not among those which the dictionary marks as never to be
suggested. A word that stands there in small letters only for compounds, and alone with a capital, is a German noun, and
is written as one. `--write` makes it anew and needs wordfreq (extra `train`) and these dictionaries; nothing that runs
the program does. Codes on paper count on the words (`capture.known_words`): with a new table the old one has to stay.
Printed: words, and the share of all pairs that they hold.
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
abort abuso aids alcohol army arslan asyl augsburg aušra bajs bamberg battle bayer berguedà bifröst blut bourgogne
braga brandenburg briga brésil buzău bălți băut caos cash chirurgie chuj chuja coşkun crisis cunha cupu césar darbe
debt desespero deyja deyr doof dramma drogue duisburg dumm dumma dupa dying döds dömd ebba ebru eglė enfer escravo
ethnic evil evreu explosão fabrizio figaro fraud freiburg fræk gdańska gefängnis getötet gray gross grym guard gwałt
głupi hamburg heidelberg helvíti herzog idiota ieva imha inci indra inferno infierno inkl insane istanbul jail jesús
jork juden judío juif jævlig jūrmala kanker kristna krwi kræft kuce kurde kurwa kyle kynlíf kádár käft kæft köln
kölner köpenhamn kłamstwo libia liptovský luxemburg lüge lüneburg magdeburg mainz mamãe marne marqués maxime meghalt
mexikói mexíkó miquel misbruik miseria mlrd monyet mord mort moslim murphy myanmar münchen nackt napad nebun nudo náci
nürnberg nāve ofiara oldenburg oorlog oroa ozan paderborn panique plzeň potsdam pregnant punição punk puške racisme
rasizm regensburg rūta salzburg schuld schweiz schwul sejm sexet sexo shock silva sklaven slovenska slovensko
slovensku smrt smrti smrtí smrť snus straßburg suck suga sugen suger suspect syrien szexi sèrbia síndrome sūds teufel
todes töten tūkst ugly umre umrl vapen varga verdammt viol virgem våld vēzis wolfsburg würzburg zabiť zabójstwo ódio
óleo úmrtí šarūnas βυζιά γαμώ επίθεση ηλίθια σέξι σφαγή англ бляха вбивати вбивство вбити генри герб курва мамка млрд
секс смърт фігня хабарі
"""
"""What nobody should have to copy, names of people and places, abbreviations: taken out after reading the words of all
languages."""

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
            proper[w]
            for w in words
            if least <= len(w) <= most and w in proper and several[w] < SHARED and w not in unwanted
        ]
        chosen = covering(pair_shares(tag), candidates, KEPT)
        if len(chosen) >= 20:
            out[tag] = {"words": " ".join(chosen)}
    return out


def dictionary(tag: str) -> dict[str, str]:
    """Return the words of a language that may be said, and stand in its dictionary alone: as spelled, by small letters.

    Names are not among them: they stand there with a capital only.
    """
    files = sorted(DICTIONARIES.glob(f"{tag}.dic")) + sorted(DICTIONARIES.glob(f"{tag}_*.dic"))
    alone: set[str] = set()
    in_compounds: set[str] = set()
    for file in files:
        rules = file.with_suffix(".aff").read_bytes()
        coding = re.search(rb"^SET\s+(\S+)", rules, re.MULTILINE)
        encoding = coding[1].decode() if coding else "latin-1"
        encoding = {"microsoft-cp1251": "cp1251"}.get(encoding.lower(), encoding)
        named = {
            name: given[1].decode(encoding)
            for name in ("NOSUGGEST", "FORBIDDENWORD", "ONLYINCOMPOUND", "NEEDAFFIX")
            if (given := re.search(rb"^" + name.encode() + rb"\s+(\S+)", rules, re.MULTILINE))
        }
        given = re.search(rb"^FLAG\s+(\S+)", rules, re.MULTILINE)
        kind = given[1].decode() if given else ""
        # an affix of no letters, which makes a word of a stem that stands for its affixes only
        empty = re.findall(rb"^[SP]FX\s+(\S+)\s+0\s+0(?:/(\S+))?\s", rules, re.MULTILINE)
        whole = {
            flag.decode(encoding)
            for flag, after in empty
            if named.get("ONLYINCOMPOUND") not in _flags(after.decode(encoding), kind)
        }
        for line in file.read_text(encoding=encoding, errors="replace").splitlines()[1:]:
            word, _, flags = line.split("\t")[0].split(" ")[0].partition("/")
            held = _flags(flags, kind)
            if not held & {named.get("NOSUGGEST"), named.get("FORBIDDENWORD")}:
                bound = named.get("NEEDAFFIX") in held and not held & whole
                (in_compounds if bound or named.get("ONLYINCOMPOUND") in held else alone).add(word)
    nouns = {w: w.capitalize() for w in in_compounds if w == w.lower() and w.capitalize() in alone}
    return nouns | {w: w for w in alone if w == w.lower() and pairs_of(w)}


def _flags(flags: str, kind: str) -> frozenset[str]:
    """Return the flags of a word; `kind` is how the dictionary writes them: 'num', 'long', else one character each."""
    if kind == "num":
        return frozenset(flags.split(","))
    step = 2 if kind == "long" else 1
    return frozenset(flags[i : i + step] for i in range(0, len(flags), step))
