"""Settings as plain data, from a request or a file: checked with a path to each fault, all faults at once."""

from __future__ import annotations

import dataclasses
import types
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from capture.errors import UsageError
from ownhand.composer.settings.settings import MOST_BOXES, Settings
from ownhand.composer.settings.text_box import X_HEIGHT_MM, no_size

MOST_FAULTS = 10
"""Faults that are told."""

DEEPEST = 8
"""Mappings and lists within each other."""

SPELLINGS = {"center": "centre"}
"""What people type for a choice."""


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
    if data is None or data == {}:
        return Settings()
    from capture.structured import structured  # here, because it loads slowly

    made, faults = structured(_bounded(data, where), Settings)
    if made is None:
        # what a setting refuses says itself what to do
        told = "; ".join(fault.removesuffix(".") for fault in faults[:MOST_FAULTS])
        raise UsageError(where, told, "" if ". " in told else "Correct the settings.")
    for box in made.boxes:
        # what fits a text to its box may make it smaller than anybody may ask for
        if box.x_height_mm is not None and box.x_height_mm < X_HEIGHT_MM[0]:
            raise UsageError(where, f"{box.told}: {no_size(box.x_height_mm)}", "Correct the settings.")
    return made


def _bounded(data: Any, where: str, path: str = "", deep: int = 0) -> Any:
    """Return the data with choices in our spelling; what is too long or too deep is refused before it is looked at."""
    if isinstance(data, dict | list):
        if len(data) > MOST_BOXES or deep > DEEPEST:
            expected = f"{MOST_BOXES} entries at most, {DEEPEST} deep at most"
            raise UsageError(where, f"{path or 'settings'}: expected {expected}", "Correct the settings.")
        if isinstance(data, list):
            return [_bounded(item, where, f"{path}[{k}]", deep + 1) for k, item in enumerate(data)]
        return {
            key: _bounded(item, where, f"{path}.{str(key)[:40]}".lstrip("."), deep + 1) for key, item in data.items()
        }
    if isinstance(data, str) and path.rpartition(".")[2] == "align":
        return SPELLINGS.get(data, data)
    return data


def schema(kind: Any = Settings) -> dict[str, Any]:
    """Return the JSON schema of the settings, or of another `kind`: a type that stands in their annotations."""
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
