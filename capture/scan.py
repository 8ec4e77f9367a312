"""A scan: the pixels of one picture of a page, whatever kind of file they came in.

Reading checks first and decodes after: what is too large, cut off, locked or no picture at all is refused in one line,
and no bytes whatsoever make anything but an `OwnhandError` come out.
"""

from __future__ import annotations

import ctypes
import itertools
import re
import stat
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, ImageSequence

from capture.bounded import StoppedError, bounded
from capture.errors import MissingLibraryError, NotAScanError, OwnhandError
from capture.limits import MOST_PAGES_IN_FILE
from capture.scan_pdf import pdf_page_count, pdf_pictures

Pixels = NDArray[np.uint8]
"""Shape (h, w) grey or (h, w, 3) RGB, 0 is black."""

LARGEST_PX = 178_000_000
"""An A4 page at 1200 dpi has 139 million; Pillow itself refuses more than 178,956,970."""

KEPT_PX = 64_000_000
"""More pixels than this are halved while reading: A4 at 600 dpi has 35 million, and no pen needs more than that."""

LONGEST_PX = 32_000
"""OpenCV samples no picture that is longer than 32,767."""

LARGEST_FILE = 1 << 30
"""Bytes of one file of scans."""

_HEAD = 1024
_BAND_ROWS = 512

_REMEDY_KIND = "Give a PNG, JPEG, TIFF, PDF or HEIC file."
_REMEDY_CUT = "Scan the page again, or copy the file once more: it is damaged or was cut off on the way."
_REMEDY_SIZE = "Scan at 300 to 600 dpi and read it again."


@dataclass(frozen=True, eq=False)
class Scan:
    """One picture that should show one page.

    Frame: scan (px, pixel centres, origin top left, y down).
    """

    pixels: Pixels
    """Shape (h, w) grey, or (h, w, 3) RGB where there is any colour; read-only."""

    source: str
    """Name of the file, for messages."""

    index: int = 1
    """From 1: which of the pictures in the file."""

    dpi: float | None = None
    """What the file says; only a hint, the marks tell the truth."""

    many: bool = False
    """True when the file holds more than one picture, so that messages say which."""

    def __post_init__(self) -> None:
        self.pixels.flags.writeable = False

    @property
    def place(self) -> str:
        """Return how messages call this picture: 'scan.pdf, page 3', or the file's name alone.

        Examples
        --------
        >>> Scan(np.zeros((2, 2), np.uint8), "scan.pdf", 3, many=True).place
        'scan.pdf, page 3'
        """
        return f"{self.source}, page {self.index}" if self.many else self.source


def load_scans(path: str | Path, *, only: int | None = None) -> Iterator[Scan]:
    """Yield the pictures in a PNG, JPEG, TIFF, PDF or HEIC file, one at a time.

    Parameters
    ----------
    path
        The file.
    only
        Decode none but this one, counted from 1.

    Raises
    ------
    NotAScanError
        If the file is missing, empty, cut off, locked, too large, or something else than a picture.
    MissingLibraryError
        For HEIC, if the optional package that reads it is not installed.
    """
    path = Path(path)
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode) and not stat.S_ISDIR(found.st_mode):
            # a pipe can be read but once, and its end may never come
            raise NotAScanError(path.name, "is a pipe or a device, not a file", "Save it as a file and give that.")
        if found.st_size > LARGEST_FILE:
            raise NotAScanError(path.name, f"the file has more than {LARGEST_FILE >> 20} MB", _REMEDY_SIZE)
        file = path.open("rb")
    except OSError as error:
        reason = (error.strerror or "cannot be opened").lower()
        raise NotAScanError(
            path.name or str(path), f"cannot be opened ({reason})", "Check the name and that it is a file."
        ) from error
    with file:
        yield from _scans(file, path.name, only)


def load_scan(path: Path) -> Scan:
    """Return the picture in a file that holds no other.

    Raises
    ------
    NotAScanError
        As `load_scans`; and if the file holds several, of which only the first is decoded.
    """
    count = count_scans(path)
    if count > 1:
        raise NotAScanError(str(path), f"holds {count} pictures, one was expected", "Save each as a file of its own.")
    return next(load_scans(path, only=1))


