"""The last tenths of a millimetre: the page is laid on its own print.

Marks stand at the edges only; a slipping feed or a curl shows inside as well. Each cell's guides and label are matched
with the drawing (least squares on the brightness, Lucas and Kanade, IJCAI 1981; ink weighs nothing by Tukey's
biweight), and a smooth surface through all the cells' shifts corrects the warp.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator

from capture.bilevel import is_two_tone
from capture.illumination import estimate_paper
from capture.ink import PrintLayer
from capture.page import MEASURING_PX_PER_MM, PageView
from capture.print_model import nominal_density, print_model
from capture.sheet import Box
from capture.units import Points
from capture.warp import moved, nodes_mm

_BLURS_MM = (0.5, 0.12)
"""Matched first as if seen from afar, which finds its way over half a millimetre, then sharply."""

_STIFFNESS = (0.01, 0.1, 1.0)
_UNIT_MM = 100.0
"""Keeps the spline's equations well conditioned."""

_STRIP_MM = 5.0
"""Whatever is matched and is lower than this has letters in it."""

_RIDGE = np.diag([1e-3, 1e-3, 1e-6, 1e-6])
"""Keeps the equations solvable where nothing is printed across a direction."""

_MOST_MM = 1.2
"""A cell that seems to lie further off is not believed."""


@dataclass(frozen=True, eq=False)
class Shifts:
    """Where the print was found. Frame: page."""

    at_mm: Points
    """Shape (n, 2, 2): for each place that was matched where its shift in x was measured, and where the one in y: the
    centre of the print that tells it."""

    shift_mm: Points
    """Shape (n, 2): by how much they were found further right and down than the warp said."""

    sd_mm: Points
    """Shape (n, 2): standard deviations of the shifts; large where nothing is printed across that direction."""


def register(view: PageView, layers: Sequence[PrintLayer] | None = None) -> tuple[PageView, float]:
    """Return the page seen through a warp that fits its print, and what still is off: the median over cells in mm.

    `layers` is what was printed, at `MEASURING_PX_PER_MM`, where it is known already.
    """
    boxes = _tiles(view)
    if len(boxes) < 8 or is_two_tone(view.scan.pixels):  # of a pale line, black and white shows scraps
        return view, view.local_error_mm
    if layers is None:
        layers = print_model(view.sheet, view.page).layers(MEASURING_PX_PER_MM)
    residual = view.local_error_mm
    blurs_mm: tuple[float, ...] = _BLURS_MM if view.local_error_mm > 0.06 else _BLURS_MM[1:]
    if view.local_error_mm > 0.5:  # what was out of reach at first comes into it when its neighbours have moved
        blurs_mm = _BLURS_MM[:1] * 2 + blurs_mm
    for blur_mm in blurs_mm:
        shifts = measure_shifts(view, layers, boxes, blur_mm=blur_mm)
        if len(shifts.at_mm) < 8:
            break
        at_nodes, left_over = _surface(shifts, nodes_mm(view.page.size_mm), view)
        warp = view.warp
        nodes = nodes_mm(view.page.size_mm)
        view = view.with_warp(moved(warp, view.page.size_mm, warp(nodes + at_nodes) - warp(nodes)))
        residual = left_over
    return view, residual


def _tiles(view: PageView) -> list[Box]:
    """Return what is matched as one: each cell, the strip above it, each ruled line in pieces."""
    tiles = []
    for cell in view.page.cells:
        x, y, w, h = cell.box_mm
        top = min(y, cell.label_mm[1])
        tiles.append((x - 0.6, y - 0.4, w + 1.2, h + 0.4))
        if y - top > 1.5:
            tiles.append((x - 0.6, top - 0.4, w + 1.2, y - top))
    for line in view.page.ruled:
        x, y, w, h = line.box_mm
        tiles += [(x + i * w / 8, y - 4.0, w / 8, h + 4.0) for i in range(8)]
    return tiles


