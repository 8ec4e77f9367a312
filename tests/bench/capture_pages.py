"""Pages with known truth: a sheet is printed, written in and scanned or photographed, all by calculation.

Every picture is made by asking, for each of its pixels, which place of the page it sees; the way back, which reading
must find, is only known here. Lengths in mm, page frame (origin top left, y down); pixel coordinates are centres.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import pypdfium2 as pdfium
from HersheyFonts import HersheyFonts

from capture.print_sheet import sheet_pdf
from capture.scan import Scan
from capture.sheet import Cell, Page, Sheet
from tests.bench.capture_files import through_file

SOURCE_PX_PER_MM = 20.0
"""Of the page that is looked at; finer than any picture of it that is made here."""

INKS = {"black": (35, 33, 38), "blue": (40, 55, 140), "red": (185, 35, 45), "pale": (150, 148, 150)}


@dataclass(frozen=True, eq=False)
class Written:
    """What stands in one cell."""

    cell: Cell
    strokes: list[np.ndarray]
    """Page frame, shape (n, 2) each; empty in a blank cell."""

    ticked: bool = False


@dataclass(frozen=True)
class Degrade:
    """How a page comes to be a picture; the defaults are a good colour flatbed scan."""

    dpi: float = 300.0
    turn_deg: float = 0.4
    print_scale: float = 1.0
    feed_mm: float = 0.0
    """Half the amplitude of a feed that slips, twice over the page's height."""

    tilt_deg: float = 0.0
    """More than 0: a photo, from this far off the vertical."""

    curl_mm: float = 0.0
    lens: float = 0.0
    shadow: float = 0.0
    """Share of the light that is lost in the shadow."""

    warm: float = 0.0
    blur_mm: float = 0.04
    motion_mm: float = 0.0
    noise: float = 2.0
    jpeg: int = 0
    bilevel: bool = False
    grey: bool = False
    grey_print: bool = False
    show_through: float = 0.0
    dust: int = 0
    fold: float = 0.0
    staples: int = 0
    """0 to 3: one in the corner, one over a cell, one over a guide and a label."""

    copies: int = 0
    """Generations of photocopying, each a little larger, harder and dirtier than the one before."""

    covered_mark: int = -1
    table: bool = False
    crop_mm: float = 0.0
    """How much of the lower right corner the picture misses, along both edges."""

    file: str = ""
    """A kind of file the picture goes through, of `tests.bench.capture_files.KINDS`."""

    quarter_turns: int = 0
    stray_mm: float = 0.0
    """Standard deviation of where a letter is written about the middle of its cell; for `write_cells`."""

    pen_mm: float = 0.5
    ink: str = "black"
    seed: int = 0

    def but(self, **changes) -> Degrade:
        return replace(self, **changes)


@dataclass(frozen=True, eq=False)
class Picture:
    scan: Scan
    page_of: Callable[[np.ndarray], np.ndarray]
    """Truth: page mm for scan px, shape (n, 2)."""

    ink: np.ndarray
    """Shape (h, w) uint8 at `SOURCE_PX_PER_MM`, page frame: share of each pixel that ink covers, times 255."""

    owner: np.ndarray
    """Shape (h, w) int16, the same grid: index of the cell whose ink it is + 1."""

    written: list[Written] = field(default_factory=list)


