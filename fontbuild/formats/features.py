"""OpenType feature code that turns the variants over while one types.

`calt` first gives each letter the variant that follows its neighbour's in turn, then sees to it that the same shape
does not stand twice within a few letters. `rand` and `salt` offer the same variants to programs that choose by
chance or by hand. Syntax: OpenType Feature File Specification (adobe-type-tools.github.io/afdko).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence

SIGHT = 2
"""Letters between two equal ones up to which they must differ in shape."""

SMALL = frozenset("abcdefghijklmnopqrstuvwxyz")

Names = Mapping[str, Sequence[str]]
"""By character: the names of its variants, the first one being the encoded glyph."""


def rotation(names: Names, *, sequences: Mapping[str, Sequence[str]] | None = None) -> str:
    """Return feature code for the variants, '' where there is nothing to turn over.

    Parameters
    ----------
    names
        Variants by character; characters with one variant take part as neighbours.
    sequences
        By glyph name of a multi-character letter: the names of its parts, put together in `ccmp`.
    """
    parts = [_languages(), _compositions(sequences or {})]
    turned = {c: list(v) for c, v in names.items() if len(v) > 1 and not _mark(c)}
    if turned:
        parts += [_alternates(turned), _turns(names, turned)]
    return "\n\n".join(p for p in parts if p).strip() + "\n" if any(parts[1:]) else ""


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
        "feature salt {\n    lookup alternates;\n} salt;\n\nfeature rand {\n    lookup alternates;\n} rand;"
    )


def _turns(names: Names, turned: Mapping[str, Sequence[str]]) -> str:
    most = max(len(v) for v in turned.values())
    lines: list[str] = []
    encoded = [v[0] for v in turned.values()]
    lines.append(f"@turned = [{' '.join(encoded)}];")
    small = [n for c, v in names.items() if c in SMALL or c == " " for n in v]
    if small:
        lines.append(f"@small = [{' '.join(small)}];")
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
    lines.append("feature calt {\n    lookup turn;\n    lookup apart;\n} calt;")
    return "\n".join(lines)


def _apart(turned: Mapping[str, Sequence[str]]) -> str:
    """Return rules that change a shape seen within sight.

    The tables grow with variants times distance times the letters between, so that only small unaccented letters look
    further than at their neighbour, over small unaccented letters and spaces.
    """
    steps, rules = [], []
    for variants in turned.values():
        steps += [f"    sub {v} by {n};" for v, n in zip(variants, [*variants[1:], variants[0]], strict=True)]
    for distance in range(SIGHT + 1):
        between = " @small" * distance
        for char, variants in turned.items():
            if distance and (char not in SMALL or len(variants) <= distance):
                continue
            rules += [f"    sub {v}{between} {v}' lookup step;" for v in variants]
    step = "lookup step useExtension {\n" + "\n".join(steps) + "\n} step;\n"
    return step + "lookup apart useExtension {\n" + "\n".join(rules) + "\n} apart;"