def measure_shifts(view: PageView, layers: Sequence[PrintLayer], boxes: Sequence[Box], *, blur_mm: float) -> Shifts:
    """Return how far the print lies from its place in each box; boxes without a clear match are left out."""
    seen = view.measuring_pixels(channel=0)  # green print is darkest in red
    coarse = estimate_paper(seen, px_per_mm=MEASURING_PX_PER_MM)
    paper = cv2.resize(coarse, (seen.shape[1], seen.shape[0]), interpolation=cv2.INTER_LINEAR)
    density = -np.log(np.clip((seen + 1.0) / (paper + 1.0), 0.2, 1.2))
    drawn = np.zeros(seen.shape, np.float32)
    for layer in layers:
        drawn += layer.coverage * np.float32(nominal_density(layer, 3 if view.scan.pixels.ndim == 3 else 1)[0] / 255)
    sigma = max(blur_mm * MEASURING_PX_PER_MM, 0.3)
    scan_blur = view.blur_mm / 2.563 * MEASURING_PX_PER_MM
    print_image = np.asarray(cv2.GaussianBlur(drawn, (0, 0), float(np.hypot(sigma, scan_blur))), np.float32)
    scan_image = np.asarray(cv2.GaussianBlur(np.minimum(density, 1.2).astype(np.float32), (0, 0), sigma), np.float32)
    found = [_match(scan_image, print_image, box) for box in boxes]
    numbers = np.array([f for f in found if f is not None]).reshape(-1, 4, 2)
    high = np.array([box[3] for box, f in zip(boxes, found, strict=True) if f is not None])
    # Letters are not printed as they are drawn, to a few hundredths of a millimetre; lines are.
    least = np.where(high < _STRIP_MM, 0.03, 0.006)
    return Shifts(numbers[:, 2:], numbers[:, 0], np.maximum(numbers[:, 1], least[:, None]))


