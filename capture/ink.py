"""Ink alone: the paper, the light on it and everything that was printed are taken away, the strokes stay whole.

The model is Beer and Lambert's: densities (minus the logarithm of brightness over that of the paper) of what lies on
top of each other add up. At each pixel the density is

    paper + sum over print layers (coverage known from the sheet x density measured on this scan) + ink x its density

In colour the ink is found by its colour even where a guide lies a little off its place: the print's amount is given
a spread along the guide's colour, and the least squares that follow disregard that direction (best linear unbiased
estimate; Aitken 1935). In grey only the model remains, which is why the page is first brought to its print exactly.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.bilevel import without_print
from capture.illumination import estimate_paper
from capture.scan_image import Pixels

_BAND_ROWS = 512

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


@dataclass(frozen=True, eq=False)
class Sample:
    """The page at a low resolution, on which colours and levels are measured."""

    pixels: Pixels
    """Shape (h, w) or (h, w, 3)."""

    layers: Sequence[PrintLayer]
    """What was printed, each of shape (h, w)."""

    writing: NDArray[np.bool_]
    """Shape (h, w): where ink is expected."""

    px_per_mm: float


def separate(
    pixels: Pixels,
    layers: Sequence[PrintLayer],
    sample: Sample,
    *,
    px_per_mm: float,
    blur_px: float,
    two_tone: bool = False,
) -> PageInk:
    """Return the ink on a straightened page.

    Parameters
    ----------
    pixels
        Shape (h, w) or (h, w, 3).
    layers
        What was printed, each of shape (h, w).
    sample
        The same page at a lower resolution.
    px_per_mm
        Resolution of `pixels` and `layers`.
    blur_px
        Over how many pixels an edge passes from dark to bright.
    two_tone
        The scan is black and white only, see `capture.bilevel`.
    """
    paper = estimate_paper(sample.pixels, px_per_mm=sample.px_per_mm)
    spread = max(blur_px / 2.563, 0.3)  # a Gaussian's edge passes from 10 to 90 % over 2.563 of its deviations
    printed, colour = _measure(sample, paper, spread * sample.px_per_mm / px_per_mm)
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
    """Return the grey (paper 255, full stroke FULL_INK_GREY) for an `amount` of ink in each pixel (1: full)."""
    strength = np.float32(colour.strength)
    share = np.exp(-strength * np.clip(amount, 0, 4))
    scale = np.float32((255 - FULL_INK_GREY) / (1 - np.exp(-strength)))
    return np.asarray(np.clip((share - 1) * scale + np.float32(255.5), 0, 255), np.uint8)


_LOG = np.log(np.arange(256, dtype=np.float32) + 1.0)


def _enlarged(coarse: NDArray[np.float32], shape: tuple[int, int], rows: slice) -> NDArray[np.float32]:
    """Return some rows of a coarse image brought to `shape`, straight between its pixels."""
    fx, fy = coarse.shape[1] / shape[1], coarse.shape[0] / shape[0]
    to_coarse = np.array([[fx, 0, 0.5 * fx - 0.5], [0, fy, (rows.start + 0.5) * fy - 0.5]])
    size = shape[1], rows.stop - rows.start
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(coarse, to_coarse, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _measure(sample: Sample, paper: NDArray[np.float32], spread: float) -> tuple[list[NDArray[np.float64]], InkColour]:
    """Return the density of each print layer and the ink's colour."""
    writing = sample.writing
    # a plane for each channel: arrays of few MB are reused, larger ones are fetched from the system anew each time
    density = []
    for k, seen in enumerate([sample.pixels] if paper.ndim == 2 else cv2.split(sample.pixels)):
        back = np.log((paper if paper.ndim == 2 else paper[..., k]) + np.float32(1.0))
        density.append(cv2.resize(back, writing.shape[::-1], interpolation=cv2.INTER_LINEAR) - cv2.LUT(seen, _LOG))
    level = functools.reduce(np.maximum, density)
    cover = []
    for layer in sample.layers:
        fine = layer.coverage.astype(np.float32) / 255
        cover.append(np.asarray(cv2.GaussianBlur(fine, (0, 0), spread) if spread > 0.2 else fine, np.float32))
    near_print = np.zeros(writing.shape, np.uint8)
    for c in cover:
        near_print |= (c > 0.04).view(np.uint8)
    clear = writing & (cv2.dilate(near_print, np.ones((5, 5), np.uint8)) == 0)
    some = np.s_[::3, ::3]
    bare = [d[some][clear[some] & (level[some] < 0.15)] for d in density]
    off = np.concatenate([np.abs(b - np.median(b)) for b in bare if b.size > 100] or [np.zeros(0)])
    noise = float(1.4826 * np.median(off)) if off.size else 0.02
    printed = [_layer_density(density, c, cover) for c in cover]
    noise = max(noise, 0.004)
    colour = _ink_colour([d[clear] for d in density], level[clear], _on_fine_lines(level, noise)[clear], noise)
    return printed, colour


