"""Glyph names: after the Adobe Glyph List where it has one, uniXXXX elsewhere; '.v2', '.v3' for further variants."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

SPACE = "space"

ASCII_LETTERS = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz")
"""Their names in the list are they themselves."""


@lru_cache(maxsize=4096)
def base_name(char: str) -> str:
    """Return the name of the first variant of a character or sequence.

    Names follow the Adobe Glyph List Specification (github.com/adobe-type-tools/agl-specification), so that programs
    can find the text again in a glyph's name.

    Examples
    --------
    >>> base_name("é"), base_name("ế"), base_name("ij"), base_name("😀")
    ('eacute', 'uni1EBF', 'i_j', 'u1F600')
    """
    if not char:
        return ".notdef"
    return "_".join(_one(c) for c in unicodedata.normalize("NFC", char))


def _one(char: str) -> str:
    if char in ASCII_LETTERS:
        return char
    from fontTools import agl  # here, because it reads a list of 4,000 names

    code = ord(char)
    name = str(agl.UV2AGL.get(code, ""))
    if name and "." not in name:
        return name
    return f"uni{code:04X}" if code <= 0xFFFF else f"u{code:X}"


def variant_name(char: str, number: int, *, in_words: bool = False) -> str:
    """Return the name of variant `number` (from 1) of `char`; of one that stands in words alone if `in_words`.

    Examples
    --------
    >>> variant_name("a", 1), variant_name("a", 3), variant_name("a", 1, in_words=True)
    ('a', 'a.v3', 'a.w1')
    """
    if in_words:
        return f"{base_name(char)}.w{number}"
    return base_name(char) if number == 1 else f"{base_name(char)}.v{number}"


def char_of(name: str) -> str:
    """Return the character or sequence that a glyph's name stands for, '' if it tells none.

    Examples
    --------
    >>> char_of("eacute"), char_of("a.v3"), char_of("i_j"), char_of(".notdef")
    ('é', 'a', 'ij', '')
    """
    from fontTools import agl

    return unicodedata.normalize("NFC", str(agl.toUnicode(name)))