def write_cells(
    page: Page, *, seed: int = 0, blank: float = 0.05, ticked: float = 0.04, stray_mm: float = 0.0
) -> list[Written]:
    """Put Hershey's strokes (NBS Special Publication 424, 1976) into the cells, by a shaky hand.

    `stray_mm` is how far, as a standard deviation, a letter lies from where it belongs.
    """
    rng = np.random.default_rng(seed)
    font = HersheyFonts()
    font.load_default_font("rowmans")
    font.normalize_rendering(1.0)
    written = []
    for cell in page.cells:
        kind = rng.random()
        if kind < blank:
            written.append(Written(cell, []))
            continue
        size = cell.x_height_mm * 1.5
        letter = cell.char if 32 < ord(cell.char[0]) < 127 else "abdefghkmnpqrtuwxyz"[rng.integers(19)]
        lines = [np.array(s, float) for s in font.strokes_for_text(letter)]
        lines = [s for s in lines if len(s)]
        if not lines:
            lines = [np.array([[0, 0], [0.4, 0.6]])]
        everything = np.concatenate(lines)
        slant = np.array([[1, 0], [rng.normal(0.1, 0.08), 1]])
        grow = size * rng.normal(1, 0.08)
        x0, _y0, w, _ = cell.box_mm
        middle = 0.5 * (everything[:, 0].min() + everything[:, 0].max())
        shift = np.array([x0 + w / 2 + rng.normal(0, 0.3), cell.baseline_mm + rng.normal(0, 0.2)])
        shift = shift + rng.normal(0, 1.0, 2) * stray_mm
        flip = np.array([1.0, -1.0])
        strokes = []
        for s in lines:
            p = ((s - [middle, 0]) @ slant) * grow * flip + shift
            dense = np.concatenate([np.linspace(a, b, 6)[:-1] for a, b in itertools.pairwise(p)] + [p[-1:]])
            strokes.append(dense + cv2.GaussianBlur(rng.normal(0, 0.25, dense.shape), (1, 9), 2.5))
        written.append(Written(cell, strokes, ticked=kind > 1 - ticked))
    return written


