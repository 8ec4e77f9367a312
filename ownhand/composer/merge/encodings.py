"""In which encoding a table was written: said by its first bytes, by being UTF-8, or by the letters that come out.

The same bytes are `Łucja Ślusarz` in one code page and `£ucja Œlusarz` in another. Each code page that spreadsheets
write is tried: the letters that the hand has speak for it, large letters after small ones and signs between letters
against it. Of those that come out alike, charset-normalizer tells the likeliest.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Collection
from itertools import pairwise

from charset_normalizer import from_bytes

CODE_PAGES = (
    "cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "cp1257", "iso8859_2", "iso8859_15", "mac_roman", "mac_latin2",
    "cp852", "cp850", "cp866", "koi8_r",
)  # fmt: skip
"""What spreadsheets write, the commonest first; of equals the first is taken."""

LOOKED_AT = 100_000
"""Bytes by which a code page is told."""

NEAR = 0.02
"""Shares of the letters by which two code pages are alike."""

WESTERN = "àâäáãåæçéèêëíìîïñóòôöõøœúùûüýÿß"
"""What is expected where nobody says which languages."""

_SIGNS = "’‘‚“”„«»–—…€°§¿¡ªº№\u00a0"


def code_page_of(raw: bytes, letters: Collection[str] = ()) -> tuple[str, tuple[str, ...]]:
    """Return the code page that bytes were likely written in, and others that are as likely but read otherwise.

    Parameters
    ----------
    letters
        Characters of the languages that are expected: those that the hand writes.
    """
    told = bytes(raw[:LOOKED_AT])
    known = {form for c in letters or WESTERN for form in (c, c.lower(), c.upper())}
    scores: dict[str, float] = {}
    texts: dict[str, str] = {}
    for name in CODE_PAGES:
        texts[name] = told.decode(name, errors="replace")
        scores[name] = _score(texts[name], known)
    best = max(scores.values())
    alike = [name for name in CODE_PAGES if scores[name] >= best - NEAR]
    if len({texts[name] for name in alike}) > 1:
        found = from_bytes(told, cp_isolation=alike).best()
        if found is not None and found.encoding in alike:
            # of several pages that read alike the commonest, not the one that happened to be tried
            alike.sort(key=lambda name: texts[name] != texts[found.encoding])
    others = dict.fromkeys(texts[name] for name in alike if texts[name] != texts[alike[0]])
    return alike[0], tuple(next(name for name in alike if texts[name] == text) for text in others)


def _score(text: str, known: Collection[str]) -> float:
    """Return how likely a text is one, 1 at most: the mean over what is not ASCII."""
    points = count = 0.0
    for before, c in pairwise(" " + text):
        if c.isupper() and before.islower() and (ord(c) > 127 or ord(before) > 127):
            points -= 1.0
        if c.isalpha() and before.isalpha() and _is_latin(c) != _is_latin(before):
            points -= 1.0
        if ord(c) < 128:
            if ord(before) > 127 and before not in _SIGNS and not before.isalpha() and c.isalpha():
                points -= 0.5  # a sign with a letter close after it
            continue
        count += 1
        if c in known and c.isalpha():
            points += 1.0
        elif c.isalpha():
            points += 0.4
        elif c in _SIGNS:
            points += 0.6
        elif unicodedata.category(c)[0] == "C" or c == "\ufffd":
            points -= 3.0
        else:
            points -= 1.0
    return points / max(count, 1.0)


def _is_latin(c: str) -> bool:
    return ord(c) < 0x0250 or 0x1E00 <= ord(c) < 0x1F00
