"""What is printed beside a cell, so that nobody has to guess which character is asked for.

A name takes room, so a cell is as wide as its name asks for: names are part of the layout rules, and a change to those
that are here needs a new `capture.layout.LAYOUT`.
"""

from __future__ import annotations

import unicodedata

NAMES: dict[str, str] = {
    "I": "capital i",
    "l": "small L",
    "1": "digit one",
    "|": "upright bar",
    "¦": "broken bar",
    "O": "capital o",
    "o": "small o",
    "0": "digit zero",
    ".": "full stop",
    ",": "comma",
    ":": "colon",
    ";": "semicolon",
    "·": "middle dot",
    "…": "three dots",
    "•": "bullet",
    "°": "degree",
    "'": "straight quote",
    '"': "straight double",
    "‘": "left quote",
    "’": "apostrophe",
    "‚": "low quote",
    "‛": "reversed quote",
    "“": "left double",
    "”": "right double",
    "„": "low double",
    "‹": "left angle",
    "›": "right angle",
    "«": "left angles",
    "»": "right angles",
    "<": "less than",
    ">": "more than",
    "`": "grave sign",
    "´": "acute sign",
    "^": "caret",
    "~": "tilde",
    "′": "minutes",
    "″": "seconds",
    "-": "hyphen",
    "‐": "true hyphen",
    "‑": "firm hyphen",
    "–": "en dash",
    "—": "em dash",
    "―": "long dash",
    "−": "minus",
    "_": "underscore",
    "/": "slash",
    "\\": "backslash",
    "×": "times",
    "÷": "divided by",
    "¹": "raised one",
    "²": "raised two",
    "³": "raised three",
    "º": "raised o",
    "ª": "raised a",
    "ı": "dotless i",
    "ȷ": "dotless j",
    "İ": "dotted capital",
    "ß": "sharp s",
    "ẞ": "capital sharp s",
    "ſ": "long s",
    "ŀ": "L middle dot",
    "ο": "omicron",
    "Ο": "capital omicron",
    "ν": "nu",
    "υ": "upsilon",
    "ι": "iota",
    "κ": "small kappa",
    "ς": "final sigma",
    "\u00a0": "fixed space",
    "\u0300": "grave",
    "\u0301": "acute",
    "\u0302": "circumflex",
    "\u0303": "tilde",
    "\u0304": "macron",
    "\u0306": "breve",
    "\u0307": "dot above",
    "\u0308": "two dots",
    "\u0309": "hook",
    "\u030a": "ring",
    "\u030b": "two acutes",
    "\u030c": "caron",
    "\u0323": "dot below",
    "\u0326": "comma below",
    "\u0327": "cedilla",
    "\u0328": "ogonek",
    "\u0331": "line below",
}
"""Short names of our own, where the printed shape alone leaves doubt."""

SAME_SHAPE = frozenset("CKPSUVWXYZΘΚΠΦΧΨВГЖЗИКЛМНОПСТУФХЦЧШЩЪЫЬЭЮЯ")
"""Capitals that are the small letter drawn larger; a letter without a name is a small one."""

LIKE_LATIN = frozenset("АВЕЅІЈКМНОРСТУХаеѕіјорсухԛԝΑΒΕΖΗΙΚΜΝΟΡΤΥΧονυκρχ")
"""Cyrillic and Greek letters that print like Latin ones; named by script, so that nobody writes the other."""

WIDE = frozenset("mwMWæœÆŒǼǽ@&%‰…—―½¼¾™©®ЖШЩЮМФЫжшщюмфыЊЉњљѤωΩψΨΦΜ№ŉǄǅǆǇǈǉǊǋǌĲĳ≈")
"""Characters that take more than a usual cell."""


def base_of(char: str) -> str:
    """Return the first code point of `char` without its accents: 'é' gives 'e'."""
    return unicodedata.normalize("NFD", char)[0]


def label_of(char: str) -> str:
    """Return what is printed beside the cell: the character alone, or the character and a name.

    The name is there where the printed shape alone leaves doubt.

    Examples
    --------
    >>> label_of("e"), label_of("I"), label_of("–"), label_of("Ś")
    ('e', 'I  capital i', '–  en dash', 'Ś  capital')
    """
    name = name_of(char)
    return f"{shown_form(char)}  {name}" if name else shown_form(char)


def shown_form(char: str) -> str:
    """Return how `char` is printed: a mark that stands alone sits on a dotted circle."""
    return f"◌{char}" if unicodedata.combining(char[0]) else char


def name_of(char: str) -> str:
    """Return the short name printed with `char`, '' where its shape says enough."""
    if char in NAMES:
        return NAMES[char]
    base = base_of(char)
    if base in LIKE_LATIN:
        script = "Cyr." if unicodedata.name(base).startswith("CYRILLIC") else "Greek"
        return f"{script} capital" if char.isupper() else script
    if base in SAME_SHAPE or base == "O":
        return "capital"
    return {"I": "capital i", "l": "small L"}.get(base, "")


def is_wide(char: str) -> bool:
    """Return whether `char` gets a wider cell."""
    return base_of(char) in WIDE or char in WIDE


def code_points(char: str) -> str:
    """Return a character's Unicode numbers.

    Examples
    --------
    >>> code_points("e\u0301")
    'U+0065 U+0301'
    """
    return " ".join(f"U+{ord(c):04X}" for c in char)