def _on_fine_lines(level: NDArray[np.float32], noise: float) -> NDArray[np.bool_]:
    """Return where lines are that are faint but narrow: of a hard pencil, not of ink that shows through or a fold."""
    around = cv2.GaussianBlur(level, (0, 0), 2.0)
    return (level > max(0.5 * _FAINTEST, 6 * noise)) & (around < 0.6 * level)


def _layer_density(
    density: Sequence[NDArray[np.float32]], mine: NDArray[np.float32], everything: Sequence[NDArray[np.float32]]
) -> NDArray[np.float64]:
    """Return what full coverage by one layer adds: the median over its pixels, so that some ink does no harm."""
    covered = mine[mine > 0.02]
    top = float(np.quantile(covered, 0.9)) if covered.size else 0.0
    alone = mine >= max(0.6 * top, 0.05)
    for other in everything:
        if other is not mine:
            alone &= other < 0.02
    if alone.sum() < 20:
        return np.zeros(len(density), np.float64)
    full = [float(np.median(d[alone] / mine[alone])) for d in density]
    return np.clip(np.array(full, np.float64), 0.0, 4.0)


def _ink_colour(
    density: Sequence[NDArray[np.float32]], level: NDArray[np.float32], fine: NDArray[np.bool_], noise: float
) -> InkColour:
    """Return the density of a full stroke: that of the darker half of what is surely ink.

    For each channel `density` holds some pixels, shape (n,); `level` is the largest of each pixel's, and `fine` says
    which of them lie on fine lines, to be taken where nothing is darker.
    """
    sure = level > max(_FAINTEST * 1.5, 6 * noise)
    if sure.sum() < 60:
        sure = fine
    if sure.sum() < 60:
        return InkColour(np.full(len(density), 1.5), noise, measured=False)
    dark = sure & (level >= np.quantile(level[sure], 0.6))
    return InkColour(np.array([max(float(np.median(d[dark])), 0.02) for d in density], np.float64), noise)


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
    kinds: list[NDArray[np.float64]] = [ways.plain]
    of_layer: list[int | None] = []
    for weight in ways.near:
        of_layer.append(None if weight is None else len(kinds))
        kinds += [] if weight is None else [weight]
    density = _enlarged(log_paper, pixels.shape[:2], rows)
    density -= cv2.LUT(pixels[rows], _LOG)
    amounts = []
    for weight in kinds:
        mix = weight[None].astype(np.float32)
        amount = density * mix[0, 0] if density.ndim == 2 else cv2.transform(density, mix).reshape(density.shape[:2])
        for c, d in zip(cover, printed, strict=True):
            share = -float(weight @ d) / 255
            amount = cv2.scaleAdd(c, share, amount) if share else amount
        amounts.append(np.asarray(amount, np.float32))
    for c, kind in zip(cover, of_layer, strict=True):
        if kind is not None:
            near = cv2.dilate((c > 5).astype(np.uint8), np.ones((5, 5), np.uint8))
            cv2.copyTo(amounts[kind], near, amounts[0])
    return amounts[0]
