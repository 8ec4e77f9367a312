"""How loops over pixels and points are compiled: by numba when they are first called, and kept by `loop_store`.

`compiled` is for loops that Python calls, `inner` for loops that only other loops call. No other module asks numba to
compile, so that the way loops are compiled and kept is decided here alone. Nothing is compiled on import:
`skeleton.precompile` compiles or loads all at once, otherwise each loop is when it is called.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable
from typing import Any, TypeVar, cast, overload

import numba.core.caching
import numba.core.compiler
import numba.core.serialize
from numba import njit

from skeleton.geometry import loop_store
from skeleton.geometry.loop_digest import loop_digest

Loop = TypeVar("Loop", bound=Callable[..., Any])

_RESULT: Any = numba.core.compiler.CompileResult
_dumps: Any = numba.core.serialize.dumps

LOOPS: dict[str, Any] = {}
"""Every loop by its module and name: numba's dispatcher."""


class _LoopCache(numba.core.caching.NullCache):
    """The compiled versions of one loop in `loop_store`; numba asks here before it compiles, and tells what it made."""

    def __init__(self, dispatcher: Any) -> None:
        self._dispatcher = dispatcher
        self._digest = ""

    def file_name(self, signature: object) -> str:
        loop = self._dispatcher.py_func
        if not self._digest:  # not before it is asked for: loops further down may not be there yet
            options = sorted(self._dispatcher.targetoptions.items())
            self._digest = f"{options} {loop_digest(loop)}"
        return loop_store.file_name(f"{loop.__module__}.{loop.__qualname__}", self._digest, signature)

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        target_context.refresh()
        data = loop_store.load(self.file_name(sig))
        return None if data is None else _RESULT._rebuild(target_context, *pickle.loads(data))

    def save_overload(self, sig: Any, data: Any) -> None:
        # what refers to places in this process's memory cannot be kept
        if not data.library.has_dynamic_globals and all(x.can_cache for x in data.lifted):
            loop_store.save(self.file_name(sig), _dumps(data._reduce()))


def _kept(dispatcher: Any, signature: str | None = None) -> Any:
    """Return a dispatcher that looks for compiled versions in `loop_store`; with a signature it has only that one."""
    loop = getattr(dispatcher, "py_func", None)
    if loop is None:
        return dispatcher  # numba was told not to compile at all (NUMBA_DISABLE_JIT)
    dispatcher._cache = _LoopCache(dispatcher)
    LOOPS[f"{loop.__module__}.{loop.__qualname__}"] = dispatcher
    if signature is not None:
        _wait_for_first_call(dispatcher, signature)
    return dispatcher


def _wait_for_first_call(dispatcher: Any, signature: str) -> None:
    """Make a dispatcher compile its one version when it is first called, where numba would do so on import."""

    def settle() -> None:
        for name in ("settle", "_compile_for_args", "get_call_template"):
            dispatcher.__dict__.pop(name, None)
        dispatcher.compile(signature)
        dispatcher.disable_compile()

    def call(*args: Any, **kws: Any) -> Any:
        settle()
        return dispatcher  # numba calls what it is given, which now has the version

    def template(args: Any, kws: Any) -> Any:
        settle()
        return dispatcher.get_call_template(args, kws)

    dispatcher.signature = signature
    dispatcher.settle, dispatcher._compile_for_args, dispatcher.get_call_template = settle, call, template


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
    options: Any = {"fastmath": fastmath}
    if callable(what):
        return _kept(njit(**options)(what))

    def decorated(loop: Loop) -> Loop:
        return cast(Loop, _kept(njit(**options)(loop), what))

    return decorated


def inner(loop: Loop) -> Loop:
    """Return a loop that only compiled loops can call: to make it callable from Python would take longer to compile."""
    options: Any = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
    return cast(Loop, _kept(njit(**options)(loop)))
