"""Checking data that came from outside: every fault named with the path to it, all of them at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture import plain_json
from capture.limits import REACH_MM
from capture.units import Points

MOST_SHOWN = 5

MOST_BYTES = 500_000_000
"""A larger file is not one of ours; a hand of 2,500 attempts keeps 20 MB."""


class FaultsError(ValueError):
    """Data do not hold together; the message lists the faults, each as 'path: what was expected'."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        more = len(faults) - MOST_SHOWN
        super().__init__("; ".join(faults[:MOST_SHOWN]) + (f"; and {more} more" if more > 0 else ""))


def raise_faults(faults: Sequence[str]) -> None:
    """Raise `FaultsError` where there are any."""
    if faults:
        raise FaultsError(faults)


def read_json(path: Path) -> Any:
    """Return the JSON data of a file.

    Raises
    ------
    FaultsError
        If it cannot be read or is not JSON.
    """
    try:
        return parse_json(path.read_bytes())
    except OSError as error:
        raise FaultsError([f"cannot be read ({error.strerror})"]) from None


def parse_json(raw: bytes) -> Any:
    """Return JSON data; NaN and Infinity, which Python would take, are refused (RFC 8259, section 6).

    Raises
    ------
    FaultsError
        If the bytes are not JSON (a ValueError too).
    """

    def refuse(name: str) -> Any:
        raise ValueError(f"{name} is not a JSON number")

    if len(raw) > MOST_BYTES:
        raise FaultsError([f"has more than {MOST_BYTES // 1_000_000} MB"])
    try:
        return plain_json.loads(raw.decode("utf-8"), parse_constant=refuse)
    except (UnicodeDecodeError, ValueError, RecursionError) as error:
        raise FaultsError([f"is not JSON ({error})"]) from None


class Place:
    """One place in the data, and the path to it; whatever is not as expected goes into `faults`.

    Examples
    --------
    >>> faults = []
    >>> Place({"a": {"b": "x"}}, "", faults).of("a").of("b").number(0.0, 0.0, 1.0)
    0.0
    >>> faults
    ['a.b: expected a number from 0 to 1']
    """

    def __init__(self, value: Any, path: str, faults: list[str], *, present: bool = True) -> None:
        self.value, self.path, self.faults, self.present = value, path, faults, present

    def fault(self, expected: str) -> None:
        """Note that this place is not as expected."""
        self.faults.append(f"{self.path or 'the whole'}: {expected}")

    def of(self, name: str) -> Place:
        """Return the place called `name` in this object."""
        shown = name if len(name) <= 60 else name[:59] + "…"
        path = f"{self.path}.{shown}" if self.path else shown
        if self.present and not isinstance(self.value, dict):
            wanted = "expected an object"
            if f"{self.path or 'the whole'}: {wanted}" not in self.faults:
                self.fault(wanted)
            return Place(None, path, self.faults, present=False)
        present = self.present and name in self.value
        return Place(self.value[name] if present else None, path, self.faults, present=present)

    def entries(self) -> Iterator[tuple[str, Place]]:
        """Yield the names and places in this object; none where it is left out."""
        if not self.present:
            return
        if not isinstance(self.value, dict):
            self.fault("expected an object")
            return
        for name in self.value:
            if any(0xD800 <= ord(c) <= 0xDFFF for c in name):
                self.fault("expected names that are text, found half a surrogate pair in one")
                continue
            yield name, self.of(name)

    def items(self, *, most: int) -> Iterator[Place]:
        """Yield the places in this list; none where it is left out."""
        if not self.present:
            return
        if not isinstance(self.value, list) or len(self.value) > most:
            self.fault(f"expected a list of {most} at most")
            return
        for i, item in enumerate(self.value):
            yield Place(item, f"{self.path}[{i}]", self.faults)

    def text(self, default: str | None, most: int) -> str:
        """Return the text here; `default` where it is left out (None: it must not be)."""
        if not self.present and default is not None:
            return default
        if not isinstance(self.value, str) or len(self.value) > most:
            self.fault(f"expected text of {most} characters at most")
            return default or ""
        if any(0xD800 <= ord(c) <= 0xDFFF for c in self.value):
            self.fault("expected text, found half a surrogate pair")
            return default or ""
        return self.value

    def choice(self, default: str, among: Sequence[str]) -> str:
        """Return the text here, one of `among`."""
        if not self.present:
            return default
        if not isinstance(self.value, str) or self.value not in among:
            self.fault("expected one of " + ", ".join(repr(a) for a in among if a))
            return default
        return self.value

    def truth(self, default: bool = False) -> bool:
        """Return the true or false here."""
        if self.present and not isinstance(self.value, bool):
            self.fault("expected true or false")
            return default
        return bool(self.value) if self.present else default

    def number(self, default: float | None, low: float, high: float) -> float | None:
        """Return the number here; it must lie between `low` and `high`."""
        if not self.present:
            return default
        v = self.value
        if isinstance(v, bool) or not isinstance(v, int | float) or not low <= v <= high:  # NaN is between no two
            self.fault(f"expected a number from {low:g} to {high:g}")
            return default
        return float(v)

    def whole(self, default: int, most: int = 2**53) -> int:
        """Return the whole number here, 0 or more."""
        if not self.present:
            return default
        if isinstance(self.value, bool) or not isinstance(self.value, int) or not 0 <= self.value <= most:
            self.fault(f"expected a whole number from 0 to {most}")
            return default
        return self.value

    def points(self, *, most: int, reach: float = REACH_MM) -> Points | None:
        """Return the pairs of numbers here as shape (n >= 1, 2), or None after noting a fault.

        `reach`: the most that any of them may be, either way.
        """
        v = self.value
        if isinstance(v, list) and 1 <= len(v) <= most:
            found = _as_numbers(v)
            if found is not None and found.shape == (len(v), 2) and bool(np.all(np.abs(found) <= reach)):
                return found
        self.fault(f"expected 1 to {most} pairs of numbers from {-reach:g} to {reach:g}")
        return None

    def numbers(self, *, most: int, low: float, high: float) -> NDArray[np.float64] | None:
        """Return the numbers in this list, shape (n,), or None after noting a fault."""
        v = self.value
        if isinstance(v, list) and len(v) <= most:
            found = _as_numbers(v)
            if found is not None and found.ndim == 1 and bool(np.all((found >= low) & (found <= high))):
                return found
        self.fault(f"expected {most} numbers at most, from {low:g} to {high:g}")
        return None

    def only(self, *names: str) -> None:
        """Note a fault where this object has anything but these."""
        if isinstance(self.value, dict):
            for name in self.value:
                if name not in names:
                    self.fault(f"unknown field {name[:40]!a}")


def _as_numbers(values: list[Any]) -> NDArray[np.float64] | None:
    """Return lists of numbers as an array; None where anything in them is none, or the lists differ in length."""
    try:
        found = np.array(values)
    except (ValueError, OverflowError):
        return None
    return found.astype(float) if found.dtype.kind in "if" or not found.size else None
