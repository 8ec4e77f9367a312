"""Small pictures on one thread: a second one wakes for each and spins, a fifth as much CPU again and no sooner done."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import cv2


@contextmanager
def one_thread() -> Iterator[None]:
    """Have OpenCV work on one thread within, and then on as many as before."""
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)
