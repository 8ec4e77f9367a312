"""Examples made in processes that write files, each as its characters are read.

Hundreds of thousands of characters with all that was seen of them are more than processes should hand to each other.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import fields
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar

import cv2
import numpy as np

Task, Examples = TypeVar("Task"), TypeVar("Examples")

A_FILE = 500
"""Examples a file."""

FIRST_ALONE = 20
"""Characters that are read before there are many processes."""


def make_files(
    every: Sequence[Task], read: Callable[[Task], Sequence[Any]], where: Path, *, cores: int, seconds: float
) -> None:
    """Read characters for some time, and write what `read` gives of each (dataclasses of arrays) to files."""
    where.mkdir(parents=True, exist_ok=True)
    for one in every[:FIRST_ALONE]:
        # loops are compiled before the processes part, and not by each of them
        read(one)
    until = time.monotonic() + seconds
    threads = cv2.getNumThreads()
    # before the processes part from this one: with a thread for each of many cores in every process, reading takes
    # thirty times as long
    cv2.setNumThreads(1)
    context = get_context("fork")
    jobs = [
        context.Process(target=_make, args=(every[i::cores], read, where / f"{i:03d}", until)) for i in range(cores)
    ]
    for job in jobs:
        job.start()
    for job in jobs:
        job.join()
    cv2.setNumThreads(threads)
    if any(job.exitcode for job in jobs):
        raise RuntimeError(f"{where}: a process that reads characters has failed; what it says is above")


def load_files(kind: type[Examples], where: Path) -> Examples:
    """Return what `make_files` wrote into a folder, all in one; kind: the dataclass."""
    names = [f.name for f in fields(kind)]  # type: ignore[arg-type]
    parts = []
    for file in sorted(where.glob("*.npz")):
        with np.load(file) as kept:
            parts.append({name: kept[name] for name in names})
    return kind(**{name: np.concatenate([p[name] for p in parts]) for name in names})


def _make(every: Sequence[Task], read: Callable[[Task], Sequence[Any]], stem: Path, until: float) -> None:
    found: list[Any] = []
    number = 0
    for one in every:
        if time.monotonic() > until:
            break
        found += read(one)
        if len(found) >= A_FILE:
            _keep(found, stem.with_name(f"{stem.name}-{number:05d}.npz"))
            found, number = [], number + 1
    if found:
        _keep(found, stem.with_name(f"{stem.name}-{number:05d}.npz"))


def _keep(found: Sequence[Any], file: Path) -> None:
    np.savez(file, **{f.name: np.concatenate([getattr(e, f.name) for e in found]) for f in fields(found[0])})
