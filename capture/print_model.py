"""What the printer put on the page, as the straightened scan should show it: the model that ink is split from."""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pypdfium2 as pdfium
from numpy.typing import NDArray
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from capture.drawing import BLACK, TEXT, Colour, Line, Shape, Words, draw_form
from capture.drawing import Frame as FrameShape
from capture.ink import PrintLayer
from capture.label_font import font_path
from capture.sheet import Page, Sheet
from capture.units import MM_PER_POINT

_NOT_MODELLED = (BLACK, TEXT)
"""Marks, codes and instructions: nobody writes there."""

_CHANNELS: tuple[Colour, ...] = ((0, 1, 1), (1, 0, 1), (1, 1, 0))
"""Each layer is painted so that it darkens one channel alone: one rendering gives three of them."""


@dataclass(frozen=True)
class PrintModel:
    """What is printed on a page where somebody writes, painted once to be rendered at several resolutions."""

    size_mm: tuple[float, float]
    paintings: tuple[tuple[bytes, tuple[Colour, ...]], ...]
    """PDFs of one page, each with the colours that its three channels show."""

    def layers(self, px_per_mm: float) -> tuple[PrintLayer, ...]:
        """Return a layer for each colour.

        Frame: page; the corner pixel's centre is half a pixel inside the page. Each coverage has the shape that
        `PageView.pixels` gives for the whole page.
        """
        layers = []
        for pdf, colours in self.paintings:
            image = _rendered(pdf, self.size_mm, px_per_mm)
            layers += [
                PrintLayer(name_of_colour(colour), 255 - np.ascontiguousarray(image[..., k]))
                for k, colour in enumerate(colours)
            ]
        return tuple(layers)


def print_model(sheet: Sheet, page: Page) -> PrintModel:
    """Return the model of what is printed on a page where somebody writes."""
    shapes = [s for s in draw_form(sheet, page) if s.colour not in _NOT_MODELLED]
    colours = sorted({s.colour for s in shapes})
    paintings = []
    for first in range(0, len(colours), len(_CHANNELS)):
        channel = dict(zip(colours[first:], _CHANNELS, strict=False))
        painted = [(s, channel[s.colour]) for s in shapes if s.colour in channel]
        paintings.append((_painted(painted, *page.size_mm), tuple(channel)))
    return PrintModel(page.size_mm, tuple(paintings))


def name_of_colour(colour: Colour) -> str:
    """Return '#rrggbb'."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _rendered(pdf: bytes, size_mm: tuple[float, float], px_per_mm: float) -> NDArray[np.uint8]:
    width, height = (round(s * px_per_mm) for s in size_mm)
    document = pdfium.PdfDocument(pdf)
    try:
        # The page is cut, or widened, to whole pixels, and a hair less is asked for than its resolution: PDFium would
        # round up, add a pixel and stretch everything to it.
        page = document[0]
        top = size_mm[1] / MM_PER_POINT
        page.set_mediabox(0, top - height / px_per_mm / MM_PER_POINT, width / px_per_mm / MM_PER_POINT, top)
        bitmap = page.render(scale=MM_PER_POINT * px_per_mm * (1 - 1e-7), rev_byteorder=True)
        return np.array(bitmap.to_numpy()[:height, :width, :3], np.uint8)
    finally:
        document.close()


def _painted(shapes: Iterable[tuple[Shape, Colour]], width_mm: float, height_mm: float) -> bytes:
    """Return a PDF of one page with the shapes in the given colours (0 or 1 in each channel)."""
    for bold in (False, True):
        if _font_name(bold) in pdfmetrics.getRegisteredFontNames():
            continue  # reading a font takes longer than all the rest
        pdfmetrics.registerFont(TTFont(_font_name(bold), str(font_path(bold=bold))))
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(width_mm / MM_PER_POINT, height_mm / MM_PER_POINT), pageCompression=0)
    canvas.scale(1 / MM_PER_POINT, 1 / MM_PER_POINT)
    last: tuple[Colour | None, float] = (None, 0.0)
    for shape, colour in shapes:
        width = shape.width if isinstance(shape, Line | FrameShape) else last[1]
        if colour != last[0]:  # writing numbers takes most of the time
            canvas.setFillColorRGB(*colour)
            canvas.setStrokeColorRGB(*colour)
        if width != last[1]:
            canvas.setLineWidth(width)
        last = colour, width
        if isinstance(shape, Words):
            canvas.setFont(_font_name(shape.bold), shape.size)
            canvas.drawString(shape.x, height_mm - shape.y, shape.text)
        elif isinstance(shape, Line):
            canvas.line(shape.x1, height_mm - shape.y1, shape.x2, height_mm - shape.y2)
        elif isinstance(shape, FrameShape):
            x, y, w, h = shape.box
            canvas.rect(x, height_mm - y - h, w, h, stroke=1, fill=0)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _font_name(bold: bool) -> str:
    return "model-bold" if bold else "model"


def nominal_density(layer: PrintLayer, channels: int) -> NDArray[np.float64]:
    """Return the natural density that a layer has on a faithful scan; shape (channels,)."""
    rgb = np.array([int(layer.name[i : i + 2], 16) for i in (1, 3, 5)], float)
    seen = rgb if channels == 3 else np.array([rgb @ [0.299, 0.587, 0.114]])  # luma of ITU-R BT.601
    return np.asarray(-np.log(seen / 255))
