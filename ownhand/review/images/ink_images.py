"""The ink pictures: where they are, and how large, without opening them all."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.errors import InputError
from capture.safe_paths import path_inside
from capture.units import cell_from_image
from ownhand.hands.captures import InkPicture
from ownhand.hands.hand import Hand

LEAST_CONTRAST = 20.0
"""Of 255: what differs less is paper."""


class InkSource(Protocol):
    """What pictures of ink are made from: the session, as far as they need it."""

    hand: Hand
    ink: dict[str, tuple[str, InkPicture]]
    """By attempt id: the sheet, and the picture's place and scale."""

    pngs: dict[str, bytes]
    sizes: dict[str, tuple[float, float]]
    inked: dict[str, tuple[float, float, float, float] | None]
    contours: dict[str, list[list[list[float]]]]
    """What was found out so far, by attempt id: file contents, sizes in mm, the ink's box and outlines in mm (y up)."""


def picture_file(source: InkSource, key: str) -> Path | None:
    """Return the file of an attempt's ink picture; None where there is none, or it would lie outside the captures."""
    if key not in source.ink:
        return None
    sheet, picture = source.ink[key]
    try:
        file = path_inside(source.hand.captures_folder, sheet, picture.file)
    except InputError:
        return None
    return file if file.suffix == ".png" and file.is_file() else None


def png(source: InkSource, key: str) -> bytes | None:
    """Return an attempt's ink picture; None where there is none. Some kB each: they are kept once read."""
    if key not in source.pngs:
        file = picture_file(source, key)
        if file is None:
            return None
        source.pngs[key] = file.read_bytes()
    return source.pngs[key]


def size_mm(source: InkSource, key: str) -> tuple[float, float]:
    """Return width and height of an attempt's ink picture; (0, 0) where there is none."""
    if key not in source.sizes:
        file = picture_file(source, key)
        w, h = _size_px(file) if file else (0, 0)
        k = source.ink[key][1].px_per_mm if key in source.ink else 1.0
        source.sizes[key] = (round(w / k, 3), round(h / k, 3))
    return source.sizes[key]


def _size_px(file: Path) -> tuple[int, int]:
    # PNG (ISO/IEC 15948), 5.2 and 11.2.2: eight bytes of signature, then IHDR with width and height.
    with file.open("rb") as stream:
        head = stream.read(24)
    return struct.unpack(">II", head[16:24]) if head[:8] == b"\x89PNG\r\n\x1a\n" and len(head) == 24 else (0, 0)


def inked_mm(source: InkSource, key: str) -> tuple[float, float, float, float] | None:
    """Return left, top, right and bottom of an attempt's ink in the cell's frame; None where there is none."""
    if key not in source.inked:
        file = picture_file(source, key)
        source.inked[key] = _inked_mm(file, source.ink[key][1]) if file else None
    return source.inked[key]


def _inked_mm(file: Path, place: InkPicture) -> tuple[float, float, float, float] | None:
    picture = cv2.imread(str(file), cv2.IMREAD_UNCHANGED)
    if picture is None:
        return None
    grey = on_white(np.asarray(picture, np.uint8))
    # Half way between the paper and the darkest ink: where the two are one, there is no ink.
    dark = np.argwhere(grey < (int(grey.min()) + int(np.median(grey))) / 2)
    if not len(dark):
        return None
    # Edges of pixels, not their centres: the left edge of pixel 0 lies on the picture's.
    corners = np.array([dark.min(axis=0), dark.max(axis=0) + 1])[:, ::-1] / place.px_per_mm
    (x0, y0), (x1, y1) = np.round(cell_from_image(corners, left_mm=-place.left_mm, baseline_mm=place.top_mm), 2)
    return float(x0), float(y0), float(x1), float(y1)


def contour_mm(source: InkSource, key: str) -> list[list[list[float]]]:
    """Return the outlines of an attempt's ink as closed polygons in the cell's frame, mm; [] where there is none.

    Marching squares (Lorensen and Cline, 1987) half way between paper and ink, thinned to a sixth of a pixel (Douglas
    and Peucker, 1973).
    """
    if key not in source.contours:
        file = picture_file(source, key)
        source.contours[key] = _contour_mm(file, source.ink[key][1]) if file else []
    return source.contours[key]


def _contour_mm(file: Path, place: InkPicture) -> list[list[list[float]]]:
    from skimage.measure import approximate_polygon, find_contours

    picture = cv2.imread(str(file), cv2.IMREAD_UNCHANGED)
    if picture is None:
        return []
    grey = on_white(np.asarray(picture, np.uint8)).astype(float)
    level = (grey.min() + np.median(grey)) / 2
    if np.median(grey) - grey.min() < LEAST_CONTRAST:
        return []
    padded = np.pad(grey, 1, constant_values=255.0)
    out = []
    for ring in find_contours(padded, level):  # type: ignore[no-untyped-call]
        thinned = approximate_polygon(ring, 0.15)  # type: ignore[no-untyped-call]
        if len(thinned) < 4:
            continue
        # Pixel centres lie half a pixel from the picture's edges; one pixel was put around it.
        corners = (thinned[:, ::-1] - 0.5) / place.px_per_mm
        points = cell_from_image(corners, left_mm=-place.left_mm, baseline_mm=place.top_mm)
        out.append(np.round(points, 2).tolist())
    return out


def on_white(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a picture in greys, dark ink on white, whatever channels it has.

    picture: shape (h, w), (h, w, 3) or (h, w, 4), blue first. The result has shape (h, w).
    """
    if picture.ndim == 2:
        return picture
    if picture.shape[2] == 4:
        alpha = picture[:, :, 3:].astype(float) / 255
        picture = (picture[:, :, :3] * alpha + 255 * (1 - alpha)).astype(np.uint8)
    return np.asarray(cv2.cvtColor(picture[:, :, :3], cv2.COLOR_BGR2GRAY), np.uint8)
