"""The pictures in a PNG, JPEG, TIFF or HEIC file, as grey or colour pixels of eight bits, upright."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, ImageSequence

from capture.errors import MissingLibraryError, NotAScanError

Pixels = NDArray[np.uint8]
"""Shape (h, w) grey or (h, w, 3) RGB, 0 is black."""

LARGEST_PX = 178_000_000
"""An A4 page at 1200 dpi has 139 million; Pillow itself refuses more than 178,956,970."""

KEPT_PX = 64_000_000
"""More pixels than this are halved while reading: A4 at 600 dpi has 35 million, and no pen needs more than that."""

LONGEST_PX = 32_000
"""OpenCV samples no picture that is longer than 32,767."""

_BAND_ROWS = 512

REMEDY_CUT = "Scan the page again, or copy the file once more: it is damaged or was cut off on the way."
REMEDY_SIZE = "Scan at 300 to 600 dpi and read it again."


def too_large(source: str, pixels: int) -> NotAScanError:
    """Return what is said of a picture of so many pixels."""
    return NotAScanError(
        source,
        f"has {pixels / 1e6:.0f} million pixels, at most {LARGEST_PX // 1_000_000} million are read",
        REMEDY_SIZE,
    )


def image_pictures(
    file: BinaryIO, kind: str, source: str, only: int | None
) -> Iterator[tuple[int, bool, Pixels, float | None]]:
    """Yield number, whether there are several, pixels and dpi of the pictures in a file.

    Parameters
    ----------
    kind
        'PNG', 'JPEG', 'TIFF' or 'HEIC'.
    source
        What the file is called in messages.
    only
        None but this one, counted from 1.

    Raises
    ------
    NotAScanError
        If one is too large, or there is none.
    MissingLibraryError
        For HEIC, if the optional package that reads it is not installed.
    """
    if kind == "HEIC":
        _open_heic_with_pillow(source)
    formats = {"JPEG": ["JPEG", "MPO"], "HEIC": ["HEIF"]}.get(kind, [kind])
    with Image.open(file, formats=formats) as image:
        many = kind == "TIFF" and bool(getattr(image, "is_animated", False))  # without counting a million of them
        index = 0
        for frame in ImageSequence.Iterator(image):
            if kind == "TIFF" and is_thumbnail(frame):
                continue
            if only is not None and index + 1 != only:
                index += 1
                continue
            if frame.width * frame.height > LARGEST_PX:
                raise too_large(source, frame.width * frame.height)
            index += 1
            pixels, shrunk = _pixels(frame)
            yield index, many, pixels, _dpi(frame, shrunk)
            if kind != "TIFF" or index == only:
                break  # further pictures in a JPEG or HEIC are previews and depth maps
        if not index:
            raise NotAScanError(source, "there is no page in it", REMEDY_CUT)


def _open_heic_with_pillow(source: str) -> None:
    try:
        import pillow_heif
    except ImportError as error:
        raise MissingLibraryError(
            source,
            "reading HEIC needs the package pillow-heif",
            "Install it: pip install 'ownhand[heif]'. Or send the photo as JPEG.",
        ) from error
    pillow_heif.register_heif_opener()


def is_thumbnail(frame: Image.Image) -> bool:
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
