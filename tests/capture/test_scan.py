"""Reading files: every kind gives the same pixels, and no bytes give anything but pixels or one clear line."""

import io
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pillow_heif
import pypdfium2 as pdfium
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from capture.errors import NotAScanError, OwnhandError
from capture.scan import Scan, count_scans, load_scans
from tests.bench.capture_files import scans_from_bytes


def drawing(width: int = 60, height: int = 40) -> np.ndarray:
    """A grey wedge with a dark bar, so that turning and inverting show."""
    pixels = np.tile(np.linspace(250, 120, width).astype(np.uint8), (height, 1))
    pixels[5:10, 3:30] = 20
    return pixels


def as_bytes(image: Image.Image, kind: str, **options) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def pdf_of(*images: Image.Image, dpi: float = 150, encrypt: str | None = None) -> bytes:
    out = io.BytesIO()
    canvas = Canvas(out, encrypt=encrypt)
    for image in images:
        size = image.width / dpi * 72, image.height / dpi * 72
        canvas.setPageSize(size)
        canvas.drawImage(ImageReader(image), 0, 0, *size)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def the_scan(data: bytes) -> Scan:
    (scan,) = scans_from_bytes(data, "page1")
    return scan


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_grey_pixels_come_back_as_they_were(kind):
    scan = the_scan(as_bytes(Image.fromarray(drawing()), kind, dpi=(300, 300)))

    assert np.array_equal(scan.pixels, drawing())
    assert scan.dpi == pytest.approx(300, rel=0.001)


def test_colour_that_is_only_grey_is_read_as_grey():
    scan = the_scan(as_bytes(Image.fromarray(drawing()).convert("RGB"), "PNG"))

    assert scan.pixels.ndim == 2


@pytest.mark.parametrize("mode", ["1", "P", "RGB", "RGBA", "LA", "CMYK", "I;16", "I", "F"])
def test_every_way_to_store_a_picture_gives_8_bits_dark_on_light(mode):
    deep = Image.fromarray(drawing().astype(np.uint16) * 257)
    image = deep if mode == "I;16" else Image.fromarray(drawing()).convert(mode)
    scan = the_scan(as_bytes(image, "TIFF" if mode in ("CMYK", "F", "I", "1") else "PNG"))

    assert scan.pixels.dtype == np.uint8
    assert scan.pixels[7, 10] < 60 < 200 < scan.pixels[20, 3]


def test_what_is_transparent_is_paper():
    image = np.zeros((10, 10, 4), np.uint8)
    image[4, :, 3] = 255
    scan = the_scan(as_bytes(Image.fromarray(image), "PNG"))

    assert scan.pixels[0, 0] == 255 and scan.pixels[4, 0] == 0


def test_a_photo_is_turned_as_its_camera_says():
    exif = Image.Exif()
    exif[274] = 6  # EXIF 2.32, orientation: the top of the picture is at the right
    data = as_bytes(Image.fromarray(drawing()), "JPEG", exif=exif, quality=95)

    scan = the_scan(data)

    assert scan.pixels.shape == (60, 40)
    assert scan.pixels[10, 32] < 80