def count_scans(path: Path) -> int:
    """Return how many pictures a file holds; 1 where it cannot be told without decoding it."""
    try:
        if not path.is_file():
            return 1
        with path.open("rb") as file, _quiet():
            kind = kind_of(file.read(_HEAD))
            file.seek(0)
            if kind == "PDF":
                return max(1, int(next(bounded(pdf_page_count, file.read()))))
            if kind == "TIFF":
                with Image.open(file, formats=["TIFF"]) as image:
                    frames = itertools.islice(ImageSequence.Iterator(image), MOST_PAGES_IN_FILE)
                    return max(1, sum(not _is_thumbnail(frame) for frame in frames))
    except Exception:  # whatever is wrong with it is said by reading it
        return 1
    return 1


def _scans(file: BinaryIO, source: str, only: int | None) -> Iterator[Scan]:
    head = file.read(_HEAD)
    file.seek(0)
    kind = kind_of(head)
    if not head:
        raise NotAScanError(source, "the file is empty", "Scan the page again.")
    if kind is None:
        raise NotAScanError(source, "is no picture of a kind that can be read", _REMEDY_KIND)
    read = _pdf_scans if kind == "PDF" else _image_scans
    try:
        with _quiet():
            yield from read(file, kind, source, only)
    except OwnhandError:
        raise
    except StoppedError as error:
        what = f"the {kind} in it asks for more memory or time than a page of paper takes, or ends its decoder"
        raise NotAScanError(source, what, _REMEDY_SIZE) from error
    except Image.DecompressionBombError as error:
        found = re.search(r"\d+", str(error))
        raise _too_large(source, int(found[0]) if found else LARGEST_PX) from error
    except (Exception, MemoryError) as error:  # a decoder meets damaged data with whatever it stumbles over
        raise NotAScanError(source, f"the {kind} in it cannot be decoded to its end", _REMEDY_CUT) from error


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep decoders from talking: they warn of odd metadata, which is none of the user's business."""
    _silence_libtiff()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


@cache
def _silence_libtiff() -> None:
    """Take away the handler by which libtiff, inside Pillow, prints what it meets to standard error.

    Pillow raises what matters. libtiff documents the switch (TIFFSetErrorHandler); where Pillow was linked so that it
    cannot be reached, the lines are printed and do no harm.
    """
    with suppress(OSError, AttributeError):
        from PIL import _imaging

        libtiff = ctypes.CDLL(_imaging.__file__)
        for name in ("TIFFSetErrorHandler", "TIFFSetWarningHandler"):
            switch = getattr(libtiff, name)
            switch.restype, switch.argtypes = ctypes.c_void_p, [ctypes.c_void_p]
            switch(None)


def kind_of(data: bytes) -> str | None:
    """Return 'PNG', 'JPEG', 'TIFF', 'PDF' or 'HEIC' by the first bytes, None for anything else.

    Examples
    --------
    >>> kind_of(b"%PDF-1.4 ..."), kind_of(b"Dear museum,")
    ('PDF', None)
    """
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "TIFF"
    if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1"):
        return "HEIC"
    if b"%PDF-" in data[:1024]:  # some writers put a few bytes before it (ISO 32000-1, annex H, note 13)
        return "PDF"
    return None


def _too_large(source: str, pixels: int) -> NotAScanError:
    return NotAScanError(
        source,
        f"has {pixels / 1e6:.0f} million pixels, at most {LARGEST_PX // 1_000_000} million are read",
        _REMEDY_SIZE,
    )


def _image_scans(file: BinaryIO, kind: str, source: str, only: int | None) -> Iterator[Scan]:
    if kind == "HEIC":
        _open_heic_with_pillow(source)
    formats = {"JPEG": ["JPEG", "MPO"], "HEIC": ["HEIF"]}.get(kind, [kind])
    with Image.open(file, formats=formats) as image:
        many = kind == "TIFF" and bool(getattr(image, "is_animated", False))  # without counting a million of them
        index = 0
        for frame in ImageSequence.Iterator(image):
            if kind == "TIFF" and _is_thumbnail(frame):
                continue
            if only is not None and index + 1 != only:
                index += 1
                continue
            if frame.width * frame.height > LARGEST_PX:
                raise _too_large(source, frame.width * frame.height)
            index += 1
            pixels, shrunk = _pixels(frame)
            yield Scan(pixels, source, index, _dpi(frame, shrunk), many)
            if kind != "TIFF" or index == only:
                break  # further pictures in a JPEG or HEIC are previews and depth maps
        if not index:
            raise NotAScanError(source, "there is no page in it", _REMEDY_CUT)


