"""Pictures of characters that were not read as they were written: found strokes left, written ones right."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.units import Points, pixels_from_image, px_per_mm
from tests.bench.trace_data import Case
from tests.bench.trace_rows import Result, Setting, picture

COLOURS = [(0, 0, 220), (220, 80, 0), (0, 150, 0), (200, 0, 200), (0, 140, 220), (120, 120, 0), (90, 90, 90)]


def write_pictures(to: Path, cases: list[Case], found: list[Result], setting: Setting) -> None:
    """Write a picture of every character that was not read in full."""
    to.mkdir(parents=True, exist_ok=True)
    for i, (case, r) in enumerate(zip(cases, found, strict=True)):
        if r.score.full:
            continue
        image, off = picture(case, setting, i)
        both = [_overlay(image, strokes, setting.dpi) for strokes in (r.strokes, [t + off for t in case.strokes])]
        safe = "".join(ch if ch.isalnum() else "_" for ch in case.name)
        cv2.imwrite(str(to / f"{safe}.png"), np.hstack(both))


def _overlay(image: NDArray[np.uint8], strokes: list[Points], dpi: float) -> NDArray[np.uint8]:
    k = 4
    big = cv2.cvtColor(cv2.resize(image, None, fx=k, fy=k, interpolation=cv2.INTER_NEAREST), cv2.COLOR_GRAY2BGR)
    out = (255 - 0.35 * (255 - big.astype(float))).astype(np.uint8)
    for j, s in enumerate(strokes):
        q = (pixels_from_image(s, px_per_mm=px_per_mm(dpi)) + 0.5) * k - 0.5
        colour = COLOURS[j % len(COLOURS)]
        cv2.polylines(out, [np.round(q * 16).astype(np.int32)], False, colour, 1, cv2.LINE_AA, 4)
        x, y = (round(float(v)) for v in q[0])
        cv2.circle(out, (x, y), 5, colour, -1)
        cv2.putText(out, str(j + 1), (x + 5, y + 5), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (0, 0, 0), 1)
        if len(q) > 6:
            m = len(q) // 3
            a, b = ((round(float(v[0])), round(float(v[1]))) for v in (q[m], q[m + 4 if m + 4 < len(q) else -1]))
            cv2.arrowedLine(out, a, b, colour, 1, cv2.LINE_AA, tipLength=1.5)
    return out