def _match(scan: NDArray[np.float32], drawn: NDArray[np.float32], box: Box) -> Points | None:
    """Return for one box shift, its deviations, where x and where y were measured, mm, (4, 2); None without a match."""
    ppm = MEASURING_PX_PER_MM
    x0, y0, x1, y1 = (round(v * ppm) for v in (box[0], box[1], box[0] + box[2], box[1] + box[3]))
    pad = 12
    if x0 < pad or y0 < pad or x1 > scan.shape[1] - pad or y1 > scan.shape[0] - pad:
        return None
    target = drawn[y0:y1, x0:x1]
    gx = (drawn[y0:y1, x0 + 1 : x1 + 1] - drawn[y0:y1, x0 - 1 : x1 - 1]) / 2
    gy = (drawn[y0 + 1 : y1 + 1, x0:x1] - drawn[y0 - 1 : y1 - 1, x0:x1]) / 2
    steep = np.maximum(np.abs(gx), np.abs(gy))
    top = float(steep.max())
    if top < 1e-3:
        return None
    telling = steep > 0.02 * top
    telling[::2, ::2] = True  # of the empty paper some pixels tell as much as all
    use = np.flatnonzero(telling)
    design = np.stack([gx.ravel()[use], gy.ravel()[use], target.ravel()[use], np.ones(use.size)], axis=1)
    shift = np.zeros(2)
    covariance = np.full(2, np.inf)
    weight: NDArray[np.float64] = np.ones(use.size)
    for turn in range(6):
        moved_to = np.array([[1, 0, x0 + shift[0]], [0, 1, y0 + shift[1]]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        seen = cv2.warpAffine(scan, moved_to, (x1 - x0, y1 - y0), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        here = seen.ravel()[use].astype(np.float64)
        solution: NDArray[np.float64] = np.zeros(4)
        for _ in range(2 if turn else 4):  # later turns begin with the weights of the one before
            weighted = (design * weight[:, None]).T
            normal = weighted @ design + _RIDGE
            solution = np.asarray(np.linalg.solve(normal, weighted @ here), np.float64)
            rest = here - design @ solution
            size = np.abs(rest)
            scale = max(1.4826 * _middle(size[::3]), 0.01)
            weight = np.maximum(1 - (size / (4 * scale)) ** 2, 0) ** 2
        gain = solution[2]
        if gain < 0.15:
            return None
        step = -solution[:2] / gain
        shift = shift + np.clip(step, -2.5, 2.5)
        covariance = scale**2 * np.diag(np.linalg.inv(normal))[:2] / gain**2
        if np.abs(shift).max() > _MOST_MM * ppm:
            return None
        if np.abs(step).max() < 0.05:  # px: what the next step would bring is a fraction of this one
            break
    sd = np.sqrt(covariance) / ppm
    places = np.stack([use % (x1 - x0) + x0, use // (x1 - x0) + y0], axis=1)
    told_by = weight[:, None] * design[:, :2] ** 2 + 1e-12
    centres = told_by.T @ places / told_by.sum(axis=0)[:, None]
    return np.array([shift / ppm, sd, *((centres + 0.5) / ppm)])


def _middle(values: NDArray[np.float64]) -> float:
    """Return the median; `np.median` takes twice as long over few values."""
    return float(np.partition(values, values.size // 2)[values.size // 2])


def _surface(shifts: Shifts, nodes: Points, view: PageView) -> tuple[Points, float]:
    """Return a smooth shift at the nodes (rows, columns, 2), and how far off it lies where it was not fitted, mm.

    How smooth is settled by cross-validation: each fifth of the cells is foretold from the other four. The median of
    that error over the cells is the second value. The marks hold the surface at the edges, where it is zero.
    """
    ids = {m.id for m in view.marks}
    marks = np.array([(m.x_mm, m.y_mm) for m in view.page.marks if m.id in ids])
    w, h = view.page.size_mm
    inside = np.clip(nodes.reshape(-1, 2), -6.0, [w + 6.0, h + 6.0])
    out = np.zeros(nodes.shape)
    off = np.zeros((len(shifts.at_mm), 2))
    for axis in (0, 1):
        fit, off[:, axis] = _smooth_through(
            shifts.at_mm[:, axis], shifts.shift_mm[:, axis], shifts.sd_mm[:, axis], marks
        )
        if fit is not None:
            out[..., axis] = fit(inside / _UNIT_MM).reshape(nodes.shape[:2])
    return out, float(np.median(np.hypot(*off.T)))


def _smooth_through(
    at: Points, value: NDArray[np.float64], sd: NDArray[np.float64], marks: Points
) -> tuple[RBFInterpolator | None, NDArray[np.float64]]:
    """Return the smooth surface through the values, zero at the marks, and what it misses when it is not shown them."""
    sure = sd < 0.15
    if sure.sum() < 8:
        return None, np.zeros(len(at))

    def surface(use: NDArray[np.bool_], stiffness: float) -> RBFInterpolator:
        places = np.concatenate([at[use], marks]) / _UNIT_MM
        values = np.concatenate([value[use], np.zeros(len(marks))])
        spread = np.concatenate([sd[use], np.full(len(marks), 0.02)]) / 0.02
        return RBFInterpolator(places, values, kernel="thin_plate_spline", degree=1, smoothing=stiffness * spread**2)

    fold = np.arange(len(at)) * 7 % 5
    best = np.full(len(at), np.inf)
    chosen = _STIFFNESS[0]
    for stiffness in _STIFFNESS:
        missed = np.zeros(len(at))
        for k in range(5):
            missed[fold == k] = value[fold == k] - surface(sure & (fold != k), stiffness)(at[fold == k] / _UNIT_MM)
        if np.median(np.abs(missed[sure])) < np.median(np.abs(best[sure])):
            best, chosen = missed, stiffness
    limit = max(5 * 1.4826 * float(np.median(np.abs(best[sure]))), 0.03)
    return surface(sure & (np.abs(best) < limit), chosen), np.where(sure, best, 0.0)
