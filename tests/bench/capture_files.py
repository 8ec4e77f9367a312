"""Pictures sent through the files that office scanners and telephones make."""

from __future__ import annotations

import io
import struct
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from capture.scan import Scan, load_scans

KINDS = ("TIFF G4", "TIFF LZW, 16 bit", "PDF JPEG", "PDF JPEG, turned, third of three", "PDF JBIG2", "HEIC")


def through_file(scan: Scan, kind: str) -> Scan:
    """Return the scan as read back from a file of one of `KINDS`, of the page in it that shows it."""
    data, index = _written(Image.fromarray(scan.pixels), kind, scan.dpi or 300.0)
    return list(scans_from_bytes(data, f"simulated {kind}"))[index]


def scans_from_bytes(data: bytes, name: str) -> Iterator[Scan]:
    """Yield the pictures in the bytes of a file of that name."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        yield from load_scans(path)


def _written(image: Image.Image, kind: str, dpi: float) -> tuple[bytes, int]:
    out = io.BytesIO()
    if kind == "TIFF G4":
        _two_tone(image).save(out, "TIFF", compression="group4", dpi=(dpi, dpi))
    elif kind == "TIFF LZW, 16 bit":
        deep = np.asarray(image.convert("L"), np.uint16) * 257
        Image.fromarray(deep).save(out, "TIFF", compression="tiff_lzw", dpi=(dpi, dpi))
    elif kind == "HEIC":
        import pillow_heif

        pillow_heif.from_pillow(image).save(out, quality=60)
    elif kind == "PDF JBIG2":
        return jbig2_pdf(_two_tone(image), dpi), 0
    elif kind == "PDF JPEG":
        return jpeg_pdf([(image, 0)], dpi), 0
    else:
        blank = Image.new("RGB", (400, 600), "white")
        return jpeg_pdf([(blank, 0), (blank, 90), (image.transpose(Image.Transpose.ROTATE_90), 90)], dpi), 2
    return out.getvalue(), 0


def _two_tone(image: Image.Image) -> Image.Image:
    return image.convert("L").point(lambda v: 255 if v > 150 else 0).convert("1")


def jpeg_pdf(pages: list[tuple[Image.Image, int]], dpi: float) -> bytes:
    """Return a PDF in which each page is a JPEG, to be turned clockwise by so many degrees when it is shown."""
    out = io.BytesIO()
    canvas = Canvas(out)
    for image, _ in pages:
        jpeg = io.BytesIO()
        image.convert("RGB").save(jpeg, "JPEG", quality=60)
        size = image.width * 72 / dpi, image.height * 72 / dpi
        canvas.setPageSize(size)
        canvas.drawImage(ImageReader(jpeg), 0, 0, *size)  # reportlab passes a JPEG through as it is
        canvas.showPage()
    canvas.save()
    document, turned = pdfium.PdfDocument(out.getvalue()), io.BytesIO()
    for i, (_, turn) in enumerate(pages):
        document[i].set_rotation(turn)
    document.save(turned)
    document.close()
    return turned.getvalue()


def jbig2_pdf(image: Image.Image, dpi: float) -> bytes:
    """Return a PDF with a bilevel picture in JBIG2 (ITU-T T.88), as one generic region coded by MMR (T.6).

    libtiff does the T.6 coding, so all that is added are the segment headers of T.88, 7.2 and 7.4.
    """
    tiff = io.BytesIO()
    image.save(tiff, "TIFF", compression="group4", tiffinfo={278: image.height, 262: 0})
    with Image.open(tiff) as stored:
        offsets, counts = stored.tag_v2[273], stored.tag_v2[279]
        white_is_zero = stored.tag_v2[262] == 0
    if len(offsets) != 1 or not white_is_zero:
        raise ValueError("expected one strip, white as 0")
    mmr = tiff.getvalue()[offsets[0] : offsets[0] + counts[0]]
    size = struct.pack(">II", image.width, image.height)
    page = size + struct.pack(">IIBH", 0, 0, 0, 0)
    region = size + struct.pack(">IIB", 0, 0, 0) + b"\x01" + mmr  # combined by OR; flags: MMR
    stream = b"".join(
        struct.pack(">IBBBI", number, kind, 0, 1, len(data)) + data
        for number, (kind, data) in enumerate([(48, page), (38, region)])
    )
    width, height = image.width * 72 / dpi, image.height * 72 / dpi
    content = f"q {width:.4f} 0 0 {height:.4f} 0 0 cm /I Do Q".encode()
    picture = (
        f"<</Type/XObject/Subtype/Image/Width {image.width}/Height {image.height}/ColorSpace/DeviceGray"
        f"/BitsPerComponent 1/Filter/JBIG2Decode/Length {len(stream)}>>"
    ).encode()
    resources = b"<</XObject<</I 5 0 R>>>>"
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        f"<</Type/Page/Parent 2 0 R/MediaBox[0 0 {width:.4f} {height:.4f}]/Contents 4 0 R/Resources ".encode()
        + resources + b">>",
        f"<</Length {len(content)}>>stream\n".encode() + content + b"\nendstream",
        picture + b"stream\n" + stream + b"\nendstream",
    ]  # fmt: skip
    out, places = bytearray(b"%PDF-1.5\n"), []
    for number, body in enumerate(objects, 1):
        places.append(len(out))
        out += f"{number} 0 obj\n".encode() + body + b"\nendobj\n"
    start = len(out)
    out += f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n".encode()
    out += b"".join(f"{p:010d} 00000 n \n".encode() for p in places)
    out += f"trailer<</Size {len(objects) + 1}/Root 1 0 R>>\nstartxref\n{start}\n%%EOF".encode()
    pdfium.PdfDocument(bytes(out)).close()
    return bytes(out)
