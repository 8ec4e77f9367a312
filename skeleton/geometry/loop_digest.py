"""A digest of all that a compiled loop is made of: its instructions, constants, and the loops it calls.

Two loops with the same digest compile to the same code. What does not reach the compiler does not count: docstrings,
comments, annotations, line numbers, the dates and places of files.
"""

from __future__ import annotations

import hashlib
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

PLAIN = (int, float, complex, bool, str, bytes, type(None))


def loop_digest(loop: Callable[..., Any]) -> str:
    """Return the digest of a function, and of all that it takes from its module, however indirectly.

    loop: the Python function that numba compiles, before it is compiled.
    """
    return hashlib.sha256("\n".join(_told(loop, ())).encode()).hexdigest()


def _told(function: Any, above: tuple[Any, ...]) -> list[str]:
    code = function.__code__
    if code in above:
        return [f"itself {above.index(code)}"]
    told = [f"{function.__module__}.{function.__qualname__}", repr(function.__defaults__)]
    told += _instructions(code, function.__doc__)
    told += [_value(cell.cell_contents, (*above, code)) for cell in function.__closure__ or ()]
    for name in _names(code):
        if name in function.__globals__:
            told.append(f"{name} = {_value(function.__globals__[name], (*above, code))}")
    return told


def _names(code: types.CodeType) -> list[str]:
    inside = (c for c in code.co_consts if isinstance(c, types.CodeType))
    return sorted({*code.co_names, *(name for c in inside for name in _names(c))})


def _instructions(code: types.CodeType, doc: str | None) -> list[str]:
    told = [code.co_code.hex(), repr((code.co_varnames, code.co_names, code.co_cellvars, code.co_freevars))]
    for place, constant in enumerate(code.co_consts):
        if isinstance(constant, types.CodeType):
            told += _instructions(constant, None)
        else:
            told.append(
                "its docstring" if place == 0 and constant == doc else f"{type(constant).__name__} {constant!r}"
            )
    return told


def _value(value: Any, above: tuple[Any, ...]) -> str:
    """Return what stands for something that a loop takes from outside itself."""
    if isinstance(value, PLAIN):
        return f"{type(value).__name__} {value!r}"
    if isinstance(value, tuple | list):
        return f"{type(value).__name__} ({', '.join(_value(v, above) for v in value)})"
    if isinstance(value, np.ndarray | np.generic):
        array = np.asarray(value)
        return f"{array.dtype.str} {array.shape} {hashlib.sha256(array.tobytes()).hexdigest()}"
    function = getattr(value, "py_func", value)
    if isinstance(function, types.FunctionType):
        options = getattr(value, "targetoptions", {})
        signature = getattr(value, "signature", "")
        return (
            f"{sorted(options.items())} {signature} {hashlib.sha256(repr(_told(function, above)).encode()).hexdigest()}"
        )
    if isinstance(value, types.ModuleType):
        file = getattr(value, "__file__", None)
        # beside the package there may be others, as in an environment: only what lies in it is ours
        ours = file is not None and Path(file).is_relative_to(Path(__file__).parents[1])
        # of a module of ours anything may be taken; others have versions, which count elsewhere
        return f"{value.__name__} {hashlib.sha256(Path(file).read_bytes()).hexdigest() if ours and file else ''}"
    if isinstance(value, type):
        return f"{value.__module__}.{value.__qualname__} {getattr(value, '_fields', '')}"
    return f"{type(value).__module__}.{type(value).__qualname__} {value!r}"
