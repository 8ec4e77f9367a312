"""Lettering along a curve: written straight as any line is, then bent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from capture.errors import UsageError
from ownhand.composer.composer import Composer
from ownhand.composer.composition import Composition
from ownhand.composer.layout.along_curve import Baseline, baseline_of, bent
from ownhand.composer.plot.drawings import strokes_of_path
from ownhand.composer.plot.plot_page import PlotPage, over_edge
from ownhand.composer.settings.additions import Curve
from ownhand.composer.settings.paper_sizes import LARGEST_MM, SMALLEST_MM
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.text_box import TextBox

STRAIGHT_HEIGHTS = 20.0
"""Height of the strip on which a curve's line is first written straight, in x-heights."""


def lettering(
    curve: Curve, composer: Composer, baseline: Baseline, text: str, settings: Settings, seed: int
) -> Composition:
    """Return a page with a text along a curve: first written straight, on a strip of its own, then bent.

    Raises
    ------
    UsageError
        If the text is longer than its curve, or than can be written straight first, or reaches over the margins.
    """
    what = f"curve '{curve.name}'"
    length = baseline.length_mm
    size = curve.x_height_mm or settings.x_height_mm or composer.written_x_height_mm
    tall = max(STRAIGHT_HEIGHTS * size, SMALLEST_MM)
    # wide enough that no line breaks: whether the text is too long for its curve is said by `bent`
    wide = max(length, 10.0) + 40 * size + 2 * size * len(text)
    if wide > LARGEST_MM or tall > LARGEST_MM:
        long = f"{len(text)} characters, {size:g} mm high, are more than is written along a curve of {length:.0f} mm"
        raise UsageError(what, long, "Write it as several curves, shorten the text, or write smaller.")
    box = TextBox(curve.name, 0.0, 0.0, wide, tall, x_height_mm=size, pen=curve.pen, fit=False)
    life = replace(settings.life, margin=0.0, slope=0.0, level=0.0, drift=0.0)
    straight = replace(
        settings, paper=(wide, tall), landscape=False, margins_mm=(0.0, 0.0, 0.0, 0.0), boxes=(box,), ruling=None,
        align="left", life=life, lists=False, indent_mm=0.0,
    )  # fmt: skip
    made = composer.compose({curve.name: " ".join(text.split())}, straight, seed)
    page = made.pages[0]
    m = composer.font.metrics
    stands = max(m.ascender, m.cap_height) * size / m.x_height + page.width_of(curve.pen) / 2
    x0, _, x1, _ = page.bounds_mm()
    free = length - (x1 - x0)
    shift = {"left": 0.0, "centre": free / 2, "right": free}[curve.align] - x0
    straight_page = replace(page, points_mm=page.points_mm + np.array([max(shift, -x0), 0.0]))
    done = bent(straight_page, baseline, baseline_mm=stands, what=what)
    done = replace(done, size_mm=settings.size_mm, margins_mm=settings.margins_mm)
    check_margins(done, settings, what)
    return replace(made, pages=(done,))


def curve_baseline(curve: Curve) -> Baseline:
    """Return the line on which a curve's letters stand.

    Raises
    ------
    UsageError
        If its path is not one line, or is longer than any paper.
    """
    what = f"curve '{curve.name}'"
    strokes = strokes_of_path(curve.path, what=what)
    if len(strokes) != 1:
        raise UsageError(what, f"its path has {len(strokes)} parts", "Write it as one line, with one M.")
    return baseline_of(strokes[0], what=what)


def check_margins(page: PlotPage, settings: Settings, what: str) -> None:
    """Refuse what reaches over the margins of a page; `what` is called so.

    Raises
    ------
    UsageError
        If it does.
    """
    width, height = settings.size_mm
    top, right, bottom, left = settings.margins_mm
    if over_edge(page, (left, width - right), (top, height - bottom), slack_mm=0.05):
        x0, y0, x1, y1 = page.bounds_mm()
        raise UsageError(
            what,
            f"it reaches from {x0:.1f}, {y0:.1f} to {x1:.1f}, {y1:.1f} mm, over the margins ({top:g}, {right:g}, "
            f"{bottom:g}, {left:g} mm) of a page of {width:g} x {height:g} mm",
            "Make it smaller, move it, or make the margins narrower.",
        )
