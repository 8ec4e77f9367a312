"""Files a composed page can become, one a module."""

from __future__ import annotations

from capture.errors import UsageError
from ownhand.composer.formats.gcode import gcode_text
from ownhand.composer.formats.hpgl import hpgl_text
from ownhand.composer.formats.png import png_bytes
from ownhand.composer.formats.replay import replay_html
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.plot.machine import Machine, check_bed
from ownhand.composer.plot.nib import pulled
from ownhand.composer.plot.plot_page import PlotPage

FORMATS = ("svg", "hpgl", "gcode", "png", "html")
MEDIA_TYPES = {
    "svg": "image/svg+xml",  # SVG 1.1, appendix P
    "hpgl": "application/vnd.hp-hpgl",  # registered with IANA
    "gcode": "text/x-gcode",
    "png": "image/png",
    "html": "text/html; charset=utf-8",
}
SUFFIXES = {"svg": ".svg", "hpgl": ".hpgl", "gcode": ".gcode", "png": ".png", "html": ".html"}
KINDS = {".svg": "svg", ".hpgl": "hpgl", ".plt": "hpgl", ".gcode": "gcode", ".nc": "gcode", ".png": "png"}
"""Kind of file by suffix of the output."""

PREVIEW_DPI = 150.0


def for_machine(page: PlotPage, machine: Machine | None) -> PlotPage:
    """Return a page as the machine's pen is led over it.

    Raises
    ------
    UsageError
        If the writing would leave the machine's bed.
    """
    if machine is None:
        return page
    check_bed(page, machine)
    return page if machine.pulled_deg is None else pulled(page, machine.pulled_deg)


def page_bytes(page: PlotPage, kind: str, machine: Machine | None = None, *, dpi: float = PREVIEW_DPI) -> bytes:
    """Return a page as a file of one of `FORMATS`.

    Raises
    ------
    UsageError
        If there is no such format, or the writing would leave the machine's bed.
    """
    if kind not in FORMATS:
        raise UsageError("format", f"no format '{kind}'", f"Use {', '.join(FORMATS)}.")
    page = for_machine(page, machine)
    if kind == "png":
        return png_bytes(page, dpi=dpi)
    if kind == "svg":
        return svg_text(page).encode()
    if kind == "hpgl":
        return hpgl_text(page, machine).encode("ascii")
    if kind == "gcode":
        return gcode_text(page, machine).encode("ascii")
    return replay_html(page, machine).encode()
