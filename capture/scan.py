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
from typing import BinaryIO

from PIL import Image, ImageSequence

from capture.bounded import StoppedError, bounded
from capture.errors import NotAScanError, OwnhandError
from capture.limits import MOST_PAGES_IN_FILE
from capture.scan_image import (
    KEPT_PX,
    LARGEST_PX,
    REMEDY_CUT,
    REMEDY_SIZE,
    Pixels,
    image_pictures,
    is_thumbnail,
    too_large,
    without_false_colour,
)
from capture.scan_pdf import pdf_page_count, pdf_pictures

LARGEST_FILE = 1 << 30
"""Bytes of one file of scans."""

_HEAD = 1024
_REMEDY_KIND = "Give a PNG, JPEG, TIFF, PDF or HEIC file."


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
        >>> import numpy as np
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
            raise NotAScanError(str(path), "is a pipe or a device, not a file", "Save it as a file and give that.")
        if found.st_size > LARGEST_FILE:
            raise NotAScanError(str(path), f"the file has more than {LARGEST_FILE >> 20} MB", REMEDY_SIZE)
        file = path.open("rb")
    except OSError as error:
        reason = (error.strerror or "cannot be opened").lower()
        remedy = "Check the name and that it is a file."
        raise NotAScanError(str(path), f"cannot be opened ({reason})", remedy) from error
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
        if not path.is_file() or path.stat().st_size > LARGEST_FILE:
            return 1
        with path.open("rb") as file, _quiet():
            kind = kind_of(file.read(_HEAD))
            file.seek(0)
            if kind == "PDF":
                return max(1, int(next(bounded(pdf_page_count, file.read()))))
            if kind == "TIFF":
                with Image.open(file, formats=["TIFF"]) as image:
                    frames = itertools.islice(ImageSequence.Iterator(image), MOST_PAGES_IN_FILE)
                    return max(1, sum(not is_thumbnail(frame) for frame in frames))
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
        raise NotAScanError(source, what, REMEDY_SIZE) from error
    except Image.DecompressionBombError as error:
        found = re.search(r"\d+", str(error))
        raise too_large(source, int(found[0]) if found else LARGEST_PX) from error
    except (Exception, MemoryError) as error:  # a decoder meets damaged data with whatever it stumbles over
        raise NotAScanError(source, f"the {kind} in it cannot be decoded to its end", REMEDY_CUT) from error


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


def _image_scans(file: BinaryIO, kind: str, source: str, only: int | None) -> Iterator[Scan]:
    for index, many, pixels, dpi in image_pictures(file, kind, source, only):
        yield Scan(pixels, source, index, dpi, many)


def _pdf_scans(file: BinaryIO, kind: str, source: str, only: int | None) -> Iterator[Scan]:
    pictures = bounded(pdf_pictures, file.read(), source, LARGEST_PX, KEPT_PX, only)
    for index, count, pixels, dpi in pictures:
        yield Scan(without_false_colour(pixels), source, index, dpi, count > 1)
