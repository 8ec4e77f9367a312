"""What a flatbed scanner and a hand-held camera make of an inked page.

Both take a page image (h, w, 3) uint8, RGB, at `px_per_mm` and give a picture (RGB uint8). Pixel coordinates mean
pixel centres.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_sheets.writer.pen import Image, fibres

Array = NDArray[np.float64]
Picture = NDArray[np.float32]


@dataclass(frozen=True)
class Flatbed:
    """How a sheet lay on the glass, and how good the machine is."""

    dpi: float = 300.0
    bed_mm: tuple[float, float] = (215.9, 297.2)
    skew_deg: float = 0.5
    shift_mm: tuple[float, float] = (2.5, 0.2)
    """Where the sheet's middle lies from the middle of the glass."""

    stretch: float = 0.0015
    """By how much the carriage runs too slow (positive: the picture is longer than the sheet)."""

    jerk_mm: float = 0.06
    """Amplitude of the carriage's unevenness."""

    blur_px: float = 0.65
    noise: float = 2.6
    shade: float = 0.06
    """Loss of light from the brightest to the darkest corner."""

    upside_down: bool = False


def sheet_of_paper(printed: Image, px_per_mm: float, rng: np.random.Generator, *, dust: bool = True) -> Image:
    """Return a print on paper: off-white, with tooth and (with `dust`) some specks."""
    h, w = printed.shape[:2]
    side = min(1024, w)
    tooth = fibres((min(1024, h), side), px_per_mm, rng, grain_mm=0.16)
    out = np.empty_like(printed)
    for top in range(0, h, 1024):
        rows = printed[top : top + 1024].astype(np.float32)
        grain = np.tile(tooth[: len(rows)], (1, w // side + 1))[:, :w, None]
        out[top : top + 1024] = np.clip(rows * (np.array([0.975, 0.970, 0.950], np.float32) - 0.022 * grain), 0, 255)
    for _ in range(int(rng.integers(10, 22)) if dust else 0):
        x, y, size = rng.uniform(0, w), rng.uniform(0, h), rng.uniform(0.02, 0.10) * px_per_mm
        grey = int(rng.uniform(120, 205))
        axes = (max(1, round(size * rng.uniform(0.6, 2.0))), max(1, round(size)))
        cv2.ellipse(out, (int(x), int(y)), axes, rng.uniform(0, 180), 0, 360, (grey, grey, grey - 8), -1, cv2.LINE_AA)
    return out


def scanned(page: Image, px_per_mm: float, machine: Flatbed, rng: np.random.Generator) -> Image:
    """Return the picture that the flatbed makes of `page`."""
    k = machine.dpi / 25.4
    w, h = (round(v * k) for v in machine.bed_mm)
    size = np.array([page.shape[1], page.shape[0]]) / px_per_mm
    sharp = _blurred(page, machine.blur_px * px_per_mm / k)
    a = np.radians(machine.skew_deg)
    phases = rng.uniform(0, 2 * np.pi, 3)
    u = (np.arange(w) + 0.5) / k - machine.bed_mm[0] / 2 - machine.shift_mm[0]
    v = (np.arange(h) + 0.5) / k - machine.bed_mm[1] / 2 - machine.shift_mm[1]
    v = v / (1 + machine.stretch)
    v = v + machine.jerk_mm * sum(
        np.sin(2 * np.pi * v / wave + p) / i for i, (wave, p) in enumerate(zip((140, 47, 19), phases, strict=True), 1)
    )
    x = np.cos(a) * u[None, :] + np.sin(a) * v[:, None] + size[0] / 2
    y = -np.sin(a) * u[None, :] + np.cos(a) * v[:, None] + size[1] / 2
    # The lid is white; the sheet's edges throw a thin shadow on it.
    outside = np.maximum(np.maximum(-x, x - size[0]), np.maximum(-y, y - size[1]))
    lid = 236.0 - 52.0 * np.exp(-np.maximum(outside, 0) / 0.55)
    picture = _sampled(sharp, x, y, px_per_mm)
    picture = np.where((outside > 0)[:, :, None], lid[:, :, None].astype(np.float32), picture).astype(np.float32)
    gx, gy, bend = rng.uniform(-1, 1), rng.uniform(-1, 1), rng.uniform(0.3, 1.0)
    lx, ly = np.linspace(-1, 1, w)[None, :], np.linspace(-1, 1, h)[:, None]
    light = 1 - machine.shade * (0.25 * (1 + gx * lx) + 0.2 * (1 + gy * ly) + 0.35 * bend * lx**2)
    streaks = 1 + 0.004 * cv2.GaussianBlur(rng.normal(size=(1, w)).astype(np.float32), (0, 0), 3.0)
    picture *= (light * streaks)[:, :, None].astype(np.float32)
    noise = rng.normal(0, machine.noise, (h, w)).astype(np.float32)
    tint = cv2.resize(rng.normal(0, machine.noise * 0.6, (h // 2, w // 2, 3)).astype(np.float32), (w, h))
    picture += np.asarray(cv2.GaussianBlur(noise, (0, 0), 0.6))[:, :, None] * 1.6 + tint
    out: Image = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    return np.ascontiguousarray(out[::-1, ::-1]) if machine.upside_down else out


def photographed(
    page: Image, px_per_mm: float, rng: np.random.Generator, *, size_px: tuple[int, int] = (2560, 3413)
) -> Image:
    """Return a picture of the page on a table: from a little aside, in the light of a window."""
    w, h = size_px
    mm = np.array([page.shape[1], page.shape[0]]) / px_per_mm
    corners = np.array([[0.075, 0.062], [0.918, 0.048], [0.952, 0.948], [0.040, 0.936]]) * size_px
    corners += rng.normal(0, 0.006 * w, (4, 2))
    paper = np.array([[0, 0], [mm[0], 0], mm, [0, mm[1]]])
    back, _ = cv2.findHomography(corners, paper)
    # Barrel distortion of the lens, then the plane of the table.
    u, v = np.meshgrid(np.arange(w, dtype=float), np.arange(h, dtype=float))
    cx, cy, f = w / 2, h / 2, 0.5 * float(np.hypot(w, h))
    r2 = ((u - cx) ** 2 + (v - cy) ** 2) / f**2
    u, v = cx + (u - cx) * (1 + 0.012 * r2), cy + (v - cy) * (1 + 0.012 * r2)
    z = back[2, 0] * u + back[2, 1] * v + back[2, 2]
    x = (back[0, 0] * u + back[0, 1] * v + back[0, 2]) / z
    y = (back[1, 0] * u + back[1, 1] * v + back[1, 2]) / z
    y = y + 0.35 * np.sin(np.pi * x / mm[0])  # the sheet does not lie quite flat
    k = w * 0.87 / mm[0]
    sharp = _blurred(page, 0.85 * px_per_mm / k)
    outside = np.maximum(np.maximum(-x, x - mm[0]), np.maximum(-y, y - mm[1]))
    grain = cv2.resize(rng.normal(size=(h // 4, w // 90)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    table = np.array([138, 108, 80], np.float32) + grain[:, :, None] * np.array([7, 6, 5], np.float32)
    table = table * (1 - 0.35 * np.exp(-np.maximum(outside, 0) / 4.0))[:, :, None].astype(np.float32)
    picture = np.where((outside > 0)[:, :, None], table, _sampled(sharp, x, y, px_per_mm))
    lx, ly = np.linspace(-1, 1, w)[None, :], np.linspace(-1, 1, h)[:, None]
    light = 0.86 - 0.16 * lx - 0.09 * ly - 0.07 * (lx**2 + ly**2)
    warm = np.array([1.03, 1.0, 0.93], np.float32)
    picture = picture * light[:, :, None].astype(np.float32) * warm
    noise = rng.normal(0, 2.4, (h, w)).astype(np.float32)
    picture = picture + cv2.GaussianBlur(noise, (0, 0), 0.7)[:, :, None] * 1.5
    return np.asarray(np.clip(np.rint(picture), 0, 255), np.uint8)


def _blurred(page: Image, sigma_px: float) -> Image:
    return np.asarray(cv2.GaussianBlur(page, (0, 0), sigma_px), np.uint8)


def _sampled(page: Image, x: Array, y: Array, px_per_mm: float) -> Picture:
    at_x = (x * px_per_mm - 0.5).astype(np.float32)
    at_y = (y * px_per_mm - 0.5).astype(np.float32)
    return np.asarray(cv2.remap(page, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)
