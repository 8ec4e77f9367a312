"""Counting what was tried, what was refused, and what went wrong."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from capture.errors import OwnhandError

SAID_EVERY_S = 10.0
"""Seconds after which it is said again how far the run is."""


@dataclass
class Tally:
    """What became of all inputs, by kind."""

    say: Callable[[str], None] = lambda line: None
    """Told how far the run is: at each new kind, and now and then."""

    tried: dict[str, int] = field(default_factory=dict)
    refused: dict[str, int] = field(default_factory=dict)
    told: dict[str, list[str]] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    """Wall time of a kind, what had to be made ready for it included."""

    measured: dict[str, str] = field(default_factory=dict)
    """What was measured of a kind, in words."""

    _begin: float = field(default_factory=time.monotonic)
    _since: float = field(default_factory=time.monotonic)
    _said: float = 0.0

    @property
    def faults(self) -> int:
        """How many inputs did what none may do."""
        return sum(map(len, self.told.values()))

    def note(self, kind: str, *, refused: bool = False, fault: str = "") -> None:
        """Count one input, and the time since the one before."""
        now = time.monotonic()
        self.seconds[kind] = self.seconds.get(kind, 0.0) + now - self._since
        self._since = now
        self.tried[kind] = self.tried.get(kind, 0) + 1
        self.refused[kind] = self.refused.get(kind, 0) + refused
        self.told.setdefault(kind, [])
        if fault:
            self.told[kind].append(fault)
        if fault or self.tried[kind] == 1 or now - self._said > SAID_EVERY_S:
            self._said = now
            faults = f", {len(self.told[kind])} faults: {fault[:200]}" if fault else ""
            self.say(f"{now - self._begin:4.0f} s  {kind}: {self.tried[kind]}{faults}")

    def reads(self, kind: str, read: Callable[[], object]) -> None:
        """Count what is read, or refused in one line."""
        try:
            read()
        except OwnhandError as error:
            line = str(error)
            self.note(kind, refused=True, fault=f"not one line: {line!r}" if "\n" in line or "\x1b" in line else "")
        except Exception as error:
            self.note(kind, fault=f"{type(error).__name__}: {error}")
        else:
            self.note(kind)

    def table(self) -> str:
        """Return the table, and the first faults of each kind."""
        rows = [("kind", "tried", "refused in one line", "faults", "s", "measured")]
        for kind, n in self.tried.items():
            counts = (str(n), str(self.refused[kind]), str(len(self.told[kind])), f"{self.seconds[kind]:.0f}")
            rows.append((kind, *counts, self.measured.get(kind, "")))
        wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
        lines = ["  ".join(cell.ljust(w) for cell, w in zip(row, wide, strict=True)).rstrip() for row in rows]
        lines += [f"FAULT {kind}: {fault[:300]}" for kind, told in self.told.items() for fault in told[:5]]
        return "\n".join(lines)


@contextmanager
def outside(folder: Path, inside: Path) -> Iterator[Callable[[], str]]:
    """Give a call that tells what changed in `folder` but not in `inside` since."""

    def all_files() -> dict[str, bytes]:
        return {str(p): p.read_bytes() for p in folder.rglob("*") if p.is_file() and not p.is_relative_to(inside)}

    before = all_files()

    def changed() -> str:
        now = all_files()
        names = [p for p in {*before, *now} if before.get(p) != now.get(p)]
        return f"outside the hand: {', '.join(sorted(names)[:3])}" if names else ""

    yield changed
