"""Argument types of compiled loops as plain lists, so that they can stand in a data file."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import numba.types

types: Any = numba.types  # has no types of its own


def written(kind: Any) -> Any:
    """Return a numba type as JSON can hold it: a name, or a list that begins with one.

    Raises
    ------
    TypeError
        If it is of a kind that no loop of ours has taken so far.
    """
    if isinstance(kind, types.Array):
        return ["array", written(kind.dtype), kind.ndim, kind.layout, kind.mutable, kind.aligned]
    if isinstance(kind, types.Literal):
        return ["literal", kind.literal_value]
    if isinstance(kind, types.BaseNamedTuple):
        home = kind.instance_class
        return ["named", home.__module__, home.__qualname__, *map(written, kind.types)]
    if isinstance(kind, types.BaseTuple):
        return ["tuple", *map(written, kind.types)]
    if isinstance(kind, types.List):
        return ["list", written(kind.dtype), kind.reflected]
    if isinstance(kind, types.Number | types.Boolean | types.NoneType):
        return str(kind)
    raise TypeError(f"arguments of the type {kind} are not foreseen")


def read(told: Any) -> Any:
    """Return the numba type that `written` wrote.

    told: what `compiled_loops.json` holds of one loop.
    """
    if isinstance(told, str):
        return getattr(types, "boolean" if told == "bool" else told)
    name, *rest = told
    if name == "array":
        dtype, dimensions, layout, mutable, aligned = rest
        return types.Array(read(dtype), dimensions, layout, readonly=not mutable, aligned=aligned)
    if name == "literal":
        return types.literal(rest[0])
    if name == "named":
        return types.BaseTuple.from_types([read(t) for t in rest[2:]], getattr(import_module(rest[0]), rest[1]))
    if name == "tuple":
        return types.BaseTuple.from_types([read(t) for t in rest])
    return types.List(read(rest[0]), reflected=rest[1])
