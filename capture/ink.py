"""Ink alone: the paper, the light on it and everything that was printed are taken away, the strokes stay whole.

The model is Beer and Lambert's: densities (minus the logarithm of brightness over that of the paper) of what lies on
top of each other add up. At each pixel the density is

    paper + sum over print layers (coverage known from the sheet x density measured on this scan) + ink x its density

In colour the ink is found by its colour even where a guide lies a little off its place: the print's amount is given
a spread along the guide's colour, and the least squares that follow disregard that direction (best linear unbiased
estimate; Aitken 1935). In grey only the model remains, which is why the page is first brought to its print exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.light import estimate_paper
from capture.scan import Pixels
from capture.two_tone import without_print

_BAND_ROWS = 512
_CLEAR_PX_PER_MM = 8.0
"""Resolution at which colours and levels are measured."""

_FAINTEST = 0.10
"""Natural density below which nothing is ink: show-through and folds stay under it on good paper."""

_DARK_PRINT = 0.45
"""Natural density (in its darkest channel) from which on print can be mistaken for ink where it is not met exactly."""

FULL_INK_GREY = 24.0
"""Grey given to a full stroke, so that half-way to the paper is the same for pencil and for ink."""


@dataclass(frozen=True, eq=False)
class PrintLayer:
    """What was printed in one colour, on the straightened page's grid."""

    name: str
    coverage: Pixels
    """Shape (h, w): share of the pixel that is covered, times 255."""


@dataclass(frozen=True, eq=False)
class InkColour:
    """The ink as this scan shows it."""

    density: NDArray[np.float64]
    """Shape (channels,): natural density of a full stroke."""

    noise: float
    """Standard deviation of the bare paper's density."""

    measured: bool = True
    """False where the page holds too little ink to tell."""

    @property
    def strength(self) -> float:
        """Return the mean natural density of a full stroke."""
        return float(self.density.mean())


@dataclass(frozen=True, eq=False)
class PageInk:
    """A page with nothing on it but ink. Frame: page; the corner pixel's centre is half a pixel inside the page."""

    grey: Pixels
    """Shape (h, w): paper 255, a full stroke `FULL_INK_GREY`; edges as soft as the scan shows them."""

    px_per_mm: float
    colour: InkColour
    print_cover: Pixels
    """Shape (h, w): how much of each pixel the darker print (labels, tick boxes) covers, times 255."""

    paper: NDArray[np.float32]
    """Brightness of the paper on a coarse grid over the page, shape (h / k, w / k), mean over the channels."""

    print_density: dict[str, NDArray[np.float64]]
    """For each print layer its density on this scan, shape (channels,)."""


def separate(
    pixels: Pixels,
    layers: Sequence[PrintLayer],
    *,
    px_per_mm: float,
    blur_px: float,
    writing: NDArray[np.bool_],
    two_tone: bool = False,
) -> PageInk:
    """Return the ink on a straightened page.

    Parameters
    ----------
    pixels
        Shape (h, w) or (h, w, 3).
    layers
        What was printed, each of shape (h, w).
    px_per_mm
        Resolution of both.
    blur_px
        Over how many pixels an edge passes from dark to bright.
    writing
        Shape (h8, w8), 8 pixels to the mm: where ink is expected, to measure its colour.
    two_tone
        The scan is black and white only, see `capture.two_tone`.
    """
    paper = estimate_paper(pixels, px_per_mm=px_per_mm)
    spread = max(blur_px / 2.563, 0.3)  # a Gaussian's edge passes from 10 to 90 % over 2.563 of its deviations
    printed, colour = _measure(pixels, paper, layers, spread, writing)
    ways = _weights(printed, colour)
    dark = [float(d.max()) > _DARK_PRINT for d in printed]
    nothing = [np.zeros_like(d) for d in printed]
    log_paper = np.log(paper + 1.0)
    height, width = pixels.shape[0], pixels.shape[1]
    grey, print_cover = np.empty((height, width), np.uint8), np.zeros((height, width), np.uint8)
    for top in range(0, height, _BAND_ROWS):
        rows = slice(top, min(top + _BAND_ROWS, height))
        cover = [_softened(p.coverage, rows, spread) for p in layers]
        for c, is_dark in zip(cover, dark, strict=True):
            if is_dark:
                np.maximum(print_cover[rows], c.astype(np.uint8), out=print_cover[rows])
        amount = _ink_amount(pixels, log_paper, rows, cover, nothing if two_tone else printed, ways)
        grey[rows] = grey_of_amount(amount, colour)
    if two_tone:
        grey = without_print(grey, print_cover, px_per_mm=px_per_mm)
    densities = {p.name: d for p, d in zip(layers, printed, strict=True)}
    brightness = paper if paper.ndim == 2 else np.asarray(paper.mean(axis=2), np.float32)
    return PageInk(grey, px_per_mm, colour, print_cover, brightness, densities)


