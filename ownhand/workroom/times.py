"""When files were written."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from pathlib import Path


def newest(files: Iterable[Path]) -> int:
    """Return when the newest of the files was written, in ns; 0 where none is there."""
    times = [0]
    for file in files:
        with contextlib.suppress(OSError):
            times.append(file.stat().st_mtime_ns)
    return max(times)
