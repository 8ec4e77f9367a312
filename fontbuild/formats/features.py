"""OpenType feature code that turns the variants over while one types.

`calt` first gives each letter the variant that follows its neighbour's in turn, then sees to it that the same shape
does not stand twice within a few letters. `salt` offers the same variants to those who choose by hand. There is no
`rand`: shapers apply it unasked, after `calt`, and chance brings equal neighbours back. Syntax: OpenType Feature File
Specification (adobe-type-tools.github.io/afdko).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence

SIGHT, FAR_SIGHT = 2, 5
"""Letters between two equal ones up to which they must differ in shape: of letters without a mark, whose many shapes
go round by themselves, and of letters with one, that have few."""

SMALL = frozenset("abcdefghijklmnopqrstuvwxyz")
MARKED = frozenset("àáâãäåæçèéêëìíîïñòóôõöøùúûüýăąćčďęěğıłńňőřśşšťůűźżžșț")
"""Small letters with marks that languages of Latin script use often."""

PASSED = frozenset(" .,-'’")
"""Signs over which letters see each other."""

SEEN = "@small"
"""Class of the letters and signs over which rules look."""

LOOKS_UP = "' lookup shape"
"""Stands in every rule that keeps equal shapes apart."""

TURNS_BEGIN, TURNS_END = "@turned =", "} calt;"
"""Between these stands all that turns variants over."""

Names = Mapping[str, Sequence[str]]
"""By character: the names of its variants, the first one being the encoded glyph."""


def feature_code(names: Names, *, sequences: Mapping[str, Sequence[str]] | None = None) -> str:
    """Return feature code for the variants, '' where there is nothing to turn over.

    Parameters
    ----------
    names
        Variants by character; characters with one variant take part as neighbours.
    sequences
        By glyph name of a multi-character letter: the names of its parts, put together in `ccmp`.
    """
    parts = [_languages(), _compositions(sequences or {})]
    turned = turned_over(names)
    if turned:
        parts += [_alternates(turned), _turns(names, turned)]
    return "\n\n".join(p for p in parts if p).strip() + "\n" if any(parts[1:]) else ""


def turned_over(names: Names) -> dict[str, list[str]]:
    """Return the characters whose variants take turns: those with several, but for combining marks."""
    return {c: list(v) for c, v in names.items() if len(v) > 1 and not _mark(c)}


def without_turns(code: str) -> tuple[str, str]:
    """Return what `feature_code` gives without `calt`, and `calt` by itself.

    The first part tells which glyphs stand for which others, which is all that kerning and marks ask of it; the second
    takes as long to compile as all the rest of a font.
    """
    head, turns, tail = code.partition(TURNS_BEGIN)
    body, end, tail = tail.partition(TURNS_END)
    return head + tail, turns + body + end


def near_turns(code: str) -> str:
    """Return what `feature_code` gives with one rule in each of the lookups that keep equal shapes apart.

    It holds the place of the lookup, which `fontbuild.formats.sight` fills.
    """
    out: list[str] = []
    for line in code.split("\n"):
        stands = line.startswith("    sub [") or LOOKS_UP in line
        if not (stands and out[-1].startswith("    sub")):
            out.append(line)
    return "\n".join(out)


def _mark(char: str) -> bool:
    return bool(char) and all(unicodedata.combining(c) for c in char)


def _languages() -> str:
    return "languagesystem DFLT dflt;\nlanguagesystem latn dflt;"


def _compositions(sequences: Mapping[str, Sequence[str]]) -> str:
    if not sequences:
        return ""
    rules = [f"    sub {' '.join(parts)} by {whole};" for whole, parts in sequences.items()]
    return "feature ccmp {\n" + "\n".join(rules) + "\n} ccmp;"


def _alternates(turned: Mapping[str, Sequence[str]]) -> str:
    rules = "\n".join(f"    sub {v[0]} from [{' '.join(v)}];" for v in turned.values())
    return (
        f"lookup alternates useExtension {{\n{rules}\n}} alternates;\n\n"
        "feature salt {\n    lookup alternates;\n} salt;"
    )


def _turns(names: Names, turned: Mapping[str, Sequence[str]]) -> str:
    most = max(len(v) for v in turned.values())
    lines: list[str] = []
    encoded = [v[0] for v in turned.values()]
    lines.append(f"{TURNS_BEGIN} [{' '.join(encoded)}];")
    small = [n for c, v in names.items() if c in SMALL or c in MARKED or c in PASSED for n in v]
    if small:
        lines.append(f"{SEEN} = [{' '.join(small)}];")
    for k in range(most):
        members = [v[k] for c, v in names.items() if len(v) > k and not _mark(c) and c != " "]
        lines.append(f"@turn{k + 1} = [{' '.join(members)}];")
    space = names.get(" ", [""])[0]
    for k in range(1, most + 1):
        rules = "\n".join(f"    sub {v[0]} by {v[k % len(v)]};" for v in turned.values() if k % len(v))
        if rules:
            lines.append(f"lookup after{k} useExtension {{\n{rules}\n}} after{k};")
    defined = [k for k in range(1, most + 1) if any(k % len(v) for v in turned.values())]
    rules = "\n".join(
        f"    sub @turn{k}{between} @turned' lookup after{k};"
        for between in ("", *([f" {space}"] if space else []))
        for k in defined
    )
    lines.append(f"lookup turn useExtension {{\n{rules}\n}} turn;")
    lines.append(_apart(turned))
    lines.append(f"feature calt {{\n    lookup turn;\n    lookup apart;\n{TURNS_END}")
    return "\n".join(lines)


def _apart(turned: Mapping[str, Sequence[str]]) -> str:
    """Return rules that give a letter the shape after the one it had the last time, where that is within sight.

    So its shapes come round in turn, and none comes back before all others were written. Small letters of everyday use
    look over small letters and spaces; all others only at their neighbour, or the tables would grow without end.
    """
    most = max(len(v) for v in turned.values())
    lines = []
    for k in range(most):
        members = [(v, v[k]) for v in turned.values() if len(v) > k]
        rules = "\n".join(f"    sub [{' '.join(v)}] by {new};" for v, new in members)
        lines.append(f"lookup shape{k + 1} useExtension {{\n{rules}\n}} shape{k + 1};")
    changes: list[str] = []
    for distance in range(FAR_SIGHT + 1):
        between = f" {SEEN}" * distance
        for char, variants in turned.items():
            sight = SIGHT if char in SMALL else FAR_SIGHT if char in MARKED else 0
            if distance > sight:
                continue
            group = f"[{' '.join(variants)}]"
            for k, v in enumerate(variants):
                changes.append(f"    sub {v}{between} {group}{LOOKS_UP}{(k + 1) % len(variants) + 1};")
    lines.append("lookup apart useExtension {\n" + "\n".join(changes) + "\n} apart;")
    return "\n".join(lines)
