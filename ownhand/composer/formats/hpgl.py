"""HP-GL: IN, SP, PU, PD with absolute coordinates of 40 units to the mm.

As in Hewlett-Packard's interfacing and programming manuals (7475A, 1983): x to the right, y up, zero at the bottom left
corner of the paper; or of the bed, when a machine is given, whichever corner its own coordinates count from.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ownhand.composer.plot.machine import Machine, check_bed
from ownhand.composer.plot.plot_page import PlotPage, by_pen, flatten

UNITS_PER_MM = 40
POINTS_PER_LINE = 40
"""Long instructions are cut: plotters have small buffers (common practice, no source)."""

LARGEST = 32767
"""Coordinates are integers of 16 bits (7475A manual, chapter 1); larger papers are scaled by IP and SC."""

SCALED = 1000
"""User units between the two scaling points, where scaling is needed."""

DOT = 2
"""Plotter units that a dot is long, 0.05 mm: programs that draw lines drop one without length, a pen does not tell."""


def hpgl_text(page: PlotPage, machine: Machine | None = None) -> str:
    """Return the page as HP-GL, pen by pen.

    Raises
    ------
    UsageError
        If the writing would leave the bed of the machine.
    """
    if machine is not None:
        check_bed(page, machine)
    page = by_pen(page)
    frame = replace(machine or Machine(bed_mm=page.size_mm), origin="bottom left")
    points, starts = flatten(page.points_mm, page.starts, within_mm=0.5 / UNITS_PER_MM)
    on_bed = frame.bed_from_page(points) * UNITS_PER_MM if len(points) else np.zeros((0, 2))
    # a user unit is so many plotter units: one, unless numbers would leave their range
    unit = max(1, int(np.ceil((float(np.abs(on_bed).max(initial=0.0)) + 2 * DOT) / LARGEST)))
    q = np.rint(on_bed / unit).astype(np.int64)
    lines = ["IN;"]
    if unit > 1:
        lines.append(f"IP0,0,{SCALED * unit},{SCALED * unit};SC0,{SCALED},0,{SCALED};")
    speed = f"VS{max(1, round(frame.draw_mm_s / 10))};" if machine is not None else ""
    bounds = starts.tolist()
    pen = 0
    for k in range(len(page)):
        if int(page.pen[k]) != pen:
            pen = int(page.pen[k])
            lines.append(f"PU;SP{pen};{speed}")
        path = q[bounds[k] : bounds[k + 1]]
        path = path[np.concatenate([[True], np.any(np.diff(path, axis=0) != 0, axis=1)])]
        if len(path) == 1:
            path = path + np.array([[0, 0], [max(1, DOT // unit), 0]])
        pairs = [f"{x},{y}" for x, y in path.tolist()]
        rest = pairs[1:]
        lines.append(f"PU{pairs[0]};")
        lines += [f"PD{','.join(rest[i : i + POINTS_PER_LINE])};" for i in range(0, len(rest), POINTS_PER_LINE)]
    lines.append("PU0,0;SP0;")  # off the paper, and the pen away
    return "\n".join(lines) + "\n"
