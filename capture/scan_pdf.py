"""The pictures in a PDF: what an office scanner wraps, or a page drawn with lines and letters."""

from __future__ import annotations

import math
from collections.abc import Iterator

import cv2
import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as pdfium_c
from numpy.typing import NDArray

from capture.errors import NotAScanError
from capture.limits import MOST_PAGES_IN_FILE
from capture.scan_image import REMEDY_CUT, REMEDY_SIZE
from capture.units import MM_PER_INCH, MM_PER_POINT

DRAWN_DPI = 300.0
"""For a page without a picture in it."""

HIGHEST_DPI = 1200.0
"""Resolution at which a page is drawn at most, whatever its pictures have."""
_LONGEST_PX = 32_000.0
_POINTS_PER_INCH = MM_PER_INCH / MM_PER_POINT
_REMEDY_LOCKED = "Save it without a password, or export the pages as PNG."


def pdf_page_count(data: bytes) -> Iterator[int]:
    """Yield the number of pages of a PDF that can be opened, as `capture.bounded` wants it.

    Raises
    ------
    pypdfium2.PdfiumError
        If it cannot be opened.
    """
    document = pdfium.PdfDocument(data)
    try:
        # one with more is refused when its first page is asked for
        count = len(document)
        yield count if count <= MOST_PAGES_IN_FILE else 1
    finally:
        document.close()


def pdf_pictures(
    data: bytes, source: str, largest_px: int, kept_px: int, only: int | None = None
) -> Iterator[tuple[int, int, NDArray[np.uint8], float]]:
    """Yield page number, number of pages, RGB pixels, shape (h, w, 3), and dpi of each page in a PDF.

    A page that is one picture gives that picture's own pixels; any other is rendered at the resolution of the finest
    picture on it. Pages with more than `kept_px` pixels are rendered smaller.

    Raises
    ------
    NotAScanError
        If the PDF is locked, damaged, has more pages than scans have, or a picture in it more than `largest_px` pixels.
    """
    try:
        document = pdfium.PdfDocument(data)
    except pdfium.PdfiumError as error:
        if getattr(error, "err_code", None) in (pdfium_c.FPDF_ERR_PASSWORD, pdfium_c.FPDF_ERR_SECURITY):
            raise NotAScanError(source, "the PDF is locked with a password", _REMEDY_LOCKED) from None
        raise NotAScanError(source, "the PDF in it cannot be opened", REMEDY_CUT) from None
    try:
        count = len(document)
        if not count:
            raise NotAScanError(source, "the PDF has no pages", REMEDY_CUT)
        if count > MOST_PAGES_IN_FILE:
            what = f"the PDF has {count} pages, at most {MOST_PAGES_IN_FILE} are read"
            raise NotAScanError(source, what, "Split it.")
        for i in range(count) if only is None else range(only - 1, min(only, count)):
            try:
                page = document[i]
                pixels, dpi = _picture(page, source, largest_px, kept_px)
            except pdfium.PdfiumError:
                raise NotAScanError(source, f"page {i + 1} of the PDF cannot be opened", REMEDY_CUT) from None
            page.close()
            yield i + 1, count, pixels, dpi
    finally:
        document.close()


def _picture(page: pdfium.PdfPage, source: str, largest_px: int, kept_px: int) -> tuple[NDArray[np.uint8], float]:
    images = [o for o in page.get_objects(max_depth=4) if isinstance(o, pdfium.PdfImage)]
    dpis = []
    for image in images:
        width, height = image.get_px_size()
        if width * height > largest_px:
            raise NotAScanError(
                source,
                f"holds a picture of {width} x {height} pixels, at most {largest_px // 1_000_000} million are read",
                REMEDY_SIZE,
            )
        left, bottom, right, top = image.get_bounds()
        if min(right - left, top - bottom) > 0:
            inches = math.sqrt((right - left) * (top - bottom)) / _POINTS_PER_INCH
            dpis.append(math.sqrt(width * height) / inches)
    dpi = min(max(dpis, default=DRAWN_DPI), HIGHEST_DPI)
    if len(images) == 1 and not _has_drawing(page):
        pixels = _own_pixels(images[0], page)
        if pixels is not None and pixels.shape[0] * pixels.shape[1] <= kept_px and max(pixels.shape) <= _LONGEST_PX:
            return pixels, dpi
    inches2 = max(page.get_width() * page.get_height(), 1.0) / _POINTS_PER_INCH**2
    inches = max(page.get_width(), page.get_height(), 1.0) / _POINTS_PER_INCH
    dpi = min(max(dpi, 10.0), math.sqrt(kept_px / inches2), _LONGEST_PX / inches)
    bitmap = page.render(scale=dpi / _POINTS_PER_INCH, rev_byteorder=True)
    return _rgb(bitmap), dpi


def _has_drawing(page: pdfium.PdfPage) -> bool:
    """Return whether lines or shadings are drawn on the page; text may be what a scanner's reader added, unseen."""
    drawn = (pdfium_c.FPDF_PAGEOBJ_PATH, pdfium_c.FPDF_PAGEOBJ_SHADING)
    return any(True for _ in page.get_objects(filter=list(drawn), max_depth=4))


def _own_pixels(image: pdfium.PdfImage, page: pdfium.PdfPage) -> NDArray[np.uint8] | None:
    """Return the pixels of a picture that covers the whole page upright, so that nothing is sampled twice."""
    if _is_mask(image):
        return None  # it has no colours of its own, and as often as not its ones are what stays white
    m = image.get_matrix()
    covers = m.a > 0.9 * page.get_width() and m.d > 0.9 * page.get_height()
    if page.get_rotation() or not covers or abs(m.b) + abs(m.c) > 1e-3 * m.a:
        return None
    try:
        return _rgb(image.get_bitmap(render=False))
    except pdfium.PdfiumError:
        return None


def _is_mask(image: pdfium.PdfImage) -> bool:
    """Return whether a picture is a stencil through which the page's colour is painted (ISO 32000-1, 8.9.6.2)."""
    found = image.get_metadata()
    return bool(found.bits_per_pixel == 1 and found.colorspace == pdfium_c.FPDF_COLORSPACE_UNKNOWN)


def _rgb(bitmap: pdfium.PdfBitmap) -> NDArray[np.uint8]:
    pixels = bitmap.to_numpy()
    if pixels.ndim == 2 or pixels.shape[2] == 1:
        return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_GRAY2RGB), np.uint8)
    if bitmap.rev_byteorder:
        return np.array(pixels[..., :3], np.uint8)
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(pixels[..., :3]), cv2.COLOR_BGR2RGB), np.uint8)
