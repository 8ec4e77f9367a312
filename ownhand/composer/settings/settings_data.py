"""Settings as plain data, from a request or a file: checked with a path to each fault, all faults at once."""

from __future__ import annotations

import dataclasses
import types
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from capture.errors import UsageError
from capture.structured import structured
from ownhand.composer.settings.settings import Settings

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
    made, faults = structured(data, Settings)
    if made is None:
        raise UsageError(where, "; ".join(faults[:10]), "Correct the settings.")
    return made


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
