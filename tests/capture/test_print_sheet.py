"""The sheet on paper, measured on renderings by programs we did not write."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import cv2
import numpy as np
import pypdfium2
import pytest
import resvg_py
import zxingcpp

from capture.code import page_from_payload, page_payload
from capture.drawing import BASELINE, FIRST_LABEL, GUIDE, LABEL, TICK, Frame, Words, draw_page
from capture.errors import UsageError
from capture.label_font import label_font
from capture.labels import name_of
from capture.languages import characters_for
from capture.layout import lay_out
from capture.print_sheet import page_svg, sheet_pdf, write_pdf
from capture.sheet import MARK_DICTIONARY
from capture.units import image_from_pixels, pixels_from_image

TITLE = "Lantern Point Lighthouse Museum: Postcard hand"
TEXT = "The lamp was lit at dusk, and Zażółć gęślą jaźń was written on the postcard beside it. " * 5


@pytest.fixture(scope="module")
def sheet():
    chars = characters_for(["en", "fr", "de", "pl", "es"])
    return lay_out(dict.fromkeys(chars, 2), sheet_id="lantern-1", languages=("en", "fr"), ruled_text=TEXT)


@pytest.fixture(scope="module")
def pdf(sheet):
    return sheet_pdf(sheet, title=TITLE)


def rendered(pdf: bytes, page: int, px_per_mm: int) -> np.ndarray:
    """Return an A4 page as RGB, by PDFium.

    PDFium stretches a page to whole pixels, so it is asked for a hair less than a whole number, which it rounds up.
    """
    document = pypdfium2.PdfDocument(pdf)
    try:
        picture = document[page].render(scale=(px_per_mm - 0.0002) * 25.4 / 72).to_pil().convert("RGB")
    finally:
        document.close()
    assert picture.size == (210 * px_per_mm, 297 * px_per_mm)
    return np.asarray(picture)


def rendered_svg(svg: str, px_per_mm: int) -> np.ndarray:
    """Return an SVG as RGB, by resvg."""
    png = bytes(resvg_py.svg_to_bytes(svg_string=svg, dpi=px_per_mm * 25.4))
    return cv2.cvtColor(cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)


def turned_back(points: np.ndarray, turned_shape: tuple[int, int], turns: int) -> np.ndarray:
    """Return pixel coordinates on the upright picture for those on one turned by `np.rot90(..., turns)`."""
    height, width = turned_shape
    for _ in range(turns):
        points = np.column_stack([height - 1 - points[:, 1], points[:, 0]])
        height, width = width, height
    return points


@pytest.mark.parametrize("paper", ["A4", "A5", "Letter", "200x250"])
def test_a_pdf_page_is_as_large_as_its_paper(paper):
    sheet = lay_out({"a": 2}, sheet_id="s", paper=paper)
    document = pypdfium2.PdfDocument(sheet_pdf(sheet))

    # ISO 32000-1, 8.3.2.3: the unit is 1/72 inch.
    assert document[0].get_size() == pytest.approx([side / 25.4 * 72 for side in sheet.pages[0].size_mm], abs=0.01)
    document.close()


def test_the_bar_is_a_hundred_millimetres_long(sheet, pdf):
    px_per_mm = 12
    grey = rendered(pdf, 0, px_per_mm).min(axis=2)
    x, y, length = sheet.pages[0].bar_mm
    row = int(y * px_per_mm)
    dark = np.flatnonzero(grey[row, : int((x + length + 5) * px_per_mm)] < 160)

    assert length == 100.0
    assert (dark[-1] + 1 - dark[0]) / px_per_mm == pytest.approx(100.0, abs=1 / px_per_mm)
    assert dark[0] / px_per_mm == pytest.approx(x, abs=1 / px_per_mm)
    ruler = np.flatnonzero(grey[int((y - 1.2) * px_per_mm), : int((x + length + 2) * px_per_mm)] < 160)
    assert (ruler[-1] + 1 - ruler[0]) / px_per_mm == pytest.approx(100.0, abs=1 / px_per_mm)


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_markers_are_where_the_sheet_says_without_any_offset(sheet, pdf, turn):
    page = sheet.pages[1]
    grey = cv2.cvtColor(rendered(pdf, 1, 16), cv2.COLOR_RGB2GRAY)
    turned = np.ascontiguousarray(np.rot90(grey, turn))
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARK_DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(turned)

    assert sorted(ids.ravel()) == [mark.id for mark in page.marks]
    marks = {mark.id: mark for mark in page.marks}
    offsets = []
    for quad, mark_id in zip(corners, ids.ravel(), strict=True):
        # The detector returns the outermost dark pixels; turned back, their mean is the centre of the marker, and a
        # constant offset of ours or of the detector's would show with another sign in each turn.
        points = turned_back(quad[0].astype(float), turned.shape, turn)
        found = image_from_pixels(points.mean(axis=0, keepdims=True), px_per_mm=16)[0]
        offsets.append(found - (marks[mark_id].x_mm, marks[mark_id].y_mm))
        # Its first corner is the marker's own top left: markers tell which way up the page lies.
        assert points[0, 0] < points[:, 0].mean() and points[0, 1] < points[:, 1].mean()
    assert np.abs(offsets).max() < 0.06
    assert np.abs(np.mean(offsets, axis=0)).max() < 0.02


def test_a_marker_is_inked_exactly_to_its_edges(sheet, pdf):
    px_per_mm = 24
    grey = rendered(pdf, 0, px_per_mm)[..., 0]
    for mark in (sheet.pages[0].marks[0], sheet.pages[0].marks[2]):
        half = mark.size_mm / 2
        # A line through the lower border, which is dark from edge to edge.
        row = round(pixels_from_image([[0, mark.y_mm + half - 0.5]], px_per_mm=px_per_mm)[0, 1])
        left, right = (int((mark.x_mm + side * (half + 1.5)) * px_per_mm) for side in (-1, 1))
        ink = (255 - grey[row, left:right].astype(float)) / 255
        centre_mm = image_from_pixels([[left + (ink * np.arange(len(ink))).sum() / ink.sum(), 0]], px_per_mm=px_per_mm)

        assert ink.sum() / px_per_mm == pytest.approx(mark.size_mm, abs=0.01)
        assert centre_mm[0, 0] == pytest.approx(mark.x_mm, abs=0.01)


def test_both_codes_of_every_page_are_read_at_152_dpi(sheet, pdf):
    for i, page in enumerate(sheet.pages):
        found = zxingcpp.read_barcodes(rendered(pdf, i, 6), formats=zxingcpp.BarcodeFormat.QRCode)

        assert [bytes(code.bytes) for code in found] == [page_payload(sheet, page)] * 2
        assert page_from_payload(bytes(found[0].bytes)).page == page


def test_one_code_is_enough_when_the_other_is_covered(sheet, pdf):
    px_per_mm = 6
    picture = rendered(pdf, 0, px_per_mm)
    for box in (sheet.pages[0].code_mm, sheet.pages[0].second_code_mm):
        covered = picture.copy()
        x, y, w, h = (int(v * px_per_mm) for v in box)
        covered[y : y + h, x : x + w // 2] = 90
        found = zxingcpp.read_barcodes(covered, formats=zxingcpp.BarcodeFormat.QRCode)

        assert page_payload(sheet, sheet.pages[0]) in [bytes(code.bytes) for code in found]


@pytest.mark.parametrize("number", [0, 2, -1])
def test_pdf_and_svg_are_the_same_picture(sheet, pdf, number):
    number = number % len(sheet.pages)
    one = rendered(pdf, number, 8)
    other = rendered_svg(page_svg(sheet, sheet.pages[number], title=TITLE), 8)
    # Both a little blurred: two renderers never shade an edge alike.
    difference = np.abs(
        cv2.GaussianBlur(one, (0, 0), 2.0).astype(int) - cv2.GaussianBlur(other, (0, 0), 2.0).astype(int)
    )

    assert difference.max() < 26
    assert difference.mean() < 0.5
    assert (one < 128).any(axis=2).mean() == pytest.approx((other < 128).any(axis=2).mean(), rel=0.03)


def test_the_same_sheet_gives_the_same_bytes(sheet, pdf):
    assert sheet_pdf(sheet, title=TITLE) == pdf
    assert page_svg(sheet, sheet.pages[0]) == page_svg(sheet, sheet.pages[0])


def test_a_viewer_is_asked_not_to_scale(pdf):
    # ISO 32000-1, table 150.
    assert re.search(rb"/PrintScaling\s*/None", pdf)


def test_the_fonts_are_embedded(pdf):
    fonts = re.findall(rb"/FontName\s*/(\S+)", pdf)

    assert len(fonts) >= 2
    assert pdf.count(b"/FontFile2") == len(fonts)
    assert all(b"SourceSansPro" in name for name in fonts)


def test_the_words_can_be_searched_for_in_the_pdf(sheet, pdf):
    document = pypdfium2.PdfDocument(pdf)
    text = document[0].get_textpage().get_text_bounded()
    document.close()

    assert TITLE in text
    assert "page 1 of" in text
    for part in ("captured for", "do not sign here", "never for signatures or cheques", "100 mm", "small L"):
        assert part in text


def test_the_consent_line_is_on_the_first_page_only(sheet):
    texts = [" ".join(s.text for s in draw_page(sheet, page) if isinstance(s, Words)) for page in sheet.pages]

    assert ["I agree that my handwriting is captured for" in text for text in texts] == [True] + [False] * (
        len(texts) - 1
    )
    assert all("only with its owner's consent" in text for text in texts)


def test_the_svg_holds_only_shapes_in_millimetres(sheet):
    root = ET.fromstring(page_svg(sheet, sheet.pages[0], title=TITLE))

    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("210mm", "297mm", "0 0 210 297")
    assert {element.tag.partition("}")[2] for element in root.iter()} <= {
        "svg", "defs", "title", "g", "path", "use", "line", "rect"
    }  # fmt: skip


def test_guides_are_bright_where_all_pens_are_dark():
    # The green channel keeps paper and guides apart from black, blue and red ink (a green filter takes blue and red
    # light away); sRGB values of ball-point inks: common practice, no source.
    pens = {"black": (35, 35, 40), "blue": (40, 60, 150), "red": (190, 40, 50), "pale blue": (110, 130, 200)}

    assert min(GUIDE[1], BASELINE[1]) - max(pen[1] for pen in pens.values()) > 70
    # A printer without colour prints the luma (ITU-R BT.601).
    luma = [sum(c * w for c, w in zip(colour, (0.299, 0.587, 0.114), strict=True)) for colour in (GUIDE, BASELINE)]
    assert luma[0] > 215 and luma[1] > 180


def test_no_label_leaves_its_place(sheet):
    font = label_font()
    for page in sheet.pages:
        shapes = draw_page(sheet, page)
        places = [cell.label_mm for cell in page.cells]
        words = [s for s in shapes if isinstance(s, Words) and s.colour == LABEL and not page.ruled]
        words = [s for s in words if not is_number(s, page)]
        for word in words:
            right = word.x + font.width_mm(word.text, word.size)
            assert any(x - 0.01 <= word.x and right <= x + w + 0.01 and y <= word.y <= y + h for x, y, w, h in places)
        assert sum(isinstance(s, Frame) and s.colour == TICK for s in shapes) == len(page.cells)


def is_number(word: Words, page) -> bool:
    """Return whether a word is the number of a row or column: it begins left of every cell's label."""
    return word.text.isdigit() and not any(x <= word.x <= x + w and y <= word.y <= y + h for x, y, w, h in (
        cell.label_mm for cell in page.cells
    ))  # fmt: skip


