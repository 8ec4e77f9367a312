"""How loops over pixels and points are compiled: by numba on first use, and kept on disk.

`compiled` is for loops that Python calls, `inner` for loops that only other loops call. No other module asks numba to
compile, so that the way loops are compiled and kept is decided here alone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast, overload

from numba import njit

Loop = TypeVar("Loop", bound=Callable[..., Any])


@overload
def compiled(loop: Loop, /) -> Loop: ...


@overload
def compiled(signature: str | None = None, /, *, fastmath: bool = False) -> Callable[[Loop], Loop]: ...


def compiled(what: Any = None, /, *, fastmath: bool = False) -> Any:
    """Return a compiled loop that Python calls; bare (`@compiled`), or with a signature or options.

    Parameters
    ----------
    what
        The loop, or numba's signature of it: with one, a loop is compiled for these types alone.
    fastmath
        Whether sums may be added up in another order (then results differ between processors in the last bits).
    """
    options: Any = {"cache": True, "fastmath": fastmath}
    if callable(what):
        return njit(**options)(what)
    return njit(**options) if what is None else njit(what, **options)


def inner(loop: Loop) -> Loop:
    """Return a loop that only compiled loops can call: to make it callable from Python would take longer to compile."""
    options: Any = {"cache": True, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
    return cast(Loop, njit(**options)(loop))
