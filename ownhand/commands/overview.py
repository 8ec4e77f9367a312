"""All cards of a run in small, on pages to be looked through before the first is plotted."""

from __future__ import annotations

import io
import itertools
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image

from capture.errors import UsageError
from capture.files import check_writable, page_file
from capture.label_font import font_path, label_font
from ownhand.pictures.canvas import QUIET, RULE, Canvas

PAGE_MM = (210.0, 297.0)
PX_PER_MM = 6.0
COLUMNS = 4
MARGIN_MM, GAP_MM, LABEL_MM = 10.0, 5.0, 3.0
THUMBNAIL_DPI = 60.0
NAME_MM = 2.6


def check_overview(output: Path, *, force: bool) -> None:
    """Refuse a name for the pictures before any card is drawn; see `write_overview`.

    Raises
    ------
    UsageError
        If the name is that of no PNG file, or of a file that is there (unless `force`) or cannot be written.
    """
    if output.suffix.lower() != ".png":
        raise UsageError("--overview", f"'{output.name}' is no PNG file", "Call it cards.png, say.")
    check_writable(output, force=force)


def older_pages(output: Path, count: int) -> list[Path]:
    """Return the pages of an earlier, longer overview that stay beside one of `count` pages.

    They may as well be somebody's own pictures of such a name, so that nobody here takes them away.
    """
    pages = (page_file(output, number) for number in itertools.count(count + 1))
    return list(itertools.takewhile(Path.is_file, pages))


def write_overview(cards: Sequence[tuple[str, bytes]], output: Path, *, force: bool = False) -> list[Path]:
    """Write pictures of all cards (name, PNG) as PNG pages; return their files: `output`, then `<stem>-2` and so on.

    Raises
    ------
    UsageError
        If there is no card, or `output` is no PNG file.
    OutputError
        If a file exists and `force` was not given.
    """
    check_overview(output, force=force)
    if not cards:
        raise UsageError("--overview", "there is no card to show", "See what is said of the rows.")
    width = (PAGE_MM[0] - 2 * MARGIN_MM - (COLUMNS - 1) * GAP_MM) / COLUMNS
    pictures = [(name, np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))) for name, data in cards]
    tall = max(width * p.shape[0] / p.shape[1] for _, p in pictures)
    down = max(1, int((PAGE_MM[1] - 2 * MARGIN_MM + GAP_MM) / (tall + LABEL_MM + 1 + GAP_MM)))
    each = COLUMNS * down
    files = [page_file(output, k + 1) for k in range(-(-len(pictures) // each))]
    for file in files:
        check_writable(file, force=force)
    row = tall + LABEL_MM + 1 + GAP_MM
    for k, file in enumerate(files):
        shown = pictures[k * each : (k + 1) * each]
        # each as long as it is filled
        height = 2 * MARGIN_MM - GAP_MM + row * -(-len(shown) // COLUMNS)
        canvas = Canvas(PAGE_MM[0], height, px_per_mm=PX_PER_MM)
        for n, (name, picture) in enumerate(shown):
            x = MARGIN_MM + n % COLUMNS * (width + GAP_MM)
            y = MARGIN_MM + n // COLUMNS * row
            h = width * picture.shape[0] / picture.shape[1]
            canvas.picture(picture, x, y, width, h)
            canvas.line([(x, y), (x + width, y), (x + width, y + h), (x, y + h), (x, y)], width_mm=0.15, colour=RULE)
            canvas.text(x, y + tall + LABEL_MM, _within(name, width), font=font_path(), size_mm=NAME_MM, colour=QUIET)
        canvas.save_png(file)
    return files


def _within(name: str, width_mm: float) -> str:
    """Return a name that ends before the next card begins, cut short where it must be."""
    short = name
    while len(short) > 1 and label_font().width_mm(short, NAME_MM) > width_mm:
        short = short.removesuffix("…")[:-1] + "…"
    return short
