"""HP-GL: IN, SP, PU, PD with absolute coordinates of 40 units to the mm.

As in Hewlett-Packard's interfacing and programming manuals (7475A, 1983): x to the right, y up, zero at the bottom left
corner of the paper; or of the bed, when a machine is given.
"""

from __future__ import annotations

import numpy as np

from ownhand.composer.plot.machine import Machine, check_bed
from ownhand.composer.plot.plot_page import PlotPage, flatten

UNITS_PER_MM = 40
POINTS_PER_LINE = 40
"""Long instructions are cut: plotters have small buffers (common practice, no source)."""


def hpgl_text(page: PlotPage, machine: Machine | None = None) -> str:
    """Return the page as HP-GL.

    Raises
    ------
    UsageError
        If the writing would leave the bed of the machine.
    """
    if machine is not None:
        check_bed(page, machine)
    frame = machine or Machine(bed_mm=page.size_mm)
    points, starts = flatten(page.points_mm, page.starts, within_mm=0.5 / UNITS_PER_MM)
    q = np.rint(frame.bed_from_page(points) * UNITS_PER_MM).astype(np.int64) if len(points) else np.zeros((0, 2), int)
    lines = ["IN;"]
    speed = f"VS{max(1, round(frame.draw_mm_s / 10))};" if machine is not None else ""
    bounds = starts.tolist()
    pen = 0
    for k in range(len(page)):
        if int(page.pen[k]) != pen:
            pen = int(page.pen[k])
            lines.append(f"PU;SP{pen};{speed}")
        path = q[bounds[k] : bounds[k + 1]]
        if len(path) > 1:
            path = path[np.concatenate([[True], np.any(np.diff(path, axis=0) != 0, axis=1)])]
        pairs = [f"{x},{y}" for x, y in path.tolist()]
        rest = pairs[1:]
        lines.append(f"PU{pairs[0]};" if rest else f"PU{pairs[0]};PD{pairs[0]};")
        lines += [f"PD{','.join(rest[i : i + POINTS_PER_LINE])};" for i in range(0, len(rest), POINTS_PER_LINE)]
    lines.append("PU;SP0;")
    return "\n".join(lines) + "\n"