def test_a_tiff_with_three_pages_gives_three_scans_in_order():
    pages = [Image.fromarray(drawing() // k) for k in (1, 2, 3)]
    data = as_bytes(pages[0], "TIFF", save_all=True, append_images=pages[1:])

    scans = list(scans_from_bytes(data, "office.tif"))

    assert [s.index for s in scans] == [1, 2, 3]
    assert scans[2].place == "office.tif, page 3"
    assert np.array_equal(scans[2].pixels, drawing() // 3)


def test_a_pdf_gives_the_pixels_of_the_pictures_in_it():
    data = pdf_of(Image.fromarray(drawing(300, 200)), Image.fromarray(drawing(300, 200)).rotate(180))

    first, second = scans_from_bytes(data, "office.pdf")

    assert np.array_equal(first.pixels, drawing(300, 200))
    assert np.array_equal(second.pixels, drawing(300, 200)[::-1, ::-1])
    assert first.dpi == pytest.approx(150, rel=0.01)


def test_a_bilevel_pdf_keeps_the_black_and_white_of_its_picture():
    # CCITT group 4 or JBIG2 in office scanners; reportlab writes Flate. All reach us through the same decoder.
    data = pdf_of(Image.fromarray(drawing(300, 200)).convert("1"))

    scan = the_scan(data)

    assert set(np.unique(scan.pixels)) <= {0, 255}
    assert scan.pixels.shape == (200, 300)


def test_a_pdf_page_that_is_turned_is_rendered_turned():
    document = pdfium.PdfDocument(pdf_of(Image.fromarray(drawing(300, 200))))
    document[0].set_rotation(90)
    out = io.BytesIO()
    document.save(out)

    scan = the_scan(out.getvalue())

    assert abs(scan.pixels.shape[0] - 300) <= 1 and abs(scan.pixels.shape[1] - 200) <= 1
    assert scan.pixels[15, 200 - 8] < 60


def test_heic_is_read_where_its_reader_is_installed():
    pillow_heif.register_heif_opener()
    scan = the_scan(as_bytes(Image.fromarray(drawing(64, 48)).convert("RGB"), "HEIF", quality=95))

    assert scan.pixels.shape[:2] == (48, 64)


def noise() -> Image.Image:
    return Image.fromarray(np.random.default_rng(1).integers(0, 255, (300, 400), np.uint8))


@cache
def far_too_large() -> bytes:
    return as_bytes(Image.new("1", (30000, 30000)), "PNG", compress_level=1)


def locked() -> bytes:
    return pdf_of(Image.fromarray(drawing(400, 300)), encrypt="lantern")


DAMAGED: dict[str, Callable[[], bytes]] = {
    "empty": lambda: b"",
    "text": lambda: b"Dear museum, thank you for the postcard.",
    "half a PNG": lambda: as_bytes(noise(), "PNG")[:20000],
    "half a JPEG": lambda: as_bytes(noise(), "JPEG")[:20000],
    "half a TIFF": lambda: as_bytes(noise(), "TIFF")[:20000],
    "half a PDF": lambda: pdf_of(noise())[:20000],
    "a PDF without pages": lambda: b"%PDF-1.4\n%%EOF",
    "a locked PDF": locked,
    "an image far too large": far_too_large,
}


@pytest.mark.parametrize("case", sorted(DAMAGED))
def test_what_cannot_be_read_is_refused_in_one_line_with_a_remedy(case):
    with pytest.raises(NotAScanError) as caught:
        list(scans_from_bytes(DAMAGED[case](), "page1.png"))

    message = str(caught.value)
    assert message.startswith("page1.png: ") and "\n" not in message
    assert caught.value.remedy.endswith(".")


def test_an_image_of_30000_by_30000_is_refused_before_it_is_decoded():
    with pytest.raises(NotAScanError, match="900 million pixels"):
        list(scans_from_bytes(far_too_large(), "huge.png"))


def test_a_picture_longer_than_can_be_sampled_is_made_smaller():
    scan = the_scan(as_bytes(Image.new("L", (40_000, 20), 200), "PNG", compress_level=1))

    assert scan.pixels.shape[1] == 20_000


def test_a_locked_pdf_is_called_locked():
    with pytest.raises(NotAScanError, match="locked"):
        list(scans_from_bytes(locked(), "page1.pdf"))


def test_a_file_that_is_not_there_and_a_folder_are_refused(tmp_path: Path):
    for path in (tmp_path / "page9.png", tmp_path):
        with pytest.raises(NotAScanError, match="cannot be opened"):
            list(load_scans(path))


def seeds() -> list[bytes]:
    grey = Image.fromarray(drawing())
    kinds = [as_bytes(grey, k) for k in ("PNG", "JPEG", "TIFF")]
    return [*kinds, as_bytes(grey.convert("CMYK"), "TIFF", compression="tiff_lzw"), pdf_of(grey)]


SEEDS = seeds()


@st.composite
def broken_files(draw) -> bytes:
    """A file that was right once: bytes changed, cut, repeated, glued."""
    data = bytearray(draw(st.sampled_from(SEEDS)))
    for _ in range(draw(st.integers(0, 6))):
        at = draw(st.integers(0, max(0, len(data) - 1)))
        new = draw(st.binary(max_size=6))
        data[at : at + draw(st.integers(0, 6))] = new
    return bytes(data[: draw(st.integers(0, len(data)))]) if draw(st.booleans()) else bytes(data)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(broken_files() | st.binary(max_size=200))
def test_no_bytes_make_anything_but_scans_or_a_clear_line(data):
    try:
        for scan in scans_from_bytes(data, "page1"):
            assert scan.pixels.dtype == np.uint8 and scan.pixels.ndim in (2, 3)
    except OwnhandError as error:
        assert "\n" not in str(error)


@pytest.mark.parametrize("compression", ["tiff_lzw", "group4", "tiff_adobe_deflate", "jpeg"])
def test_a_damaged_tiff_is_refused_without_a_word_of_its_decoder_on_standard_error(tmp_path, capfd, compression):
    grey = Image.fromarray(np.random.default_rng(0).integers(0, 255, (200, 300), np.uint8))
    whole = as_bytes(grey.convert("1") if compression == "group4" else grey, "TIFF", compression=compression)
    refused = 0
    for seed in range(30):
        data, rng = bytearray(whole), np.random.default_rng(seed)
        for _ in range(4):
            data[int(rng.integers(8, len(data)))] = int(rng.integers(256))
        path = tmp_path / "page.tif"
        path.write_bytes(data)
        count_scans(path)
        try:
            list(load_scans(path))
        except OwnhandError:
            refused += 1

    assert capfd.readouterr() == ("", "")
    assert refused or compression == "group4"  # which has no check of its own: damage shows as black and white noise


def test_the_pages_of_a_file_are_counted_and_each_can_be_read_alone(tmp_path):
    pages = [Image.fromarray(np.full((40, 30 + i), 200, np.uint8)) for i in range(3)]
    (tmp_path / "a.tif").write_bytes(as_bytes(pages[0], "TIFF", save_all=True, append_images=pages[1:]))
    (tmp_path / "a.pdf").write_bytes(pdf_of(*pages))
    (tmp_path / "a.png").write_bytes(as_bytes(pages[0], "PNG"))
    (tmp_path / "none.tif").write_bytes(b"II*\0 and nothing more")

    assert [count_scans(tmp_path / n) for n in ("a.tif", "a.pdf", "a.png", "none.tif", "missing.pdf")] == [
        3,
        3,
        1,
        1,
        1,
    ]
    for name in ("a.tif", "a.pdf"):
        (second,) = load_scans(tmp_path / name, only=2)
        assert second.place == f"{name}, page 2" and second.pixels.shape == (40, 31)
        assert not list(load_scans(tmp_path / name, only=4))
