"""Plain data made into dataclasses, every fault named with the path to it, all of them at once.

One reader for all files and requests whose fields are those of a dataclass: sheets, page settings, machine profiles.
Types are checked by cattrs; what a class itself refuses (`__post_init__`) is told like any other fault.
"""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

import cattrs
from cattrs.errors import (
    BaseValidationError,
    ForbiddenExtraKeysError,
    IterableValidationError,
    IterableValidationNote,
)
from cattrs.gen import make_dict_structure_fn

T = TypeVar("T")

LARGEST = 1e9
"""Numbers beyond it are no lengths, counts or speeds: they are refused before anything is computed with them."""

SHOWN = 40
"""Characters of a wrong value that are shown."""


class _WrongError(ValueError):
    """A value is not as expected; its text is what is told."""


def structured(data: Any, kind: type[T]) -> tuple[T | None, list[str]]:
    """Return plain data (as JSON and TOML give them) as a dataclass, or None and what is wrong, as 'path: fault'.

    Examples
    --------
    >>> @dataclasses.dataclass
    ... class Bed:
    ...     size_mm: tuple[float, float]
    >>> structured({"size_mm": [3, "wide"], "colour": 1}, Bed)
    (None, ["size_mm[1]: expected a number, found 'wide'", 'colour: no such key (known: size_mm)'])
    """
    try:
        return _converter().structure(data, kind), []
    except BaseValidationError as group:
        return None, list(dict.fromkeys(_faults(group, "", kind)))
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        return None, [_said(error, data)]


def _faults(error: BaseException, path: str, kind: Any) -> Iterator[str]:
    """Yield the faults of a group of cattrs', each with its path."""
    if not isinstance(error, BaseValidationError):
        if isinstance(error, ForbiddenExtraKeysError):
            known = [f.name for f in dataclasses.fields(error.cl)] if dataclasses.is_dataclass(error.cl) else []
            for name in sorted(error.extra_fields):
                yield f"{_joined(path, str(name)[:SHOWN])}: no such key (known: {', '.join(known)})"
            return
        yield _told(path, _said(error, None))
        return
    nested = [(path_of, e) for path_of, e in _children(error, path)]
    # cattrs lists unknown keys first; values are told before them
    for at, child in sorted(nested, key=lambda item: isinstance(item[1], ForbiddenExtraKeysError)):
        yield from _faults(child, at, kind)


def _children(group: BaseValidationError, path: str) -> Iterator[tuple[str, BaseException]]:
    for child in group.exceptions:
        at = path
        for note in getattr(child, "__notes__", ()):
            if (name := getattr(note, "name", None)) is not None:
                at = _joined(path, str(name))
            elif (index := getattr(note, "index", None)) is not None:
                at = f"{path}[{index}]"
        yield at, child


def _told(path: str, said: str) -> str:
    """Return a fault with its path; what a class refused may begin with its own name, which the path ends in."""
    named = path.rpartition(".")[2].partition("[")[0]
    for name in (named, named.removesuffix("s")):
        if name and said.startswith(f"{name}: "):
            return path + said[len(name) :]
        if name and said.startswith(f"{name} ") and said[len(name) + 1 :].partition(": ")[0].isidentifier():
            return f"{path}.{said[len(name) + 1 :]}"
    return f"{path}: {said}" if path else said


def _joined(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name


def _said(error: BaseException, data: Any) -> str:
    """Return what one fault is, without its path."""
    if isinstance(error, _WrongError):
        return str(error)
    if isinstance(error, KeyError):
        return "is not given"
    if isinstance(error, AttributeError):
        return "expected a mapping"
    if isinstance(error, TypeError):
        return "expected a list" if data is None else f"expected a mapping, found {_shown(data)}"
    return str(error).rstrip(".")


def _shown(value: Any) -> str:
    found = repr(value)
    return found[:SHOWN] + ("..." if len(found) > SHOWN else "")


def _wrong(expected: str, value: Any) -> _WrongError:
    return _WrongError(f"expected {expected}, found {_shown(value)}")


def _number(value: Any, _: Any = None) -> float:
    # compared, not converted: a number of 400 digits is no float
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value:
        raise _wrong("a number", value)
    if not abs(value) < LARGEST:
        raise _wrong(f"a number under {LARGEST:g}", value)
    return float(value)


def _whole(value: Any, _: Any = None) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not abs(value) < 2**53:
        raise _wrong("a whole number", value)
    return value


def _text(value: Any, _: Any = None) -> str:
    if not isinstance(value, str):
        raise _wrong("a text", value)
    return value


def _switch(value: Any, _: Any = None) -> bool:
    if not isinstance(value, bool):
        raise _wrong("true or false", value)
    return value


def _one_of(value: Any, kind: Any) -> Any:
    choices = get_args(kind)
    if not any(value is c or (type(value) is type(c) and value == c) for c in choices):
        raise _wrong(f"one of {', '.join(map(str, choices))}", value)
    return value


def _is_literal(kind: Any) -> bool:
    origin: Any = get_origin(kind)
    return origin is Literal


def _is_tuple(kind: Any) -> bool:
    return get_origin(kind) is tuple


def _tuple(value: Any, kind: Any) -> Any:
    hints = get_args(kind)
    many = len(hints) == 2 and hints[1] is Ellipsis
    if not isinstance(value, list | tuple) or (not many and len(value) != len(hints)):
        raise _wrong("a list" if many else f"a list of {len(hints)}", value)
    if many:
        return tuple(_converter().structure(list(value), list[hints[0]]))  # type: ignore[valid-type]
    faults: list[BaseException] = []
    out = []
    for index, (item, hint) in enumerate(zip(value, hints, strict=True)):
        try:
            out.append(_converter().structure(item, hint))
        except Exception as error:
            error.add_note(IterableValidationNote("", index, hint))
            faults.append(error)
    if faults:
        raise IterableValidationError("", faults, tuple)  # type: ignore[arg-type]
    return tuple(out)


def _is_choice(kind: Any) -> bool:
    return get_origin(kind) in (Union, types.UnionType)


def _choice(value: Any, kind: Any) -> Any:
    """Return the value as the first of a union's types that takes it; the fault that goes least far is told."""
    hints = get_args(kind)
    if value is None and type(None) in hints:
        return None
    failed: list[Exception] = []
    for hint in (h for h in hints if h is not type(None)):
        try:
            return _converter().structure(value, hint)
        except Exception as error:
            failed.append(error)
    raise next((e for e in failed if isinstance(e, BaseValidationError)), failed[0])


def _mapping(kind: Any, converter: cattrs.Converter) -> Callable[[Any, Any], Any]:
    make = make_dict_structure_fn(kind, converter, _cattrs_forbid_extra_keys=True, _cattrs_detailed_validation=True)

    def hook(value: Any, of: Any) -> Any:
        if not isinstance(value, dict):
            raise _wrong("a mapping", value)
        return make(value, of)

    return hook


@cache
def _converter() -> cattrs.Converter:
    converter = cattrs.Converter(forbid_extra_keys=True, detailed_validation=True)
    for kind, hook in ((float, _number), (int, _whole), (str, _text), (bool, _switch)):
        converter.register_structure_hook(kind, hook)
    converter.register_structure_hook_factory(dataclasses.is_dataclass, lambda kind: _mapping(kind, converter))
    converter.register_structure_hook_func(_is_literal, _one_of)
    converter.register_structure_hook_func(_is_tuple, _tuple)
    converter.register_structure_hook_func(_is_choice, _choice)
    return converter
