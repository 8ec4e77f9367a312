"""What a plotter can do: its bed, its speeds, how it lifts the pen. Read from a small TOML or JSON file.

Nobody but the maker knows a machine's limits: take the figures from its manual, follow that manual and local rules, and
keep hands, hair and sleeves away from moving parts. Try a new profile with the pen taken out.

Example of a file, with every key; all have defaults:

    name = "Drawing table"
    bed_mm = [310, 220]            # how far the pen can go, x and y
    origin = "top left"            # which corner of the bed is zero: "top left" (y down) or "bottom left" (y up)
    paper_mm = [0, 0]              # where the paper's top left corner lies on the bed, from its top left corner
    draw_mm_s = 40
    travel_mm_s = 120
    acceleration_mm_s2 = 1200
    corner_mm_s = 4                # how much the velocity may change at once, in a corner
    lift_s = 0.15
    lower_s = 0.15
    pen = "servo"                  # or "z"
    pen_up = ["M3 S30", "G4 P0.15"]
    pen_down = ["M3 S60", "G4 P0.15"]
    pulled_deg = 60                # a nib that may only be pulled: whereto, clockwise from the right; leave out else
    begin = []                     # further lines of G-code at the start, once the pen is lifted
    end = []                       # and at the end, instead of going back to zero
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from capture import plain_json
from capture.errors import InputError, UsageError
from capture.limits import is_plain
from capture.units import Points
from ownhand.composer.plot.plot_page import PlotPage, over_edge

RANGES = {
    **dict.fromkeys(("lift_s", "lower_s"), (0.0, 1e5)),
    **dict.fromkeys(("draw_mm_s", "travel_mm_s", "acceleration_mm_s2", "corner_mm_s"), (1e-3, 1e5)),
    "bed_mm": (1.0, 1e5),
    "pulled_deg": (-360.0, 360.0),
}
"""Least and greatest figures of a profile."""
MOST_LINES = 50
"""Lines of G-code for one thing; those for the pen stand in the file once for each path."""

LONGEST_LINE = 100
PEN_MOVES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    # NIST RS274NGC (Kramer, Proctor, Messina, NISTIR 6556, 2000): G0, G1, G4 P (seconds), M3, S
    "z": (("G0 Z3",), ("G1 Z0 F900",)),
    "servo": (("M3 S30", "G4 P0.15"), ("M3 S60", "G4 P0.15")),
}
"""Lifting and lowering, where a profile does not say."""


@dataclass(frozen=True)
class Machine:
    """A plotter's profile; see the module for what each field means."""

    name: str = "plotter"
    bed_mm: tuple[float, float] = (310.0, 430.0)
    origin: Literal["top left", "bottom left"] = "bottom left"
    paper_mm: tuple[float, float] = (0.0, 0.0)
    draw_mm_s: float = 40.0
    travel_mm_s: float = 120.0
    acceleration_mm_s2: float = 1200.0
    corner_mm_s: float = 4.0
    lift_s: float = 0.15
    lower_s: float = 0.15
    pen: Literal["z", "servo"] = "z"
    pen_up: tuple[str, ...] = ()
    pen_down: tuple[str, ...] = ()
    pulled_deg: float | None = None
    begin: tuple[str, ...] = ()
    end: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        faults = _out_of_range(vars(self))
        for name in ("pen_up", "pen_down", "begin", "end"):
            lines = getattr(self, name)
            if len(lines) > MOST_LINES or not all(is_plain(v, LONGEST_LINE) and v.isascii() for v in lines):
                faults.append(f"{name}: expected {MOST_LINES} single lines of ASCII at most")
            elif name in ("pen_up", "pen_down") and lines and not any(line.strip() for line in lines):
                faults.append(f"{name}: expected lines that move the pen, found blank ones")
        if not is_plain(self.name, LONGEST_LINE):
            faults.append("name: expected a short text")
        if faults:
            raise UsageError("profile", "; ".join(faults), "Correct it")

    @property
    def lines_up(self) -> tuple[str, ...]:
        """G-code that lifts the pen."""
        return self.pen_up or PEN_MOVES[self.pen][0]

    @property
    def lines_down(self) -> tuple[str, ...]:
        """G-code that lowers the pen."""
        return self.pen_down or PEN_MOVES[self.pen][1]

    def bed_from_page(self, points_mm: Points) -> Points:
        """Return machine coordinates (mm, from the bed's zero) for page-frame points (y down).

        Examples
        --------
        >>> Machine(bed_mm=(300.0, 200.0)).bed_from_page(np.array([[10.0, 20.0]]))
        array([[ 10., 180.]])
        """
        on_bed: Points = np.asarray(points_mm, float) + np.array(self.paper_mm)
        if self.origin == "top left":
            return on_bed
        return np.column_stack([on_bed[:, 0], self.bed_mm[1] - on_bed[:, 1]])

    def told_paper(self, size_mm: tuple[float, float]) -> str:
        """Return where paper of this size lies, in machine coordinates.

        Examples
        --------
        >>> Machine(bed_mm=(300.0, 200.0)).told_paper((148.0, 105.0))
        'paper at X 0 to 148, Y 95 to 200 mm'
        """
        corners = self.bed_from_page(np.array([[0.0, 0.0], size_mm]))
        (left, low), (right, high) = corners.min(axis=0), corners.max(axis=0)
        return f"paper at X {left:.5g} to {right:.5g}, Y {low:.5g} to {high:.5g} mm"


