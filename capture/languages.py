"""Which characters a language is written with, from the hyperglot database (Rosetta Type, open data).

Languages are named by an ISO 639-1 or 639-3 code, with a script where there are several ('sr-Latn', BCP 47), or by
their English or own name.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import regex

from capture.errors import UsageError
from capture.language_database import BASIC, Language, all_languages, find_language

DIGITS = tuple("0123456789")


@dataclass(frozen=True)
class LanguageCoverage:
    """What a set of characters is worth for a language."""

    language: Language
    built: tuple[str, ...]
    """Letters that are not there but can be built from a base letter and marks that are."""

    missing: tuple[str, ...]
    """Letters that are not there and cannot be built."""

    @property
    def status(self) -> str:
        """'complete', 'complete with built accents' or 'incomplete'."""
        if self.missing:
            return "incomplete"
        return "complete with built accents" if self.built else "complete"


def language(code: str) -> Language:
    """Return the language with this code or name.

    Raises
    ------
    UsageError
        If there is none; the message names those that are written nearly so.

    Examples
    --------
    >>> language("pl").name, language("pol").code, language("Polish").autonym
    ('Polish', 'pol', 'Polski')
    """
    return find_language(unicodedata.normalize("NFC", code.strip()))


def characters_for(languages: Iterable[str], *, auxiliary: bool = False) -> list[str]:
    """Return the characters that the languages are written with, NFC, in the order of `in_order`.

    Always with the digits and `BASIC`; with `auxiliary` also the letters of loan words and all punctuation.
    """
    wanted = {*DIGITS, *BASIC}
    for code in languages:
        found = language(code)
        wanted.update(found.base, found.punctuation, found.currency)
        wanted.update(c for c in found.numerals if unicodedata.category(c) == "Nd")
        if auxiliary:
            wanted.update(found.auxiliary)
    return in_order(wanted)


def characters_in(text: str) -> list[str]:
    r"""Return the characters that `text` needs, each once, NFC, in the order of `in_order`; spaces are left out.

    A character is what a reader takes for one (an extended grapheme cluster of UAX #29), so a letter and the marks over
    it stay together, in whichever normalisation form the text comes.

    Raises
    ------
    UsageError
        If the text holds control, private or unassigned code points, which nobody can write.

    Examples
    --------
    >>> characters_in("Cafe\u0301, cafe\u0301")
    ['a', 'c', 'f', 'C', 'é', ',']
    """
    wanted = set()
    for cluster in regex.findall(r"\X", unicodedata.normalize("NFC", text)):
        char = "".join(c for c in cluster if not c.isspace() and c not in "\ufeff\u00ad\u200b\u2060")
        if not char:
            continue
        for c in char:
            if unicodedata.category(c) in ("Cc", "Cn", "Co", "Cs"):
                raise UsageError(
                    "characters", f"U+{ord(c):04X} is not a character that can be written", "Leave it out."
                )
        wanted.add(char)
    return in_order(wanted)


def in_order(chars: Iterable[str]) -> list[str]:
    """Return characters in the order in which a sheet asks for them.

    Small letters, capitals, small accented and other letters, their capitals, digits, punctuation, marks; Latin before
    the other scripts, and within a group by the letter's name, so that é follows e.

    Examples
    --------
    >>> in_order("bB.a1éß")
    ['a', 'b', 'B', 'é', 'ß', '1', '.']
    """
    return sorted(set(chars), key=_order)


def coverage(available: Iterable[str], languages: Iterable[str] | None = None) -> list[LanguageCoverage]:
    """Return what the available characters are worth for the languages, by name.

    A letter can be built when its base letter is there, and each of its marks is, alone or on any other letter that
    the mark can be taken off (Unicode canonical decomposition, UAX #15).

    Parameters
    ----------
    languages
        Codes; by default all languages of the database that are written in letters we know any of.
    """
    have = {unicodedata.normalize("NFC", c) for c in available}
    parts = {part for char in have for part in unicodedata.normalize("NFD", char)}
    if languages is None:
        found = [known for known in all_languages() if have & set(known.base)]
    else:
        found = [language(code) for code in languages]
    covered = []
    for known in sorted(found, key=lambda one: (one.name, one.script)):
        lacking = [char for char in in_order(known.base) if char not in have]
        built = tuple(char for char in lacking if _can_be_built(char, have, parts))
        missing = tuple(char for char in lacking if char not in built)
        covered.append(LanguageCoverage(known, built, missing))
    return covered


def _can_be_built(char: str, have: set[str], parts: set[str]) -> bool:
    decomposed = unicodedata.normalize("NFD", char)
    base, marks = decomposed[0], decomposed[1:]
    return bool(marks) and base in have and all(mark in parts for mark in marks)


@cache
def _order(char: str) -> tuple[int, int, str, str]:
    first = unicodedata.normalize("NFD", char)[0]
    category = unicodedata.category(first)
    name = unicodedata.name(char[0], "")
    script = ("LATIN", "GREEK", "CYRILLIC").index(name.split()[0]) if name.startswith(("LATIN", "GREEK", "CYR")) else 3
    if category.startswith("L"):
        letter = name.partition("LETTER ")[2] or name.partition("LIGATURE ")[2] or name
        plain = char in "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ" if script == 0 else char == first
        group = 10 * script + (0 if plain else 2) + (1 if char.isupper() or char.istitle() else 0)
        # In Greek and Cyrillic the code points are in the order of the alphabet, the names (ALPHA, BETA) are not.
        return group, 0, letter if script == 0 else "", char
    if category == "Nd":
        return 100, 0, "", char
    if category.startswith("M"):
        return 300, 0, "", char
    return 200, BASIC.index(char) if char in BASIC else len(BASIC), "", char
