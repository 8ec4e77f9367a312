"""From a character to the forms in which it is written."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from itertools import product
from typing import Literal

from skeleton.ductus import marks
from skeleton.ductus.allograph import Allograph
from skeleton.ductus.drawing import Drawing, after, usual_first
from skeleton.ductus.handedness import left_handed
from skeleton.ductus.notation import Entry, NotationError, Other, draw, read_table

Handedness = Literal["right", "left"]

_GAP = 0.3
"""Between characters that stand side by side in one, as in the ij ligature (in x-heights)."""


def allographs(char: str, *, handedness: Handedness = "right") -> tuple[Allograph, ...]:
    r"""Return the forms in which `char` is written by hand, the most usual first.

    Parameters
    ----------
    char
        One Unicode character, or a base with combining marks, in any normalization form. What the table does not draw
        is put together from the canonical decomposition, marks written after the base, or from a compatibility
        decomposition (superscripts, fractions, ligatures): Unicode Standard Annex #15.
    handedness
        Of the writer: it changes which forms there are and their shares.

    Returns
    -------
    tuple of Allograph
        Empty if nothing is known of the character. The priors sum to 1.

    Raises
    ------
    ValueError
        If `handedness` is neither 'right' nor 'left'.

    Examples
    --------
    >>> allographs("T")[0].name
    'stem first'
    >>> [len(s) for s in allographs(".")[0].strokes]
    [1]
    >>> allographs("\N{CJK UNIFIED IDEOGRAPH-4E00}")
    ()
    """
    if handedness not in ("right", "left"):
        raise ValueError(f"handedness must be 'right' or 'left', got {handedness!r}")
    return _allographs(unicodedata.normalize("NFC", char), handedness)


@cache
def _allographs(char: str, hand: Handedness) -> tuple[Allograph, ...]:
    return tuple(Allograph(d.name, char, d.strokes, d.share) for d in drawings(char, hand))


@cache
def drawings(char: str, hand: Handedness) -> tuple[Drawing, ...]:
    """Return the drawn forms of `char` (NFC), the most usual first; () if nothing is known of it."""
    return tuple(usual_first(_drawn(char, hand)))


def _drawn(char: str, hand: Handedness) -> Iterator[Drawing]:
    if entry := table().get(char):
        yield from _from_entry(entry, hand)
    elif not char:
        return
    elif len(parts := unicodedata.normalize("NFD", char)) > 1:
        yield from _with_marks(parts, hand)
    elif len(char) == 1:
        yield from _from_compatibility(char, hand)


@cache
def table() -> dict[str, Entry]:
    """Return the entry of every character that the tables draw.

    Raises
    ------
    NotationError
        If a table does not follow the notation, or two of them draw the same character.
    """
    known: dict[str, Entry] = {}
    for file in sorted(files("skeleton.ductus").joinpath("tables").iterdir(), key=lambda f: f.name):
        if not file.name.endswith(".txt"):
            continue
        for entry in read_table(file.read_text(encoding="utf-8"), name=file.name):
            for char in entry.chars:
                if char in known:
                    raise NotationError(f"{entry.where}: {char} is also in {known[char].where}")
                known[char] = entry
    return known


def _from_entry(entry: Entry, hand: Handedness) -> Iterator[Drawing]:
    by_rule = hand == "left" and not any(form.left for form in entry.forms)
    for form in entry.forms:
        share = form.left if hand == "left" and form.left else form.right
        start = [Drawing(form.name, share, ())]
        for piece in form.pieces:
            if isinstance(piece, Other):
                if not (others := drawings(piece.char, hand)):
                    raise NotationError(f"{entry.where}: {form.name}: no form of {piece.char!r} is known")
                (dx, dy), (sx, sy) = piece.shift, piece.scale
                start = [after(a, b.moved(dx, dy, sx=sx, sy=sy)) for a, b in product(start, others)]
            else:
                start = [after(a, Drawing("", 1.0, (draw(piece),))) for a in start]
        composed = any(isinstance(piece, Other) for piece in form.pieces)
        yield from left_handed(start) if by_rule and not composed else start


def _with_marks(decomposed: str, hand: Handedness) -> Iterator[Drawing]:
    """Yield the forms of a base with combining marks, in canonical order (NFD)."""
    base, above_and_below = decomposed[0], tuple(decomposed[1:])
    if not above_and_below or not all(map(unicodedata.combining, above_and_below)):
        return
    bases = drawings(marks.dotless(base, above_and_below), hand)
    drawn = [drawings(m, hand) for m in above_and_below]
    for start, *written in product(bases, *drawn):
        yield marks.placed(base, start, list(zip(above_and_below, written, strict=True)))


def _from_compatibility(char: str, hand: Handedness) -> Iterator[Drawing]:
    """Yield forms of raised, lowered and joined characters, set from those they are made of."""
    kind, *codes = unicodedata.decomposition(char).split() or [""]
    if kind not in ("<super>", "<sub>", "<fraction>", "<compat>"):
        return
    size, y = {"<super>": (0.55, 0.95), "<sub>": (0.55, -0.4)}.get(kind, (1.0, 0.0))
    row = [Drawing("", 1.0, ())]
    x = 0.0
    for k, code in enumerate(codes):
        part = chr(int(code, 16))
        if part in " \u200d":
            x += _GAP
            continue
        if kind == "<fraction>":
            bar = codes.index("2044")
            size, y, part = (1.0, 0.0, "/") if k == bar else (0.5, 0.95 if k < bar else 0.0, part)
        others = drawings(part, hand)
        if not others:
            return
        left = min(d.points[:, 0].min() for d in others) * size
        wide = max(d.points[:, 0].max() for d in others) * size - left
        row = [after(a, b.moved(x - left, y, sx=size, sy=size)) for a, b in product(row, others)]
        x += wide + (0.0 if kind == "<fraction>" else _GAP * size)
    yield from (d for d in row if d.strokes)
