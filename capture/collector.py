"""Python's collector of cycles, kept from work that makes millions of small objects that all live to its end."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

OBJECTS = 200_000
"""New objects after which the youngest are looked through; Python's default, 700, has all of them walked over again
and again."""


@contextmanager
def rarely_collected() -> Iterator[None]:
    """Look for cycles of objects rarely, in this process and those forked off it, as long as the context lasts."""
    before = gc.get_threshold()
    gc.set_threshold(OBJECTS, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)
