"""Plot-ready SVG 1.1: sizes in mm, one `<path>` for each time the pen is down, no fills, one layer for each pen.

Groups: `page-N` holds `pen-P` layers, these hold `line-P-L`, these the words. Where the paths were reordered for least
travel, lines and words lie apart and only page and pens are grouped: the order in the file is the order of drawing.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

import numpy as np

from ownhand.composer.plot.plot_page import PlotPage

STEPS_PER_MM = 100
"""Coordinates are rounded to 10 micrometres, a fifth of what pen plotters resolve (common practice, no source)."""

_REACH = 6000
_NUMBERS = [f"{n / STEPS_PER_MM:.2f}".rstrip("0").rstrip(".") for n in range(-_REACH, _REACH + 1)]
_NUMBERS[_REACH] = "0"


def _number(n: int) -> str:
    if -_REACH <= n <= _REACH:
        return _NUMBERS[n + _REACH]
    return f"{n / STEPS_PER_MM:.2f}".rstrip("0").rstrip(".")


def svg_text(page: PlotPage) -> str:
    """Return the page as an SVG document."""
    width, height = (f"{side:g}" for side in page.size_mm)
    title = escape(f"{page.family}, page {page.number}" if page.family else f"Page {page.number}", quote=False)
    head = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">\n<title>{title}</title>\n'
        f'<g id="page-{page.number}" fill="none" stroke-linecap="round" stroke-linejoin="round">\n'
    )
    body = "".join(_layers(page, path_data(page)))
    return f"{head}{body}</g>\n</svg>\n"


def path_data(page: PlotPage) -> list[str]:
    """Return the `d` of each path: an absolute start, then relative cubics, each rounded so that no error adds up.

    A dot is a line of 0.01 mm: programs drop paths without length.
    """
    if not len(page):
        return []
    q = np.rint(page.points_mm * STEPS_PER_MM).astype(np.int64)
    sizes = np.diff(page.starts)
    begin = np.repeat(page.starts[:-1], sizes)
    within = np.arange(len(q)) - begin
    base = begin + 3 * (np.maximum(within - 1, 0) // 3)
    delta = (q - q[base]).ravel()
    if len(delta) and max(delta.max(), -delta.min()) <= _REACH:
        numbers = list(map(_NUMBERS.__getitem__, (delta + _REACH).tolist()))
    else:
        numbers = [_number(n) for n in delta.tolist()]
    bounds = page.starts.tolist()
    starts = [f"M{_number(x)} {_number(y)}" for x, y in q[page.starts[:-1]].tolist()]
    join = " ".join
    return [
        f"{start}c{join(numbers[2 * a + 2 : 2 * b])}" if b - a > 1 else f"{start}h.01"
        for start, a, b in zip(starts, bounds, bounds[1:], strict=False)
    ]


def _layers(page: PlotPage, data: list[str]) -> Iterator[str]:
    """Yield the groups and paths of all layers."""
    if not data:
        return
    changes = np.flatnonzero(np.diff(page.line)) + 1
    in_order = len(set(page.line.tolist())) == len(changes) + 1 and bool(np.all(np.diff(page.word) >= 0))
    for pen in np.unique(page.pen).tolist():
        spec = page.pen_of(pen)
        name = f' class="{escape(spec.name, quote=False).replace(chr(34), "&quot;")}"' if spec.name else ""
        width = page.width_of(pen)
        yield f'<g id="pen-{pen}"{name} stroke="{spec.colour}" stroke-width="{width:.3g}">\n'
        own = np.flatnonzero(page.pen == pen)
        if in_order:
            yield from _words(page, data, own, pen)
        else:
            for k in own.tolist():
                yield f'<path d="{data[k]}"/>\n'
        yield "</g>\n"


def _words(page: PlotPage, data: list[str], own: np.ndarray, pen: int) -> Iterator[str]:
    """Yield the paths of one pen in a group for each line and word."""
    line = word = -1
    for k, of_line, of_word in zip(own.tolist(), page.line[own].tolist(), page.word[own].tolist(), strict=True):
        if of_line != line:
            yield "</g></g>\n" if line >= 0 else ""
            yield f'<g id="line-{pen}-{of_line + 1}"><g>\n'
        elif of_word != word:
            yield "</g><g>\n"
        line, word = of_line, of_word
        yield f'<path d="{data[k]}"/>\n'
    yield "</g></g>\n"
