"""Make the README's pictures of the page again: `python -m sample_sheets.page_pictures HAND`.

HAND is the sample's hand, read and built. Wants Playwright and Chromium, as the tests do.
"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from pathlib import Path

from PIL import Image

from capture.files import write_json
from ownhand.hands.freshness import note_built
from ownhand.hands.hand import change_record
from ownhand.workroom.server import start
from sample_sheets.pictures import kept

SIZE = {"width": 1400, "height": 800}
COLOURS = 200
"""Enough that the second pen's, of which there is little, is among them."""

MARGINS = [9, 9, 9, 9]
DRAFT = {
    "format": 1,
    "name": "card",
    "texts": {
        "message": (
            "Dear Orla,\nthank you for climbing all 214 steps with us. From the gallery you could just see the grey "
            "skerries; today the fog has swallowed even the harbour, but the lamp keeps turning.\n"
            "Warm wishes from the lantern room"
        ),
        "address": "Orla Fennimore\n7 Quarry Lane\nUpper Wexcombe\nGreat Britain",
    },
    "layout": {
        "paper": "148x105",
        "margins_mm": MARGINS,
        "boxes": [
            {"name": "message", "x_mm": 9, "y_mm": 9, "width_mm": 74, "height_mm": 87, "fit": True},
            {"name": "address", "x_mm": 90, "y_mm": 48, "width_mm": 49, "height_mm": 40, "fit": True, "pen": 2},
        ],
        "pens": [{"colour": "#1f2a56"}, {"colour": "#8a1f1f"}],
    },
    "seed": 3,
    "machine": None,
    "table": "",
    "name_field": "",
    "row": 0,
    "formats": ["svg"],
}


def main(argv: list[str]) -> int:
    """Make both pictures."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as p:
        hand = Path(folder) / "museum"
        shutil.copytree(argv[0], hand)
        note_built(change_record(hand, {"writer": "A. Keeper", "consent": "simulated"}))
        write_json(hand / "page.json", DRAFT)
        running = start(hand)
        browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport=SIZE)  # type: ignore[arg-type]
        for name, at, shown in (
            ("page.png", "#page", "#paper[aria-busy=false] > img"),
            ("letters.png", "#letter/g", ".desk-picture .hit"),
        ):
            page.goto(f"{running.url}{at}")
            page.wait_for_selector(shown)
            page.wait_for_selector("main[aria-busy=false]")
            page.wait_for_timeout(1500)
            path = kept(Image.open(io.BytesIO(page.screenshot())), name, COLOURS)
            print(f"{path}: {path.stat().st_size // 1024} kB")
        browser.close()
        running.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
