"""SVG documents from strangers, looked through before the library that draws them meets them.

svgelements takes numbers, colours and style sheets apart with patterns whose time grows with the square or the cube of
what they do not know: 2,000 digits among the `points` of a line take two minutes. What is longer than any program
writes is refused, and style sheets are written anew, rule by rule. `<use>` can ask for one line a thousand million
times.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any
from xml.etree.ElementTree import Element, tostring

from capture.errors import InputError

MOST_BYTES = 50_000_000
MOST_ELEMENTS = 20_000
"""Of an SVG document, what is used again counted as often as it is used."""

MOST_DEPTH = 200
"""Elements in elements."""

LONGEST_VALUE = 2_000
"""Characters of an attribute, or of a rule of a style sheet, but for lists of places, names and addresses."""

LONGEST_TURN = 4_000
"""Characters of the transforms of an element and all that it lies in: each element reads them all."""

LONGEST_STYLE = 50_000
"""Characters of the style sheets' rules together."""

MOST_CLOSES = 2_000
"""Subpaths of a path that are closed and go on without a new beginning: for each, all before it are gone through."""

_CLOSES = re.compile(r"[zZ][\s,]*(?=[zZ])")
_DIGITS = re.compile(r"[0-9.]{41}")
"""No program writes numbers so long: 17 digits tell any double from the next (IEEE 754-2019, 5.12.2)."""

_ANY_LENGTH = frozenset({"d", "points", "id", "class", "href"})
"""Attributes that may be long."""

_STILL = frozenset({"d", "id", "class", "href"})
"""Attributes whose digits nothing stumbles over: `d` is read number by number, the others are no numbers."""


def closed_once(path: str) -> str:
    """Return path data without closes of what is closed already, which draw nothing.

    Raises
    ------
    ValueError
        If more subpaths are closed and go on than any program writes.

    Examples
    --------
    >>> closed_once("M0 0h1v1z z ZM3 3h1")
    'M0 0h1v1ZM3 3h1'
    """
    once = _CLOSES.sub("", path)
    if any(part.count("z") > MOST_CLOSES for part in once.lower().split("m")):
        raise ValueError(f"a path closes more than {MOST_CLOSES} times")
    return once


def looked_through(data: bytes, *, where: str) -> bytes:
    """Return an SVG document that draws the same, without what takes its reader for ever.

    Parameters
    ----------
    data
        The file.
    where
        What it is called in messages.

    Raises
    ------
    InputError
        If it is no XML, declares entities, is larger than is read, or holds what no drawing needs.
    """
    from defusedxml.ElementTree import fromstring

    if len(data) > MOST_BYTES:
        what = f"it has more than {MOST_BYTES // 1_000_000} MB"
        raise InputError(where, what, "Simplify the drawing.")
    try:
        root: Element = fromstring(data)
    except Exception as error:  # expat and defusedxml each raise what they like
        remedy = "Save the drawing as SVG with paths."
        raise InputError(where, f"cannot be read as SVG ({type(error).__name__})", remedy) from None
    if fault := _repeated(root) or _overlong(root) or _turned(root):
        raise InputError(where, fault, "Simplify the drawing.")
    style = 0
    for element in root.iter():
        if "class" in element.attrib:
            # a class named twice says nothing more, and its rules are gone through again
            element.set("class", " ".join(dict.fromkeys(element.attrib["class"].split())))
        if "d" in element.attrib:
            try:
                element.set("d", closed_once(element.attrib["d"]))
            except ValueError as error:
                raise InputError(where, str(error), "Simplify the drawing.") from None
        if _name(element) == "style":
            rules = list(_rules("".join(element.itertext())))
            style += sum(map(len, rules))
            if style > LONGEST_STYLE or any(len(rule) > LONGEST_VALUE for rule in rules):
                raise InputError(where, "its style sheet is longer than is read", "Simplify the drawing.")
            element.text = "\n".join(rules)
    return tostring(root)


def _name(element: Element) -> str:
    """Return an element's name without its namespace; '' for a comment."""
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _parts(element: Element, named: Mapping[str | None, Element]) -> Iterator[Element]:
    """Yield what an element is made of: what lies in it, and what it uses (SVG 1.1, 5.6)."""
    yield from element
    if _name(element) == "use":
        href = next((v for k, v in element.attrib.items() if k.rpartition("}")[2] == "href"), "")
        if href[1:] in named:
            yield named[href[1:]]


def _named(root: Element) -> dict[str | None, Element]:
    return {element.get("id"): element for element in root.iter() if element.get("id")}


def _repeated(root: Element) -> str:
    """Return whether elements are too many or in too many layers; '' where they are not."""
    named = _named(root)
    known: dict[int, int] = {}

    def count(element: Element, depth: int) -> int:
        if depth > MOST_DEPTH:
            raise RecursionError
        if id(element) not in known:
            known[id(element)] = 1 + sum(count(part, depth + 1) for part in _parts(element, named))
        return known[id(element)]

    try:
        total = count(root, 0)
    except RecursionError:
        return f"it holds elements in more than {MOST_DEPTH} layers, or one that uses itself"
    return f"it holds {total} elements, at most {MOST_ELEMENTS} are drawn" if total > MOST_ELEMENTS else ""


def _overlong(root: Element) -> str:
    """Return which attribute is longer than any drawing needs; '' where none is."""
    for element in root.iter():
        for key, value in element.attrib.items():
            name = key.rpartition("}")[2]
            if len(value) > LONGEST_VALUE and name not in _ANY_LENGTH:
                return f"an attribute '{name[:40]}' of it has {len(value)} characters"
            if name not in _STILL and _DIGITS.search(value):
                return f"an attribute '{name[:40]}' of it holds a number of more than 40 digits"
    return ""


def _turned(root: Element) -> str:
    """Return whether transforms in transforms are too long; '' where they are not. `_repeated` bounds the walk."""
    named = _named(root)
    waiting: list[tuple[Any, int]] = [(root, 0)]
    while waiting:
        element, before = waiting.pop()
        length = before + len(element.attrib.get("transform", ""))
        if length > LONGEST_TURN:
            return f"an element of it has transforms of more than {LONGEST_TURN} characters"
        waiting += ((part, length) for part in _parts(element, named))
    return ""


def _rules(text: str) -> Iterator[str]:
    """Yield the rules of a style sheet, comments and spaces left out, and what begins with `@`: fonts, media."""
    kept, *others = text.split("/*")
    for part in others:
        kept += part.partition("*/")[2]
    for part in kept.split("}"):
        selector, brace, declared = (piece.strip() for piece in part.partition("{"))
        if brace and selector and declared and not selector.startswith("@"):
            yield f"{selector}{{{declared}}}"
