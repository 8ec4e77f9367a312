"""From a printed sheet and ink to pictures on disk."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import cv2
import numpy as np
import pypdfium2  # type: ignore[import-untyped, unused-ignore]
from PIL import Image as PillowImage

from sample_sheets.writer.hand import Trace
from sample_sheets.writer.machines import Flatbed, sheet_of_paper
from sample_sheets.writer.pen import Image, ink_page

PRINT_DPI = 600


def printed(pdf: Path, page: int) -> Image:
    """Return page `page` (from 1) of a PDF as a laser printer puts it on paper: (h, w, 3) RGB at `PRINT_DPI`."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        sheet = document[page - 1]
        points = np.array(sheet.get_size())
        picture = sheet.render(scale=PRINT_DPI / 72, rev_byteorder=True).to_numpy()[:, :, :3]
    finally:
        document.close()
    # The renderer fits the page into whole pixels; ink and print must agree to a micrometre.
    stretch = np.array(picture.shape[1::-1]) / (points * PRINT_DPI / 72)
    back = np.column_stack([np.diag(stretch), (stretch - 1) / 2])
    picture = cv2.warpAffine(
        picture, back, picture.shape[1::-1], flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderValue=(255, 255, 255)
    )
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.8), np.uint8)


def written(pdf: Path, page: int, traces: Iterable[Trace], rng: np.random.Generator) -> tuple[Image, float]:
    """Return a page of paper with print and ink on it, and its pixels to the millimetre."""
    px_per_mm = PRINT_DPI / 25.4
    paper = sheet_of_paper(printed(pdf, page), px_per_mm, rng)
    return ink_page(paper, traces, px_per_mm, rng), px_per_mm


def lying(number: int, rng: np.random.Generator) -> Flatbed:
    """Return how page `number` is laid on the glass: never straight, the third upside down."""
    return Flatbed(
        skew_deg=float(rng.uniform(0.3, 1.3) * rng.choice((-1, 1))),
        shift_mm=(float(rng.uniform(-1.5, 1.5)), float(rng.uniform(-0.4, 0.4))),
        stretch=float(rng.uniform(-0.0022, 0.0022)),
        jerk_mm=float(rng.uniform(0.03, 0.08)),
        blur_px=float(rng.uniform(0.55, 0.85)),
        noise=float(rng.uniform(2.2, 3.4)),
        shade=float(rng.uniform(0.03, 0.10)),
        upside_down=number == 3,
    )


def save_jpeg(path: Path, picture: Image, *, dpi: float | None, quality: int) -> None:
    """Write a JPEG, with its resolution if it has one."""
    extra = {"dpi": (dpi, dpi)} if dpi else {}
    PillowImage.fromarray(picture).save(path, "JPEG", quality=quality, subsampling=2, optimize=True, **extra)