def _open_heic_with_pillow(source: str) -> None:
    try:
        import pillow_heif
    except ImportError as error:
        raise MissingLibraryError(
            source, "reading HEIC needs the package pillow-heif", "Install it, or send the photo as JPEG."
        ) from error
    pillow_heif.register_heif_opener()


def _is_thumbnail(frame: Image.Image) -> bool:
    """Return whether a TIFF's picture is a small one of another page: NewSubfileType, bit 0 (TIFF 6.0, section 8)."""
    tags = getattr(frame, "tag_v2", None)
    return tags is not None and bool(int(tags.get(254, 0)) & 1)


def _dpi(frame: Image.Image, shrunk: int) -> float | None:
    try:
        dpi = float(frame.info["dpi"][0]) / shrunk
    except (KeyError, TypeError, ValueError, IndexError, ZeroDivisionError):
        return None
    return dpi if 10 <= dpi <= 10_000 else None


def _pixels(frame: Image.Image) -> tuple[Pixels, int]:
    """Return 8-bit grey or RGB pixels, upright by their EXIF orientation, and the factor they were shrunk by."""
    shrink = 1
    while frame.width * frame.height > KEPT_PX * shrink**2 or max(frame.size) > LONGEST_PX * shrink:
        shrink += 1
    width = frame.width
    if shrink > 1:
        frame.draft(None, (frame.width // shrink, frame.height // shrink))  # a JPEG can be decoded at half its size
    left_to_shrink = max(1, shrink // round(width / frame.width))
    ImageOps.exif_transpose(frame, in_place=True)
    image = frame
    if image.mode.startswith(("I", "F")):
        pixels = _eight_bits(np.asarray(image))
        image = Image.fromarray(pixels)
    if image.mode in ("P", "PA", "RGBA", "LA", "RGBa", "La") or "transparency" in image.info:
        image = image.convert("RGBA")
        paper = Image.new("RGBA", image.size, "white")
        image = Image.alpha_composite(paper, image).convert("RGB")
    elif image.mode == "1":
        image = image.convert("L")
    elif image.mode not in ("L", "RGB"):
        image = image.convert("RGB")
    if left_to_shrink > 1:
        image = image.reduce(left_to_shrink)
    return without_false_colour(_array(image)), shrink


def _array(image: Image.Image) -> Pixels:
    """Return the pixels of an image of mode L or RGB; band by band, because a whole copy is made on the way."""
    image.load()
    out = np.empty((image.height, image.width, 3)[: 3 if image.mode == "RGB" else 2], np.uint8)
    for top in range(0, image.height, _BAND_ROWS):
        band = image.crop((0, top, image.width, min(top + _BAND_ROWS, image.height)))
        out[top : top + band.height] = np.asarray(band, np.uint8)
    return out


def _eight_bits(values: NDArray[Any]) -> Pixels:
    """Return 16-bit, 32-bit and floating values as 8 bits; what their white is shows from the largest value."""
    v = np.nan_to_num(values.astype(np.float32), nan=0.0, posinf=0.0, neginf=0.0)
    top = float(v.max(initial=0.0))
    white = 1.0 if values.dtype.kind == "f" and top <= 1.0 else 255.0 if top <= 255.0 else max(65535.0, top)
    return np.asarray(np.clip(np.rint(v * (255.0 / white)), 0, 255), np.uint8)


def without_false_colour(pixels: Pixels) -> Pixels:
    """Return grey pixels for RGB ones in which the three channels are the same."""
    if pixels.ndim == 2:
        return pixels
    for step in (97, 1):  # most colour scans show it in a few rows
        for top in range(0, len(pixels), _BAND_ROWS * step):
            rows = pixels[top : top + _BAND_ROWS * step : step]
            if (rows[..., 0] != rows[..., 1]).any() or (rows[..., 1] != rows[..., 2]).any():
                return pixels
    return np.ascontiguousarray(pixels[..., 0])


def _pdf_scans(file: BinaryIO, kind: str, source: str, only: int | None) -> Iterator[Scan]:
    pictures = bounded(pdf_pictures, file.read(), source, LARGEST_PX, KEPT_PX, only)
    for index, count, pixels, dpi in pictures:
        yield Scan(without_false_colour(pixels), source, index, dpi, count > 1)