def test_names_are_printed_large_enough_to_read(sheet):
    words = [s for page in sheet.pages for s in draw_page(sheet, page) if isinstance(s, Words)]

    # 1.7 mm is 4.8 pt: the smallest print that timetables use (common practice, no source).
    assert min(s.size for s in words) >= 1.7
    names = {s.text: s.size for s in words if s.text in {name_of(c.char) for p in sheet.pages for c in p.cells}}
    assert "capital" in names
    assert min(names.values()) >= 2.3


def test_a_name_is_printed_once_over_a_group_of_attempts():
    sheet = lay_out({"S": 3, "a": 2, "Z": 2}, sheet_id="s")
    words = [s.text for s in draw_page(sheet, sheet.pages[0]) if isinstance(s, Words)]

    assert words.count("capital") == 2
    assert words.count("S") == 3


def test_names_and_labels_stand_out_from_the_paper():
    # WCAG 2.2: relative luminance, contrast ratio, and 4.5 to 1 for small text (success criterion 1.4.3).
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in LABEL)]
    luminance = sum(share * c for share, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    assert 1.05 / (luminance + 0.05) >= 4.5


def test_rows_and_columns_are_numbered_where_nobody_writes(sheet):
    font = label_font()
    for page in sheet.pages:
        numbers = [
            s for s in draw_page(sheet, page) if isinstance(s, Words) and s.colour == LABEL and is_number(s, page)
        ]
        rows = {cell.row for cell in page.cells}

        assert sorted(int(s.text) for s in numbers) == sorted([*rows, *(cell.column for cell in page.cells)])
        for s in numbers:
            left, right, top = s.x, s.x + font.width_mm(s.text, s.size), s.y - 0.7 * s.size
            assert left > 14.5, "clear of the markers"
            for x, y, w, h in (box for cell in page.cells for box in (cell.box_mm, cell.tick_mm)):
                assert right <= x + 1e-6 or left >= x + w - 1e-6 or s.y <= y or top >= y + h
            for cell in page.cells:
                x, y, w, h = cell.label_mm
                assert right <= x or left >= x + w or s.y <= y or top >= y + h


def test_a_sheet_of_the_first_layout_is_printed_again_as_it_was(sheet):
    old = lay_out({"a": 2, "I": 2}, sheet_id="s", layout=1)
    words = [s for s in draw_page(old, old.pages[0]) if isinstance(s, Words) and s.colour == FIRST_LABEL]

    assert [(s.text, s.size) for s in words] == [
        ("a", 3.3), ("a", 3.3), ("I", 3.3), ("capital i", 1.85), ("I", 3.3), ("capital i", 1.85),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "languages", [["vi"], ["el", "ru", "bg", "sr", "uk"], ["cs", "hu", "tr", "is", "lv", "ro", "mt"]]
)
def test_the_label_font_covers_the_languages_of_europe_and_vietnamese(languages):
    font = label_font()

    assert [char for char in characters_for(languages) if not font.covers(char)] == []


def test_a_character_that_the_label_font_lacks_is_printed_by_number():
    sheet = lay_out({"永": 2}, sheet_id="s")
    words = [shape.text for shape in draw_page(sheet, sheet.pages[0]) if isinstance(shape, Words)]

    assert words.count("U+6C38") == 2


@pytest.mark.parametrize("title", ["永 👋 hand", "a\x00b\nc", "x" * 400, "\ud800", "Việt \u0301", "</title><script>"])
def test_any_title_and_text_can_be_printed(title):
    sheet = lay_out({"👋": 2, "а́": 2, "\u0301": 2}, sheet_id="s", ruled_text="w" * 300 + " 永 ok")

    assert sheet_pdf(sheet, title=title).startswith(b"%PDF-")
    for page in sheet.pages:
        ET.fromstring(page_svg(sheet, page, title=title))
        for shape in draw_page(sheet, page, title=title):
            if isinstance(shape, Words):
                assert shape.x + label_font(bold=shape.bold).width_mm(shape.text, shape.size) < 200


def test_a_page_that_says_more_than_a_code_can_hold_is_refused():
    counts = {chr(0x4E00 + i * i % 20000): 2 for i in range(6000)}
    sheet = lay_out(counts, sheet_id="s", paper="A2", x_height_mm=1.5)

    with pytest.raises(UsageError, match="more than its code can say"):
        sheet_pdf(sheet)


def test_the_pdf_is_written_whole(sheet, tmp_path):
    written = write_pdf(sheet, tmp_path / "sheet.pdf", title=TITLE)

    assert written.read_bytes().startswith(b"%PDF-")
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.pdf"]