def _softened(coverage: Pixels, rows: slice, spread: float) -> NDArray[np.float32]:
    """Return some rows of a layer as the scan shows it, blurred; values to 255."""
    margin = int(4 * spread) + 2
    first, last = max(0, rows.start - margin), min(coverage.shape[0], rows.stop + margin)
    soft = cv2.GaussianBlur(coverage[first:last], (0, 0), spread)
    return np.asarray(soft[rows.start - first : rows.stop - first], np.float32)


def grey_of_amount(amount: NDArray[np.float32], colour: InkColour) -> Pixels:
    """Return the grey (paper 255, full stroke FULL_INK_GREY) for amounts of ink (1: a full stroke)."""
    strength = np.float32(colour.strength)
    share = np.exp(-strength * np.clip(amount, 0, 4))
    scale = np.float32((255 - FULL_INK_GREY) / (1 - np.exp(-strength)))
    return np.asarray(np.clip((share - 1) * scale + np.float32(255.5), 0, 255), np.uint8)


_LOG = np.log(np.arange(256, dtype=np.float32) + 1.0)


def _enlarged(coarse: NDArray[np.float32], shape: tuple[int, int], rows: slice) -> NDArray[np.float32]:
    """Return some rows of a coarse image brought to `shape`, straight between its pixels."""
    h, w = shape
    n = rows.stop - rows.start
    # cv2.resize cannot start between two coarse rows, so the map says where each fine pixel lies on the coarse grid
    y = ((np.arange(rows.start, rows.stop, dtype=np.float32) + 0.5) * (coarse.shape[0] / h) - 0.5).astype(np.float32)
    x = ((np.arange(w, dtype=np.float32) + 0.5) * (coarse.shape[1] / w) - 0.5).astype(np.float32)
    maps = np.repeat(x[None], n, axis=0), np.repeat(y[:, None], w, axis=1)
    return np.asarray(cv2.remap(coarse, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _shrunk(image: Pixels, size: tuple[int, int]) -> Pixels:
    """Return the image at a smaller size, by halves first: OpenCV averages whole pixels much faster than parts."""
    while image.shape[1] >= 2 * size[0] and image.shape[0] >= 2 * size[1]:
        image = np.asarray(cv2.resize(image, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.uint8)
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)


def _measure(
    pixels: Pixels, paper: NDArray[np.float32], layers: Sequence[PrintLayer], spread: float, writing: NDArray[np.bool_]
) -> tuple[list[NDArray[np.float64]], InkColour]:
    """Return the density of each print layer and the ink's colour."""
    size = writing.shape[1], writing.shape[0]
    small = _shrunk(pixels, size)
    behind = cv2.resize(paper, size, interpolation=cv2.INTER_LINEAR)
    density = np.log((behind + 1.0) / (small + np.float32(1.0))).reshape(*writing.shape, -1)
    spread *= size[0] / pixels.shape[1]
    cover = []
    for layer in layers:
        fine = _shrunk(layer.coverage, size).astype(np.float32) / 255
        cover.append(np.asarray(cv2.GaussianBlur(fine, (0, 0), spread) if spread > 0.2 else fine, np.float32))
    near_print = np.zeros(writing.shape, bool)
    for c in cover:
        near_print |= cv2.dilate((c > 0.04).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    bare = density[writing & ~near_print & (density.max(axis=2) < 0.15)]
    noise = float(1.4826 * np.median(np.abs(bare - np.median(bare, axis=0)))) if len(bare) > 100 else 0.02
    printed = [_layer_density(density, c, cover) for c in cover]
    colour = _ink_colour(density[writing & ~near_print], max(noise, 0.004))
    return printed, colour


def _layer_density(
    density: NDArray[np.float32], mine: NDArray[np.float32], everything: Sequence[NDArray[np.float32]]
) -> NDArray[np.float64]:
    """Return what full coverage by one layer adds: the median over its pixels, so that some ink does no harm."""
    others = sum((c for c in everything if c is not mine), np.zeros_like(mine))
    top = float(np.quantile(mine[mine > 0.02], 0.9)) if (mine > 0.02).any() else 0.0
    alone = (mine >= max(0.6 * top, 0.05)) & (others < 0.02)
    if alone.sum() < 20:
        return np.zeros(density.shape[2], np.float64)
    return np.asarray(np.clip(np.median(density[alone] / mine[alone][:, None], axis=0), 0.0, 4.0), np.float64)


def _ink_colour(density: NDArray[np.float32], noise: float) -> InkColour:
    """Return the density of a full stroke: that of the darker half of what is surely ink."""
    channels = density.shape[1]
    level = density.max(axis=1)
    sure = level > max(_FAINTEST * 1.5, 6 * noise)
    if sure.sum() < 60:
        return InkColour(np.full(channels, 1.5), noise, measured=False)
    dark = density[sure & (level >= np.quantile(level[sure], 0.6))]
    return InkColour(np.maximum(np.median(dark, axis=0), 0.02).astype(np.float64), noise)


@dataclass(frozen=True, eq=False)
class _Ways:
    """How the amount of ink follows from the densities of the channels."""

    plain: NDArray[np.float64]
    """Shape (channels,): weights where nothing is printed."""

    near: list[NDArray[np.float64] | None]
    """For each layer the weights beside and on it; None where only the model tells ink and print apart."""


def _weights(printed: Sequence[NDArray[np.float64]], colour: InkColour) -> _Ways:
    ink = colour.density
    plain = ink / float(ink @ ink)
    near: list[NDArray[np.float64] | None] = []
    for d in printed:
        size = float(np.linalg.norm(d))
        weight = None
        if len(ink) > 1 and size > 2 * colour.noise:
            direction = d / size
            spread = colour.noise**2 * np.eye(len(ink)) + (0.5 * size) ** 2 * np.outer(direction, direction)
            solved = np.linalg.solve(spread, ink)
            weight = np.asarray(solved / float(ink @ solved), np.float64)
            if np.linalg.norm(weight) > 6 * np.linalg.norm(plain):
                weight = None  # ink of the print's own colour
        near.append(weight)
    return _Ways(plain, near)


def _ink_amount(
    pixels: Pixels,
    log_paper: NDArray[np.float32],
    rows: slice,
    cover: Sequence[NDArray[np.float32]],
    printed: Sequence[NDArray[np.float64]],
    ways: _Ways,
) -> NDArray[np.float32]:
    """Return the amount of ink, 1 for a full stroke; shape (rows, w)."""
    density = _enlarged(log_paper, (pixels.shape[0], pixels.shape[1]), rows)
    density -= cv2.LUT(pixels[rows], _LOG)
    shape = density.shape[:2]
    if density.ndim == 2:
        amount = density * np.float32(ways.plain[0])
    else:
        amount = np.asarray(cv2.transform(density, ways.plain[None].astype(np.float32)), np.float32).reshape(shape)
    for c, d in zip(cover, printed, strict=True):
        amount = np.asarray(cv2.scaleAdd(c, -float(ways.plain @ d) / 255, amount), np.float32)
    flat = density.reshape(-1, len(ways.plain))
    for c, weight in zip(cover, ways.near, strict=True):
        if weight is None:
            continue
        near = np.flatnonzero(cv2.dilate((c > 5).astype(np.uint8), np.ones((5, 5), np.uint8)))
        here = flat[near] @ weight.astype(np.float32)
        for other, d in zip(cover, printed, strict=True):
            here -= other.ravel()[near] * np.float32(weight @ d / 255)
        amount.ravel()[near] = here
    return amount
