"""A sheet on paper: PDF at true scale, and SVG, both from `capture.drawing`."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from capture.drawing import Fill, Line, Said, Shape, Words, draw_page, in_print
from capture.files import write_bytes
from capture.label_font import font_path, label_font
from capture.sheet import Page, Sheet
from capture.units import MM_PER_POINT

_FONT_NAMES = {False: "ownhand-label", True: "ownhand-label-bold"}


def sheet_pdf(sheet: Sheet, *, title: str = "", said: Said | None = None) -> bytes:
    """Return all pages as one PDF, at true scale, its fonts embedded.

    The same sheet and title give the same bytes. Viewers are asked not to scale it (ISO 32000-1, 12.2: PrintScaling).
    """
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    for bold, name in _FONT_NAMES.items():
        pdfmetrics.registerFont(TTFont(name, str(font_path(bold=bold))))
    out = io.BytesIO()
    canvas = Canvas(out, invariant=1, pageCompression=1)
    canvas.setTitle(in_print(title) or f"Handwriting sheet {sheet.id}")
    canvas.setCreator("ownhand")
    canvas.setViewerPreference("PrintScaling", "None")
    for page in sheet.pages:
        width, height = page.size_mm
        canvas.setPageSize((width / MM_PER_POINT, height / MM_PER_POINT))
        # From here on units are mm; y is turned over shape by shape, since turning the axes would mirror the text.
        canvas.scale(1 / MM_PER_POINT, 1 / MM_PER_POINT)
        for shape in draw_page(sheet, page, title=title, said=said):
            _paint(canvas, shape, height)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def write_pdf(sheet: Sheet, path: Path, *, title: str = "", said: Said | None = None) -> Path:
    """Write all pages as one PDF at true scale; see `sheet_pdf`.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    return write_bytes(path, sheet_pdf(sheet, title=title, said=said))


def page_svg(sheet: Sheet, page: Page, *, title: str = "", said: Said | None = None) -> str:
    """Return one page as SVG 1.1 in mm, its words drawn as outlines so that it looks the same everywhere."""
    import svgwrite

    width, height = page.size_mm
    drawing = svgwrite.Drawing(size=(f"{width:g}mm", f"{height:g}mm"), viewBox=f"0 0 {width:g} {height:g}", debug=False)
    drawing.set_desc(title=f"{in_print(title) or 'Handwriting sheet'}: sheet {sheet.id}, page {page.page}")
    drawing.add(drawing.rect((0, 0), (_trim(width), _trim(height)), fill="#ffffff"))
    glyphs: dict[tuple[str, bool], str] = {}
    for shape in draw_page(sheet, page, title=title, said=said):
        _add(drawing, shape, glyphs)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{drawing.tostring()}\n'


def _paint(canvas: Any, shape: Shape, height: float) -> None:
    """Paint one shape on a reportlab canvas scaled to mm."""
    red, green, blue = (part / 255 for part in shape.colour)
    if isinstance(shape, Words):
        canvas.setFillColorRGB(red, green, blue)
        canvas.setFont(_FONT_NAMES[shape.bold], shape.size)
        canvas.drawString(shape.x, height - shape.y, shape.text)
    elif isinstance(shape, Fill):
        canvas.setFillColorRGB(red, green, blue)
        path = canvas.beginPath()
        for x, y, w, h in shape.boxes:
            path.rect(x, height - y - h, w, h)
        canvas.drawPath(path, stroke=0, fill=1)
    else:
        canvas.setStrokeColorRGB(red, green, blue)
        canvas.setLineWidth(shape.width)
        if isinstance(shape, Line):
            canvas.line(shape.x1, height - shape.y1, shape.x2, height - shape.y2)
        else:
            x, y, w, h = shape.box
            canvas.rect(x, height - y - h, w, h, stroke=1, fill=0)


def _add(drawing: Any, shape: Shape, glyphs: dict[tuple[str, bool], str]) -> None:
    """Add one shape to an SVG drawing in mm; `glyphs` holds the ids of the outlines already defined."""
    colour = "#{:02x}{:02x}{:02x}".format(*shape.colour)
    if isinstance(shape, Words):
        _add_words(drawing, shape, glyphs, colour)
    elif isinstance(shape, Fill):
        data = "".join(f"M{_trim(x)} {_trim(y)}h{_trim(w)}v{_trim(h)}h{_trim(-w)}z" for x, y, w, h in shape.boxes)
        drawing.add(drawing.path(d=data, fill=colour))
    elif isinstance(shape, Line):
        ends = (_trim(shape.x1), _trim(shape.y1)), (_trim(shape.x2), _trim(shape.y2))
        drawing.add(drawing.line(*ends, stroke=colour, stroke_width=shape.width))
    else:
        x, y, w, h = (_trim(v) for v in shape.box)
        drawing.add(drawing.rect((x, y), (w, h), fill="none", stroke=colour, stroke_width=shape.width))


def _add_words(drawing: Any, words: Words, glyphs: dict[tuple[str, bool], str], colour: str) -> None:
    font = label_font(bold=words.bold)
    scale = words.size / font.units_per_em
    place = f"translate({_trim(words.x)} {_trim(words.y)}) scale({scale:.6f} {-scale:.6f})"
    group = drawing.g(fill=colour, transform=place)
    at = 0.0
    for char in words.text:
        outline = font.outline(char)
        if outline:
            key = (font.glyph_name(char), words.bold)
            if key not in glyphs:
                glyphs[key] = f"g{len(glyphs)}"
                drawing.defs.add(drawing.path(d=outline, id=glyphs[key]))
            group.add(drawing.use(f"#{glyphs[key]}", insert=(_trim(at), 0)))
        at += font.advance(char) * font.units_per_em
    drawing.add(group)


def _trim(value: float) -> float:
    return round(value, 4)
