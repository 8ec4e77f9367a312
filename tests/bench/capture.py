"""How far a page may be spoiled before reading it fails: a grid of degradations at graded strength.

`python -m tests.bench capture [--quick] [--only WORD,WORD]`. The pages are simulated (`tests.bench.capture_pages`), so
that the truth is known: what was written where, and which place of the page each pixel of the picture sees. Beside
it, on the same pictures, the plain way: the detector's four corner markers, one homography, the cell's box cut out, ink
by Otsu's threshold (1979) or by Sauvola's (Sauvola & Pietikäinen 2000), both from scikit-image.

Columns, for our way and then for the plain way with the one and the other:

    status   cells whose status (written, blank, spoiled) is right, of all
    missed   share of the true ink that was not read, %
    false    share of the ink read that lies more than 0.15 mm from any true ink, %
    error    registration error in mm over the corners and middles of all cells: mean / 95th percentile
    wrong    cells that hold mostly another cell's ink and are not named in a finding; must be 0
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from skimage.filters import threshold_otsu, threshold_sauvola

from capture.errors import OwnhandError
from capture.layout import lay_out
from capture.page import straighten
from capture.read import read_page
from capture.register import register
from capture.sheet import MARK_DICTIONARY, Page, Sheet
from tests.bench.capture_files import KINDS
from tests.bench.capture_pages import SOURCE_PX_PER_MM, Degrade, Picture, Written, print_page, take, write_cells

FLAT = Degrade()
PHOTO = Degrade(tilt_deg=8, turn_deg=3, jpeg=80, table=True)

GRID: dict[str, list[Degrade]] = {
    "dpi": [FLAT.but(dpi=d) for d in (100, 150, 200, 300, 450)],
    "skew": [FLAT.but(turn_deg=d) for d in (2, 10, 45)],
    "upside down": [FLAT.but(quarter_turns=k) for k in (1, 2, 3)],
    "print scale": [FLAT.but(print_scale=s) for s in (0.90, 0.94, 0.97, 1.04)],
    "feed slips": [FLAT.but(feed_mm=f) for f in (0.1, 0.2, 0.4, 0.8)],
    "grey": [FLAT.but(grey=True), FLAT.but(grey=True, ink="red"), FLAT.but(grey=True, ink="pale", pen_mm=0.25)],
    "grey print": [FLAT.but(grey_print=True), FLAT.but(grey_print=True, ink="pale", pen_mm=0.25)],
    "black and white": [FLAT.but(bilevel=True), FLAT.but(bilevel=True, grey_print=True, dpi=200)],
    "show-through": [FLAT.but(show_through=s) for s in (0.1, 0.2, 0.35, 0.5)],
    "dust": [FLAT.but(dust=n) for n in (50, 200, 800)],
    "fold": [FLAT.but(fold=f) for f in (0.2, 0.4, 0.6, 0.8)],
    "staples": [FLAT.but(staples=n) for n in (1, 2, 3)],
    "photocopy": [FLAT.but(copies=n) for n in (1, 2, 3)],
    "file": [FLAT.but(file=k) for k in KINDS],
    "pen": [FLAT.but(pen_mm=w) for w in (0.1, 0.15, 0.3, 1.0, 2.0)],
    "pencil": [FLAT.but(pen_mm=w, ink="pale") for w in (0.1, 0.2, 0.5)],
    "ink": [FLAT.but(ink=i) for i in ("blue", "red")] + [FLAT.but(ink="red", grey_print=True)],
    "noise": [FLAT.but(noise=n) for n in (6, 15, 30)],
    "jpeg": [FLAT.but(jpeg=q) for q in (60, 30, 10)] + [PHOTO.but(jpeg=q) for q in (60, 30)],
    "tilt": [PHOTO.but(tilt_deg=t) for t in (10, 20, 30, 40, 50)],
    "curl": [PHOTO.but(curl_mm=c) for c in (2, 5, 10, 20)],
    "lens": [PHOTO.but(lens=k) for k in (-0.02, -0.05, -0.1, 0.05)],
    "warm light": [PHOTO.but(warm=w) for w in (0.5, 1.0, 2.0)],
    "shadow": [PHOTO.but(shadow=s, warm=0.7) for s in (0.3, 0.5, 0.7)],
    "out of focus": [PHOTO.but(blur_mm=b) for b in (0.1, 0.2, 0.3, 0.5)],
    "shake": [PHOTO.but(motion_mm=m) for m in (0.3, 0.6, 1.0)],
    "cropped corner": [PHOTO.but(crop_mm=c) for c in (6, 12, 25)],
    "pen on a mark": [PHOTO.but(covered_mark=k) for k in (0, 1, 2, 3)],
    "straying hand": [FLAT.but(stray_mm=s) for s in (1, 2, 3)],
    "all of it": [
        PHOTO.but(tilt_deg=t, curl_mm=c, lens=k, shadow=s, warm=w, blur_mm=b, jpeg=q, covered_mark=m, dust=d)
        for t, c, k, s, w, b, q, m, d in (
            (15, 3, -0.02, 0.3, 0.5, 0.08, 70, 1, 40),
            (30, 5, -0.03, 0.5, 0.7, 0.12, 60, 2, 60),
            (40, 8, -0.05, 0.6, 1.0, 0.20, 50, 0, 80),
        )
    ],
}  # fmt: skip
QUICK = ("dpi", "feed slips", "grey print", "black and white", "pencil", "tilt", "curl", "all of it")


@dataclass(frozen=True)
class Score:
    """What one way made of one picture."""

    status: int
    missed: float
    false: float
    error_mm: float
    error95_mm: float
    wrong: int

    def __str__(self) -> str:
        return (
            f"{self.status:4d} {100 * self.missed:7.2f} {100 * self.false:6.2f} "
            f"{self.error_mm:7.3f}/{self.error95_mm:.3f} {self.wrong:4d}"
        )


def true_status(w: Written) -> str:
    """Return the status that reading has to find."""
    return "spoiled" if w.ticked else "written" if w.strokes else "blank"


def places(page: Page) -> np.ndarray:
    """Return corners and middles of all cells, page mm."""
    boxes = [c.box_mm for c in page.cells]
    return np.array([(x + i * w, y + j * h) for x, y, w, h in boxes for i in (0, 0.5, 1) for j in (0, 0.5, 1)])


def errors_mm(picture: Picture, page: Page, warp: Callable[[np.ndarray], np.ndarray]) -> tuple[float, float]:
    """Return mean and 95th percentile of how far `warp` (page mm to scan px) misses the truth, mm."""
    at = places(page)
    off = np.hypot(*(picture.page_of(warp(at)) - at).T)
    return float(off.mean()), float(np.percentile(off, 95))


Found = tuple[str, np.ndarray, float, float, float, bool]
"""Status, grey image, px per mm, left and top in mm, and whether a person is asked to look at it."""


def score(picture: Picture, page: Page, found: list[Found], error: tuple[float, float]) -> Score:
    """Return how well the cells found agree with the truth."""
    ppm = SOURCE_PX_PER_MM
    read = np.zeros(picture.ink.shape, np.uint8)
    right = wrong = 0
    for i, (truth, (status, grey, px_per_mm, left, top, named)) in enumerate(zip(picture.written, found, strict=True)):
        right += status == true_status(truth)
        if status != "written" or not grey.size:
            continue
        k = ppm / px_per_mm
        x0, y0 = round(left * ppm) - 2, round(top * ppm) - 2
        h, w = round(grey.shape[0] * k) + 4, round(grey.shape[1] * k) + 4
        shift = np.array([[k, 0, (left * ppm - x0) + 0.5 * k - 0.5], [0, k, (top * ppm - y0) + 0.5 * k - 0.5]])
        fine = cv2.warpAffine(
            grey, shift, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=255
        )
        a, b = max(0, y0), max(0, x0)
        part = fine[a - y0 :, b - x0 :][: read.shape[0] - a, : read.shape[1] - b] < 140
        owner = picture.owner[a : a + part.shape[0], b : b + part.shape[1]]
        mine, others = (part & (owner == i + 1)).sum(), (part & (owner > 0) & (owner != i + 1)).sum()
        wrong += bool(others > mine and not named)
        read[a : a + part.shape[0], b : b + part.shape[1]] |= part.astype(np.uint8)
    wanted = np.isin(picture.owner, [i + 1 for i, w in enumerate(picture.written) if true_status(w) == "written"])
    core = wanted & (picture.ink > 0.75 * picture.ink.max())
    near_read = cv2.dilate(read, np.ones((5, 5), np.uint8)) > 0
    far = cv2.distanceTransform((picture.ink < 128).astype(np.uint8), cv2.DIST_L2, 5) > 0.15 * ppm
    return Score(
        right,
        float((core & ~near_read).sum() / core.sum()),
        float((far & (read > 0)).sum() / max(1, read.sum())),
        *error,
        wrong,
    )


def our_way(picture: Picture, sheet: Sheet, page: Page) -> Score:
    """Read as `ownhand read` does."""
    view, _ = register(straighten(picture.scan, lambda _: sheet))
    reading = read_page(picture.scan, lambda _: sheet)
    found = [(c.status, c.grey, c.px_per_mm, c.left_mm, c.top_mm, bool(c.findings)) for c in reading.cells]
    return score(picture, page, found, errors_mm(picture, page, view.warp))


def by_otsu(grey: np.ndarray) -> np.ndarray:
    return grey <= threshold_otsu(grey)


def by_sauvola(grey: np.ndarray) -> np.ndarray:
    return grey <= threshold_sauvola(grey, window_size=41, k=0.2)


def plain_way(picture: Picture, page: Page, is_ink: Callable[[np.ndarray], np.ndarray]) -> Score | None:
    """Four corner markers, one homography, one threshold; None if a corner is not found."""
    pixels = picture.scan.pixels
    grey = pixels if pixels.ndim == 2 else cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, MARK_DICTIONARY)))
    corners, ids, _ = detector.detectMarkers(grey)
    found = (
        {} if ids is None else {int(i): c.reshape(4, 2).mean(axis=0) for i, c in zip(ids.ravel(), corners, strict=True)}
    )
    if not all(k in found for k in range(4)):
        return None
    marks = {m.id: m for m in page.marks}
    mm = np.array([(marks[k].x_mm, marks[k].y_mm) for k in range(4)], np.float32)
    to_scan = cv2.getPerspectiveTransform(mm, np.array([found[k] for k in range(4)], np.float32))
    ppm = 300 / 25.4
    to_mm = np.array([[1 / ppm, 0, 0.5 / ppm], [0, 1 / ppm, 0.5 / ppm], [0, 0, 1]])
    size = round(page.size_mm[0] * ppm), round(page.size_mm[1] * ppm)
    flat = cv2.warpPerspective(
        grey, to_scan @ to_mm, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderValue=255
    )
    black = np.where(is_ink(flat), 0, 255).astype(np.uint8)
    cells = []
    for cell in page.cells:
        x, y, w, h = (round(v * ppm) for v in cell.box_mm)
        tx, ty, tw, th = (round(v * ppm) for v in cell.tick_mm)
        ticked = (black[ty + 4 : ty + th - 4, tx + 4 : tx + tw - 4] == 0).mean() > 0.08
        inner = black[y + 3 : y + h - 3, x + 4 : x + w - 4]
        status = "spoiled" if ticked else "written" if (inner == 0).sum() > 20 else "blank"
        cells.append((status, inner, ppm, (x + 4) / ppm, (y + 3) / ppm, False))

    def warp(p: np.ndarray) -> np.ndarray:
        return cv2.perspectiveTransform(p.reshape(-1, 1, 2), to_scan.astype(float)).reshape(-1, 2)

    return score(picture, page, cells, errors_mm(picture, page, warp))


def runs(only: str, quick: bool) -> Iterator[tuple[str, int, Degrade]]:
    for name, strengths in GRID.items():
        if not any(word in name for word in only.split(",")) or (quick and name not in QUICK):
            continue
        for i, how in enumerate(strengths):
            yield name, i, how


def told(how: Degrade) -> str:
    """Return what differs from a good flatbed scan, or from a good photo."""
    base = PHOTO if how.tilt_deg else FLAT
    changed = {k: v for k, v in vars(how).items() if v != getattr(base, k) and k != "seed"}
    return " ".join(f"{k}={v}" for k, v in changed.items()) or "as it is"


def main(argv: list[str]) -> int:
    """Print the table; return 1 if any cell got another cell's ink."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench capture")
    parser.add_argument("--quick", action="store_true", help="a third of the grid")
    parser.add_argument("--only", default="", help="degradations whose name has this in it")
    parser.add_argument("--paper", default="A5")
    options = parser.parse_args(argv)
    sheet = lay_out([(c, 2) for c in "abcdefghijklmnopqrstuvwxyz?&"], sheet_id="bench-1", paper=options.paper)
    page = sheet.pages[0]
    printed = print_page(sheet, page)
    written = write_cells(page, seed=3, blank=0.1, ticked=0.1)
    filled = sum(true_status(w) == "written" for w in written)
    print(f"{options.paper}, {len(page.cells)} cells, {filled} written")
    print(f"{'':52} status missed%  false%  error mm     wrong | Otsu: the same | Sauvola: the same")
    worst_wrong = found = total = right = cells = 0
    gives_up: dict[str, str] = {}
    missed: list[float] = []
    false: list[float] = []
    errors: dict[str, list[float]] = {"flatbed": [], "photo": []}
    for name, _, how in runs(options.only, options.quick):
        strayed = write_cells(page, seed=3, blank=0.1, ticked=0.1, stray_mm=how.stray_mm) if how.stray_mm else written
        picture = take(page, printed, strayed, how)
        total += 1
        try:
            ours = our_way(picture, sheet, page)
        except OwnhandError as error:
            gives_up.setdefault(name, told(how))
            line = f"refused: {error.what}"
        else:
            found += 1
            right += ours.status
            cells += len(page.cells)
            worst_wrong += ours.wrong
            missed.append(ours.missed)
            false.append(ours.false)
            errors["photo" if how.tilt_deg else "flatbed"].append(ours.error_mm)
            line = str(ours)
            if ours.status < 0.995 * len(page.cells):
                gives_up.setdefault(name, told(how))
        plain = [plain_way(picture, page, is_ink) for is_ink in (by_otsu, by_sauvola)]
        print(
            f"{name:16} {told(how):35.35} {line} | {' | '.join(str(p or 'corner not found') for p in plain)}",
            flush=True,
        )
    print(f"\npages found {found} of {total}; status right {right} of {cells} cells; wrong cells {worst_wrong}")
    if missed:
        print(
            f"ink missed: mean {100 * np.mean(missed):.2f} %, worst {100 * max(missed):.2f} %; "
            f"false: mean {100 * np.mean(false):.2f} %, worst {100 * max(false):.2f} %"
        )
    for kind, values in errors.items():
        if values:
            print(
                f"{kind}: registration error, mean over pictures {np.mean(values):.3f} mm, worst {max(values):.3f} mm"
            )
    for name, how in gives_up.items():
        print(f"first below 99.5 % or refused: {name}: {how}")
    return 1 if worst_wrong else 0
