"""Work that is done on each character by itself: in turn, in several processes, or only where it changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import starmap
from typing import Any

Letterwise = Callable[[Callable[..., Any], Iterable[tuple[Any, ...]]], Iterable[Any]]
"""Called with a function of a module and the arguments of every call of it; gives the results in the same order."""

in_turn: Letterwise = starmap
"""One call after the other."""
