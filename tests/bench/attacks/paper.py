"""Pages that somebody else printed: their codes say what no sheet of ours says."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import zxingcpp
from PIL import Image

from capture.code import page_from_payload, page_payload
from capture.layout import lay_out
from ownhand.commands.read import SheetFinder
from ownhand.hands.hand import HandRecord, create_hand, load_sheets, open_hand
from ownhand.hands.storage import keep_sheets
from tests.bench.attacks.tally import Tally, outside

SHEET = lay_out({"a": 2, "b": 2}, sheet_id="s1-abcdef", paper="A5")
IDS = (
    "", ".", "..", "../x", "../../../x", "/tmp/x", "a/b", "a\\b", "C:x", "\x1b[2J", "\x1b]0;x\x07", "a\nb", "a\0b", "é",
    "x" * 25, "x" * 300, " ", "a b", "sheet.json", "~", "$HOME", "%2e%2e", "..\x00", "\u202ex", "\u2028", "con:", "*",
    "-" * 24, "_", "s1-abcdef",
)  # fmt: skip
OTHERS: tuple[dict[str, object], ...] = (
    *({"x_height_mm": x} for x in (0.0, 0.01, 1.0, 13.0, 100.0, 5000.0)),
    *({"paper": p} for p in ("", "A4 ", "A99", "1x1", "9000x9000", "A4\n", "899.9x899.9\x1b", "a5")),
    *({"languages": (text,)} for text in ("\x1b[31m", "x" * 300, "\x07", "en")),
    {"languages": ("en",) * 500},
    {"pages": SHEET.pages * 500},
    {"pages": ()},
)


def codes(folder: Path, tally: Tally, share: float) -> None:
    """Print codes on pictures, read them back as a scan's are, and keep their sheets."""
    hand = create_hand(folder / "deep" / "hand", HandRecord("Keeper"))
    with outside(folder, hand.path) as changed:
        for changes in (*({"id": name} for name in IDS), *OTHERS):

            def read(changes: dict[str, object] = dict(changes)) -> None:  # noqa: B006
                payload = page_payload(dataclasses.replace(SHEET, **changes), SHEET.pages[0])  # type: ignore[arg-type]
                coded = page_from_payload(seen(payload, folder.parent))
                finder = SheetFinder({}, adopt=True)
                sheet = finder(coded)
                assert sheet is not None
                finder.learn(sheet)
                keep_sheets(hand, finder.sheets)

            tally.reads("codes on paper", read)
        if fault := changed():
            tally.note("codes on paper", fault=fault)
    load_sheets(open_hand(hand.path))


def seen(payload: bytes, folder: Path) -> bytes:
    """Return a payload as a reader of codes gives it back from a picture of its QR code."""
    import segno

    file = folder / "code.png"
    segno.make(payload, micro=False, error="m").save(str(file), scale=4)
    (found,) = zxingcpp.read_barcodes(np.asarray(Image.open(file).convert("L")))
    return bytes(found.bytes)