def ink_of(page: Page, written: list[Written], *, pen_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Return coverage (uint8) and owner (int16) of the ink on the page at `SOURCE_PX_PER_MM`."""
    ppm = SOURCE_PX_PER_MM
    shape = tuple(round(s * ppm) for s in page.size_mm[::-1])
    ink, owner = np.zeros(shape, np.uint8), np.zeros(shape, np.int16)
    for i, w in enumerate(written):
        for s in w.strokes:
            _line(ink, s, pen_mm, 255)
            _line(owner, s, pen_mm + 0.06, i + 1)
        if w.ticked:
            x, y, a, b = w.cell.tick_mm
            _line(ink, np.array([[x - 0.2, y + 0.4 * b], [x + 0.4 * a, y + b], [x + a + 0.5, y - 0.3]]), pen_mm, 255)
    if page.patch_mm:
        x, y, a, b = page.patch_mm
        for k in range(3):
            row = y + (k + 1) * b / 4
            _line(ink, np.array([[x + 0.12 * a, row], [x + 0.6 * a, row]]), pen_mm, 255)
            _line(ink, np.array([[x + 0.8 * a, row], [x + 0.8 * a, row]]), pen_mm, 255)
    return ink, owner


def _line(image: np.ndarray, points_mm: np.ndarray, width_mm: float, value: int) -> None:
    px = np.round((points_mm * SOURCE_PX_PER_MM - 0.5) * 256).astype(np.int32)
    width = width_mm * SOURCE_PX_PER_MM
    if image.dtype == np.uint8:
        # OpenCV's soft-edged lines cover 1.7 px more than their thickness (measured); what a hair line then covers too
        # much is taken from its darkness
        thickness = max(1, int(np.ceil(width - 1.7 - 0.5)))
        cv2.polylines(
            image, [px.reshape(-1, 1, 2)], False, round(value * min(1.0, width / (thickness + 1.7))), thickness,
            cv2.LINE_AA, 8,
        )  # fmt: skip
    else:
        cv2.polylines(image, [px.reshape(-1, 1, 2)], False, int(value), max(1, round(width)), cv2.LINE_8, 8)


def print_page(sheet: Sheet, page: Page) -> np.ndarray:
    """Return the page's print, uint8 RGB at `SOURCE_PX_PER_MM`, rendered from its PDF by PDFium."""
    document = pdfium.PdfDocument(sheet_pdf(sheet))
    number = [p.page for p in sheet.pages].index(page.page)
    image = document[number].render(scale=SOURCE_PX_PER_MM * 25.4 / 72, rev_byteorder=True).to_numpy()[..., :3]
    document.close()
    w, h = page.size_mm
    # PDFium rounds the picture up to whole pixels and stretches the page to it; this takes the stretch out again
    kx, ky = (n / (mm * SOURCE_PX_PER_MM) for n, mm in ((image.shape[1], w), (image.shape[0], h)))
    back = np.array([[kx, 0, 0.5 * kx - 0.5], [0, ky, 0.5 * ky - 0.5]])
    size = round(w * SOURCE_PX_PER_MM), round(h * SOURCE_PX_PER_MM)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(np.ascontiguousarray(image), back, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)


def take(page: Page, print_rgb: np.ndarray, written: list[Written], how: Degrade) -> Picture:
    """Return the picture of a printed and written page; `print_rgb` is its print at `SOURCE_PX_PER_MM`, uint8."""
    rng = np.random.default_rng(how.seed)
    ink, owner = ink_of(page, written, pen_mm=how.pen_mm)
    h, w = ink.shape
    page_rgb = print_rgb.copy()
    if how.grey_print:
        page_rgb = cv2.cvtColor(cv2.cvtColor(page_rgb, cv2.COLOR_RGB2GRAY), cv2.COLOR_GRAY2RGB)
    share = ink
    if how.ink == "pale":  # graphite lies unevenly on the grain of the paper
        grain = cv2.resize(rng.normal(0.9, 0.15, (h // 3, w // 3)).astype(np.float32), (w, h)).clip(0.3, 1)
        share = (ink * grain).astype(np.uint8)
    _darken(page_rgb, share, np.array(INKS[how.ink]) / 255)
    if how.show_through:
        _darken(
            page_rgb, cv2.GaussianBlur(np.ascontiguousarray(ink[:, ::-1]), (0, 0), 5), np.full(3, 1 - how.show_through)
        )
    _dirty(page_rgb, how, rng)
    for _ in range(how.copies):
        page_rgb = _photocopied(page_rgb, rng)
    if how.staples:
        _staple(page_rgb, page, how.staples)
    size, page_of = _view(page.size_mm, how)
    out = _seen(page_rgb, page_of, size, how, rng)
    out = _developed(out, how, rng)
    if how.quarter_turns:
        out = np.ascontiguousarray(np.rot90(out, how.quarter_turns))
        inner, k, (hh, ww) = page_of, how.quarter_turns % 4, size

        def turned(p: np.ndarray) -> np.ndarray:
            x, y = p.T
            back = {1: (ww - 1 - y, x), 2: (ww - 1 - x, hh - 1 - y), 3: (y, hh - 1 - x)}[k]
            return inner(np.column_stack(back))

        page_of = turned if k else inner
    scan = Scan(out, f"simulated-{how.seed}.png", dpi=None if how.tilt_deg else how.dpi)
    if how.file:
        scan = through_file(scan, how.file)
    return Picture(scan, page_of, ink, owner, written)


def _darken(page_rgb: np.ndarray, share: np.ndarray, colour: np.ndarray) -> None:
    """Multiply what shows through ink of `colour` (0 to 1), where it covers `share` (uint8) of a pixel."""
    rows, columns = np.nonzero(share)
    factor = 1 - share[rows, columns, None] / 255 * (1 - colour)
    page_rgb[rows, columns] = (page_rgb[rows, columns] * factor).round()


def _dirty(page_rgb: np.ndarray, how: Degrade, rng: np.random.Generator) -> None:
    h, w = page_rgb.shape[:2]
    for _ in range(how.dust):
        at = (int(rng.integers(w)), int(rng.integers(h)))
        cv2.circle(page_rgb, at, int(rng.integers(1, 4)), (60, 58, 55), -1, cv2.LINE_AA)
    if how.fold:
        rows = slice(int(h * 0.52) - 40, int(h * 0.52) + 60)
        away = np.arange(-40, 60, dtype=np.float32)[:, None, None]
        light = 1 - how.fold * np.exp(-((away / 7) ** 2)) + 0.3 * how.fold * np.exp(-(((away - 13) / 7) ** 2))
        page_rgb[rows] = (page_rgb[rows] * light).clip(0, 255)


def _photocopied(page_rgb: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return a copy of a page, grey: what is pale goes pale or goes away, what is dark goes black; toner specks."""
    grey = cv2.GaussianBlur(cv2.cvtColor(page_rgb, cv2.COLOR_RGB2GRAY), (0, 0), 0.05 * SOURCE_PX_PER_MM)
    level = np.arange(256) / 255
    harder = np.clip(255 / (1 + np.exp(-(level - 0.62) * 9)) / (1 / (1 + np.exp(-0.38 * 9))), 0, 252).astype(np.uint8)
    copy = cv2.LUT(grey, harder)
    h, w = copy.shape
    for _ in range(250):
        at = (int(rng.integers(w)), int(rng.integers(h)))
        cv2.circle(copy, at, int(rng.integers(1, 3)), int(rng.integers(20, 120)), -1, cv2.LINE_AA)
    return cv2.cvtColor(copy, cv2.COLOR_GRAY2RGB)


def _staple(page_rgb: np.ndarray, page: Page, count: int) -> None:
    """Lay staples on the page: 12 mm of bright wire half a millimetre thick, with a shadow under its edge."""
    x, y, _, h = page.cells[len(page.cells) // 2].box_mm
    label = page.cells[len(page.cells) // 3]
    places = [
        ((6.0, 17.0), (14.5, 8.5)),
        ((x - 1.0, y + 0.75 * h), (x + 11.0, y + 0.45 * h)),
        ((label.label_mm[0] - 1.0, label.label_mm[1]), (label.label_mm[0] + 11.0, label.label_mm[1] - 1.0)),
    ]
    for start, end in places[:count]:
        line = np.array([start, end])
        for shift, width, grey in ((0.25, 0.5, 120), (0.0, 0.55, 150), (-0.08, 0.2, 250)):
            px = np.round(((line + shift) * SOURCE_PX_PER_MM - 0.5) * 256).astype(np.int32)
            thick = max(1, round(width * SOURCE_PX_PER_MM - 1.7))
            cv2.polylines(page_rgb, [px.reshape(-1, 1, 2)], False, (grey, grey, grey), thick, cv2.LINE_AA, 8)


def _view(size_mm: tuple[float, float], how: Degrade) -> tuple[tuple[int, int], Callable[[np.ndarray], np.ndarray]]:
    """Return the picture's (height, width) and the way from its pixels to the page."""
    ppm = how.dpi / 25.4
    wide, high = size_mm
    border = 6.0 if not how.tilt_deg else 16.0
    a = np.radians(how.turn_deg)
    # a page that is turned far lies on a bed, or in a picture, that is large enough for it
    more = 0.5 * (np.abs([[np.cos(a), np.sin(a)], [np.sin(a), np.cos(a)]]) @ [wide, high] - [wide, high])
    more = more.clip(0) if how.turn_deg > 5 else np.zeros(2)
    shape = (round((high + 2 * (border + more[1])) * ppm), round((wide + 2 * (border + more[0])) * ppm))
    back = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    middle = np.array([wide, high]) / 2
    if how.crop_mm:
        shape = (round((high + border - how.crop_mm) * ppm), round((wide + border - how.crop_mm) * ppm))

    def flat(px: np.ndarray) -> np.ndarray:
        p = (px + 0.5) / ppm - border - more
        p[:, 1] += how.feed_mm * np.sin(p[:, 1] / high * 4 * np.pi)
        return (p - middle) @ back.T / how.print_scale + middle

    distance = 1.9 * high
    tilt = np.radians(how.tilt_deg)
    bend = np.linspace(-0.6 * wide, 0.6 * wide, 400)
    depth = how.curl_mm * np.cos(bend / wide * np.pi)
    arc = np.concatenate([[0], np.cumsum(np.hypot(np.diff(bend), np.diff(depth)))])
    arc -= np.interp(0, bend, arc)

    def photo(px: np.ndarray) -> np.ndarray:
        p = ((px + 0.5) / ppm - border - more - middle) @ back.T / distance
        r2 = (p**2).sum(axis=1, keepdims=True)
        p = p * (1 + how.lens * r2 / 0.1)
        z = np.zeros(len(p))
        for _ in range(12):  # the ray meets the bent sheet where its height is the sheet's
            # plane tilted about x: camera coordinates (x, y cos - z sin, y sin + z cos + distance)
            y = (distance * p[:, 1] + z * (np.cos(tilt) * p[:, 1] + np.sin(tilt))) / (
                np.cos(tilt) - np.sin(tilt) * p[:, 1]
            )
            x = p[:, 0] * (y * np.sin(tilt) + z * np.cos(tilt) + distance)
            z = -np.interp(x, bend, depth)
        return np.column_stack([np.interp(x, bend, arc), y]) / how.print_scale + middle

    return shape, photo if how.tilt_deg or how.curl_mm or how.lens else flat


def _seen(
    page_rgb: np.ndarray,
    page_of: Callable[[np.ndarray], np.ndarray],
    size: tuple[int, int],
    how: Degrade,
    rng: np.random.Generator,
) -> np.ndarray:
    ratio = SOURCE_PX_PER_MM / (how.dpi / 25.4)
    sigma = float(np.hypot(0.35 * ratio, how.blur_mm * SOURCE_PX_PER_MM))
    source = cv2.GaussianBlur(page_rgb, (0, 0), sigma)
    h, w = size
    step = 8
    gy, gx = np.mgrid[-1 : h // step + 3, -1 : w // step + 3]
    nodes = np.column_stack([gx.ravel() * step, gy.ravel() * step]).astype(float) + (step - 1) / 2
    mm = page_of(nodes) * SOURCE_PX_PER_MM - 0.5
    x, y = (
        cv2.resize(mm[:, k].reshape(gx.shape).astype(np.float32), None, fx=step, fy=step)[
            step : step + h, step : step + w
        ]
        for k in (0, 1)
    )
    out = np.full((h, w, 3), 246.0, np.float32)
    if how.table:
        grain = cv2.resize(rng.normal(0, 18, (h // 20 + 1, w // 60 + 1)).astype(np.float32), (w, h))
        out[:] = np.array([92, 70, 52], np.float32) + grain[..., None]
        for _ in range(40):
            at = rng.integers(0, [w, h])
            colour = rng.integers(0, 255, 3).tolist()
            cv2.rectangle(out, at.tolist(), (at + rng.integers(20, 160, 2)).tolist(), colour, -1)
    for top in range(0, h, 1024):
        rows = slice(top, top + 1024)
        seen = cv2.remap(source, x[rows], y[rows], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
        outside = (x[rows] < 0) | (y[rows] < 0) | (x[rows] > source.shape[1] - 1) | (y[rows] > source.shape[0] - 1)
        out[rows] = np.where(outside[..., None], out[rows], seen)
    if how.covered_mark >= 0:
        ppm = how.dpi / 25.4
        inset = ((16.0 if how.tilt_deg else 6.0) + 8.5) * ppm  # about where the corner marker lies
        at = np.array(
            [(inset, inset), (w - inset, inset), (inset, h - inset), (w - inset, h - inset)][how.covered_mark]
        )
        a, b = at + np.array([-25, 9]) * ppm, at + np.array([25, -9]) * ppm
        cv2.line(out, tuple(int(v) for v in a), tuple(int(v) for v in b), (30.0, 60.0, 120.0), int(8 * ppm))
    return out


def _developed(out: np.ndarray, how: Degrade, rng: np.random.Generator) -> np.ndarray:
    h, w = out.shape[:2]
    light = np.full((h, w), 0.965, np.float32)
    if how.shadow:
        yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
        edge = (xx * 0.7 + yy * 0.5 - 0.55 * w) / (0.02 * w)
        light *= 1 - how.shadow / (1 + np.exp(-edge.clip(-30, 30)))
        light *= 1 - 0.3 * how.shadow * ((xx / w - 0.3) ** 2 + (yy / h - 0.4) ** 2)
    tint = (1, 1 - 0.10 * how.warm, 1 - 0.3 * how.warm)
    for k in range(3):
        out[..., k] *= light * np.float32(tint[k])
    if how.motion_mm:
        n = round(how.motion_mm * how.dpi / 25.4) | 1
        kernel = np.zeros((n, n), np.float32)
        cv2.line(kernel, (0, n // 3), (n - 1, n - 1 - n // 3), 1.0, 1)
        kernel = kernel + kernel[::-1, ::-1]  # its middle in the middle, or the whole picture would move
        out = cv2.filter2D(out, -1, kernel / kernel.sum())
    if how.noise:
        out += rng.standard_normal(out.shape, np.float32) * np.float32(how.noise)
    image = cv2.convertScaleAbs(np.maximum(out, 0))
    if how.jpeg:
        _, data = cv2.imencode(".jpg", image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, how.jpeg])
        image = cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()
    if how.grey or how.bilevel:
        image = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    if how.bilevel:
        image = np.where(image > 150, 255, 0).astype(np.uint8)
    return image
