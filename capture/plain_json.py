"""JSON that people and programs send, in which no key may stand twice: the first of two values would be lost unsaid."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any


class TwiceError(ValueError):
    """A key stands twice in one object (RFC 8259, section 4: names should be unique)."""


def loads(text: str | bytes, *, parse_constant: Callable[[str], Any] | None = None) -> Any:
    """Return what JSON holds.

    Parameters
    ----------
    parse_constant
        Called for NaN and Infinity, as `json.loads` does.

    Raises
    ------
    TwiceError
        If a key stands twice in one object.
    ValueError
        If it is not JSON.

    Examples
    --------
    >>> loads('{"text": "tea", "text": "no tea"}')
    Traceback (most recent call last):
        ...
    capture.plain_json.TwiceError: the key 'text' stands twice in it
    """
    return json.loads(text, object_pairs_hook=_once, parse_constant=parse_constant)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        twice = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
        raise TwiceError(f"the key '{twice[:40]}' stands twice in it")
    return found
