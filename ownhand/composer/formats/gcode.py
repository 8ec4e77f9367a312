"""G-code in the dialect of RS-274 that NIST wrote down.

Kramer, Proctor and Messina, The NIST RS274NGC Interpreter, Version 3, NISTIR 6556, 2000: G21 mm, G90 absolute, G94
units a minute, G0 to move, G1 to draw, comments in brackets.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from ownhand.composer.plot.machine import Machine, check_bed
from ownhand.composer.plot.plot_page import PlotPage, by_pen, flatten

WITHIN_MM = 0.01
HOME = "G0 X0 Y0"

_BARE = str.maketrans({"ł": "l", "Ł": "L", "ø": "o", "Ø": "O", "đ": "d", "Đ": "D", "ß": "ss", "æ": "ae", "Æ": "Ae",
                       "œ": "oe", "Œ": "Oe", "ı": "i", "þ": "th", "Þ": "Th", "ð": "d", "Ð": "D"})  # fmt: skip
"""Letters that do not fall apart into an ASCII letter and a mark."""


def gcode_text(page: PlotPage, machine: Machine | None = None) -> str:
    """Return the page as G-code for a machine; one whose bed is the page, where none is given.

    Raises
    ------
    UsageError
        If the writing would leave the bed.
    """
    return gcode_job([("", page)], machine)


def gcode_job(pages: Sequence[tuple[str, PlotPage]], machine: Machine | None = None) -> str:
    """Return pages with their names as one program, which names each and stops before each but the first for its paper.

    The prompt is a comment that begins with MSG, which the interpreter shows (NISTIR 6556, 3.3.3); M0 waits. Before it
    waits, and at the end where the profile has no lines of its own for it, the pen goes back to zero, out of the way.

    Raises
    ------
    UsageError
        If the writing would leave the bed.
    ValueError
        If there is no page.
    """
    if not pages:
        raise ValueError("there is no page")
    first = pages[0][1]
    machine = machine or Machine(bed_mm=first.size_mm)
    up = list(machine.lines_up)
    paper = machine.told_paper(first.size_mm)
    lines = [f"({_plain(first.family)}, page {first.number}, for {_plain(machine.name)}, {paper})", "G21", "G90", "G94"]
    # lifted before anything else may move, and after it again: the machine's own lines may have done anything
    lines += [*up, *machine.begin, *up] if machine.begin else up
    pen = int(by_pen(first).pen[0]) if len(first) else 1
    for number, (name, page) in enumerate(pages):
        check_bed(page, machine)
        lines += [HOME] if number else []
        if len(pages) > 1:
            lines.append(f"(MSG, {'next' if number else 'first'}: {_plain(name)}, {number + 1} of {len(pages)})")
        lines += ["M0"] if number else []
        moves, pen = _moves(page, machine, pen)
        lines += moves
    lines += [*(machine.end or (HOME,)), "M2"]
    return "\n".join(lines) + "\n"


def _moves(page: PlotPage, machine: Machine, pen: int) -> tuple[list[str], int]:
    """Return the lines that draw a page, and the pen that is in the holder then."""
    page = by_pen(page)
    points, starts = flatten(page.points_mm, page.starts, within_mm=WITHIN_MM)
    on_bed = machine.bed_from_page(points) if len(points) else points
    places = [f"X{x:.3f} Y{y:.3f}" for x, y in on_bed.tolist()]
    up, down = "\n".join(machine.lines_up), "\n".join(machine.lines_down)
    feed = f"F{machine.draw_mm_s * 60:.3f}".rstrip("0").rstrip(".")  # RS274NGC knows no exponents
    lines: list[str] = []
    bounds = starts.tolist()
    for k in range(len(page)):
        if int(page.pen[k]) != pen:
            pen = int(page.pen[k])
            lines += [HOME, f"(pen {pen})", "M0"]
        a, b = bounds[k], bounds[k + 1]
        lines += [f"G0 {places[a]}", down]
        if b - a > 1:
            lines.append(f"G1 {places[a + 1]} {feed}")
            lines += [f"G1 {place}" for place in places[a + 2 : b]]
        lines.append(up)
    return lines, pen


def _plain(text: str) -> str:
    """Return text that may stand in a comment: RS274NGC comments are ASCII and hold no brackets."""
    bare = unicodedata.normalize("NFKD", text.translate(_BARE))
    return re.sub(r"[^ -'*-~]", "", bare).strip() or "page"