def _out_of_range(values: Mapping[str, Any]) -> list[str]:
    """Return which of these values are numbers, or lists of them, that no machine has."""
    out = []
    for name, (low, high) in RANGES.items():
        value = values.get(name)
        for number in value if isinstance(value, list | tuple) else (value,):
            # what is no number at all (10 to the 400th) was told already
            if isinstance(number, int | float) and abs(number) < 1e9 and not low <= number <= high:
                out.append(f"{name}: expected {low:g} to {high:g}, found {number:g}")
    return list(dict.fromkeys(out))


def load_machine(path: Path) -> Machine:
    """Return the profile in a TOML or JSON file.

    Raises
    ------
    InputError
        If it cannot be read; all faults are named at once.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror})", "Give a machine profile.") from None
    try:
        text = raw.decode("utf-8-sig")
        data = plain_json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(str(path), f"is not a TOML or JSON file ({error})", "See the README for an example.") from None
    if not isinstance(data, dict):
        raise InputError(str(path), "holds no keys", "See the README for an example.")
    return machine_from(data, where=str(path))


def machine_from(data: dict[str, Any], *, where: str = "machine") -> Machine:
    """Return the profile in plain data.

    Raises
    ------
    InputError
        If there is any fault; all are named at once.
    """
    from capture.structured import structured  # here, because few pages are written for a machine

    made, faults = structured(data, Machine)
    if made is None:
        # what the class refused, each as a fault of its own
        refused = (f.removeprefix("profile: ").removesuffix(". Correct it").split("; ") for f in faults)
        faults = list(dict.fromkeys(fault for several in refused for fault in several))
        # a class refuses figures only once all types are right: here both are told at once
        faults += [f for f in _out_of_range(data) if not any(g.startswith(f.split(" ")[0]) for g in faults)]
        raise InputError(where, "; ".join(faults), "Correct the profile.")
    return made


def check_bed(page: PlotPage, machine: Machine) -> None:
    """Refuse a page whose writing would leave the machine's bed.

    Raises
    ------
    UsageError
        With how far it would.
    """
    (px, py), (width, height) = machine.paper_mm, machine.bed_mm
    over = over_edge(page, (-px, width - px), (-py, height - py), slack_mm=1e-6)
    if over is None:
        return
    name, place = over
    at, high = (place + px, width) if name == "x" else (place + py, height)
    raise UsageError(
        f"page {page.number}",
        f"the writing reaches {name} = {at:.1f} mm, the bed of '{machine.name}' goes from 0 to {high:g} mm",
        "Use smaller paper, turn it, or move it on the bed.",
    )
