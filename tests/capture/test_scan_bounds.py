"""Pictures that ask for too much, pages that are a stencil, and greys made of dots."""

from __future__ import annotations

import os
import time
import tracemalloc

import numpy as np
import pytest
from PIL import Image
from reportlab.lib.pagesizes import A5
from reportlab.pdfgen.canvas import Canvas

from capture import bounded as bounding
from capture.bounded import StoppedError, bounded
from capture.errors import NotAScanError
from capture.read import read_page
from capture.scan import LARGEST_FILE, Scan, count_scans, load_scans
from tests.bench.capture_pages import Degrade
from tests.capture.simulated import picture, sheet, status_of, written


def pdf(objects: list[bytes]) -> bytes:
    """Return a PDF of these objects, numbered from 1 (ISO 32000-1, 7.5)."""
    out, places = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    head = b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    end = b"trailer\n<< /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF" % (len(objects) + 1, len(out))
    return out + head + table + end


CATALOG = b"<< /Type /Catalog /Pages 2 0 R >>"


def huge_page() -> bytes:
    tree = b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>"
    page = b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 1000000000 1000000000] >>"
    return pdf([CATALOG, tree, page])


def million_pages() -> bytes:
    tree = b"<< /Type /Pages /Kids [3 0 R] /Count 1000000 >>"
    return pdf([CATALOG, tree, b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 99 99] >>"])


@pytest.mark.parametrize("data", [huge_page(), million_pages()])
def test_a_few_bytes_that_ask_for_a_million_pages_or_gigabytes_end_soon(tmp_path, data):
    (tmp_path / "few.pdf").write_bytes(data)
    begin = time.process_time()

    assert count_scans(tmp_path / "few.pdf") <= 2000
    try:
        assert all(scan.pixels.size < 200_000_000 for scan in load_scans(tmp_path / "few.pdf"))
    except NotAScanError as error:
        assert "few.pdf" in str(error)
    assert time.process_time() - begin < 20


def eater(size: int):
    yield len(b"x" * size)


def dier():
    os._exit(9)
    yield 1


def test_a_process_that_takes_too_much_or_dies_costs_nobody_else(monkeypatch):
    monkeypatch.setattr(bounding, "MEMORY_BYTES", 200 << 20)

    assert list(bounded(eater, 1000)) == [1000]
    with pytest.raises(StoppedError):
        list(bounded(eater, 1 << 30))
    with pytest.raises(StoppedError):
        list(bounded(dier))


def sleeper():
    time.sleep(60)
    yield 1


def test_a_process_that_takes_too_long_is_ended(monkeypatch):
    monkeypatch.setattr(bounding, "SECONDS", 0.3)

    with pytest.raises(StoppedError):
        list(bounded(sleeper))


def test_a_page_that_is_one_stencil_has_dark_ink_on_white_paper(tmp_path):
    # an image of mode 1 with a mask of its own colour is drawn by reportlab as an image mask only by hand
    width, height = 148 * 8, 210 * 8
    bits = np.ones((height, width), bool)
    bits[400:420, 200:900] = False
    data = np.packbits(bits, axis=1).tobytes()
    stencil = (
        b"<< /Type /XObject /Subtype /Image /Width %d /Height %d /ImageMask true /BitsPerComponent 1 /Length %d >>"
        b"\nstream\n%s\nendstream" % (width, height, len(data), data)
    )
    draw = b"q 420 0 0 595 0 0 cm /Im Do Q"
    page = (
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 420 595] /Contents 5 0 R "
        b"/Resources << /XObject << /Im 4 0 R >> >> >>"
    )
    content = b"<< /Length %d >>\nstream\n%s\nendstream" % (len(draw), draw)
    (tmp_path / "mask.pdf").write_bytes(
        pdf([CATALOG, b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>", page, stencil, content])
    )

    (scan,) = load_scans(tmp_path / "mask.pdf")

    assert np.median(scan.pixels) > 250
    assert 0.002 < (scan.pixels < 128).mean() < 0.02


@pytest.mark.parametrize("how", ["scattered", "pattern"])
def test_greys_made_of_dots_are_read_as_the_greys_they_were(how):
    grey = Image.fromarray(picture(Degrade(dpi=300)).scan.pixels).convert("L")
    if how == "scattered":
        dots = np.array(grey.convert("1")).astype(np.uint8) * 255
    else:
        bayer = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]]) * 16 + 8
        levels = np.array(grey)
        tiles = np.tile(bayer, (levels.shape[0] // 4 + 1, levels.shape[1] // 4 + 1))
        dots = np.where(levels > tiles[: levels.shape[0], : levels.shape[1]], 255, 0).astype(np.uint8)

    read = read_page(Scan(dots, "dots.png", dpi=300), lambda coded: sheet())

    assert [cell.status for cell in read.cells] == [status_of(w) for w in written()]


def test_a_pdf_of_gigabytes_is_refused_without_being_read(tmp_path):
    # a sparse file: what is not written takes no room on the disk (POSIX ftruncate)
    with (tmp_path / "scan.pdf").open("wb") as file:
        file.write(b"%PDF-1.4\n")
        file.truncate(LARGEST_FILE + 1)
    tracemalloc.start()
    try:
        assert count_scans(tmp_path / "scan.pdf") == 1
        assert tracemalloc.get_traced_memory()[1] < 10_000_000
    finally:
        tracemalloc.stop()
    with pytest.raises(NotAScanError, match="more than 1024 MB"):
        next(load_scans(tmp_path / "scan.pdf"))


def test_a_pipe_is_refused_and_never_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")

    assert count_scans(tmp_path / "pipe") == 1
    with pytest.raises(NotAScanError, match="is a pipe"):
        list(load_scans(tmp_path / "pipe"))


def test_an_ordinary_pdf_is_read_as_before(tmp_path):
    canvas = Canvas(str(tmp_path / "two.pdf"), pagesize=A5)
    for _ in range(2):
        canvas.rect(50, 50, 100, 100)
        canvas.showPage()
    canvas.save()

    assert count_scans(tmp_path / "two.pdf") == 2
    assert [scan.index for scan in load_scans(tmp_path / "two.pdf")] == [1, 2]
