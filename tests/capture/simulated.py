"""One small sheet, printed and written in by calculation, for the tests of reading."""

from functools import cache

import numpy as np

from capture.layout import lay_out
from capture.read import PageReading, read_page
from capture.sheet import Sheet
from tests.bench.capture_pages import Degrade, Picture, Written, print_page, take, write_cells

PLAIN = Degrade(dpi=200)


@cache
def sheet() -> Sheet:
    return lay_out([(c, 2) for c in "aegiknstxy?."], sheet_id="test-1", paper="A5", languages=("en",))


@cache
def printed() -> np.ndarray:
    return print_page(sheet(), sheet().pages[0])


@cache
def written() -> list[Written]:
    return write_cells(sheet().pages[0], seed=5, blank=0.15, ticked=0.15)


def picture(how: Degrade = PLAIN, cells: list[Written] | None = None) -> Picture:
    """Return a picture of the page."""
    return take(sheet().pages[0], printed(), written() if cells is None else cells, how)


@cache
def plain_picture() -> Picture:
    return picture()


@cache
def plain_reading() -> PageReading:
    """Return it as read; what is changed of it is changed in a copy."""
    return read_page(plain_picture().scan, lambda _: sheet())


def status_of(w: Written) -> str:
    return "spoiled" if w.ticked else "written" if w.strokes else "blank"
