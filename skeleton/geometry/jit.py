"""How loops that only other loops call are compiled: by numba on first use, and kept on disk."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

Loop = TypeVar("Loop", bound=Callable[..., Any])


def inner(loop: Loop) -> Loop:
    """Return a loop without a way in from Python, which takes longer to compile than many a loop."""
    options: Any = {"cache": True, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
    return cast(Loop, njit(**options)(loop))
