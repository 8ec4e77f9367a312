"""Settings as plain data, from a request or a file: checked with a path to each fault, all faults at once."""

from __future__ import annotations

import dataclasses
import math
import types
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from capture.errors import UsageError
from ownhand.composer.settings.settings import MOST_BOXES, Settings

_MISSING = object()

MOST_FAULTS = 10
"""Faults that are told; with more, the rest is not looked at."""


def settings_from(data: Any, *, where: str = "settings") -> Settings:
    """Return the settings in plain data: a mapping with the fields of `Settings` as keys, boxes and life as mappings.

    Raises
    ------
    UsageError
        If there is any fault.

    Examples
    --------
    >>> settings_from({"paper": "A6", "life": {"slant": 0.5}}).life.slant
    0.5
    """
    faults: list[str] = []
    made = _value(Settings, data, "", faults)
    if faults:
        raise UsageError(where, "; ".join(faults[:MOST_FAULTS]), "Correct the settings.")
    assert isinstance(made, Settings)
    return made


def _value(hint: Any, value: Any, path: str, faults: list[str]) -> Any:
    """Return a value of the type that `hint` says, or note at `path` why not."""
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return _one_of(arguments, value, path, faults)
    if origin is Literal:
        value = {"center": "centre"}.get(value, value) if isinstance(value, str) else value
        return value if value in arguments else _fault(path, f"one of {', '.join(arguments)}", value, faults)
    if origin is tuple:
        return _tuple(arguments, value, path, faults)
    if dataclasses.is_dataclass(hint):
        return _object(hint, value, path, faults)
    if hint is bool:
        return value if isinstance(value, bool) else _fault(path, "true or false", value, faults)
    if hint is str:
        return value if isinstance(value, str) else _fault(path, "a text", value, faults)
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if hint is int:
        return value if number and isinstance(value, int) else _fault(path, "a whole number", value, faults)
    if number and abs(value) < 1e9 and math.isfinite(value):
        return float(value)
    return _fault(path, "a number", value, faults)


def _fault(path: str, expected: str, value: Any, faults: list[str]) -> Any:
    found = repr(value)
    faults.append(f"{path or 'settings'}: expected {expected}, found {found[:40]}{'...' if len(found) > 40 else ''}")
    return _MISSING


def _one_of(hints: tuple[Any, ...], value: Any, path: str, faults: list[str]) -> Any:
    if value is None and type(None) in hints:
        return None
    all_faults: list[list[str]] = []
    for hint in (h for h in hints if h is not type(None)):
        tried: list[str] = []
        made = _value(hint, value, path, tried)
        if not tried:
            return made
        all_faults.append(tried)
    fewest: list[str] = min(all_faults, key=len)
    faults += fewest
    return _MISSING


def _tuple(hints: tuple[Any, ...], value: Any, path: str, faults: list[str]) -> Any:
    many = len(hints) == 2 and hints[1] is Ellipsis
    if not isinstance(value, (list, tuple)) or (not many and len(value) != len(hints)):
        return _fault(path, "a list" if many else f"a list of {len(hints)}", value, faults)
    if many and len(value) > MOST_BOXES:
        return _fault(path, f"a list of {MOST_BOXES} at most", len(value), faults)
    each = (hints[0],) * len(value) if many else hints
    return tuple(_value(h, v, f"{path}[{i}]", faults) for i, (h, v) in enumerate(zip(each, value, strict=True)))


def _object(kind: Any, value: Any, path: str, faults: list[str]) -> Any:
    if not isinstance(value, dict):
        return _fault(path, "a mapping", value, faults)
    before = len(faults)
    hints, known = get_type_hints(kind), {f.name: f for f in dataclasses.fields(kind)}
    dot = f"{path}." if path else ""
    given = {}
    for key, item in value.items():
        if len(faults) > MOST_FAULTS:
            break
        if key not in known:
            faults.append(f"{dot}{str(key)[:40]}: no such setting (known: {', '.join(known)})")
        else:
            given[key] = _value(hints[key], item, f"{dot}{key}", faults)
    for name, f in known.items():
        if name not in value and f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING:
            faults.append(f"{dot}{name}: is not given")
    if len(faults) > before:
        return _MISSING
    try:
        return kind(**given)
    except UsageError as error:
        line = str(error).rstrip(".")
        faults.append(f"{path}: {line}" if path else line)
        return _MISSING


def schema(kind: Any = Settings) -> dict[str, Any]:
    """Return the JSON schema of the settings, or of another of their types."""
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return {"anyOf": [{"type": "null"} if a is type(None) else schema(a) for a in arguments]}
    if origin is Literal:
        return {"type": "string", "enum": list(arguments)}
    if origin is tuple:
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            return {"type": "array", "items": schema(arguments[0])}
        return {
            "type": "array", "items": schema(arguments[0]), "minItems": len(arguments), "maxItems": len(arguments)
        }  # fmt: skip
    if dataclasses.is_dataclass(kind):
        hints = get_type_hints(kind)
        required = [
            f.name
            for f in dataclasses.fields(kind)
            if f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING
        ]
        out: dict[str, Any] = {
            "type": "object",
            "properties": {name: schema(hints[name]) for name in (f.name for f in dataclasses.fields(kind))},
            "additionalProperties": False,
        }
        return {**out, "required": required} if required else out
    return {"type": {bool: "boolean", str: "string", int: "integer"}.get(kind, "number")}
