"""Which sheets the pages that were read belong to: another person's among them, and pages that are still to come."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from capture.errors import WrongSheetError
from capture.page import of_another_hand
from capture.read import PageReading
from ownhand.hands.captures import capture_file
from ownhand.hands.hand import Hand


def of_one_sheet(
    read: Sequence[tuple[PageReading, Path]],
) -> tuple[list[tuple[PageReading, Path]], list[tuple[Path, WrongSheetError]]]:
    """Return the pages of the sheet that has most of them, and for those of other sheets why they are not taken in.

    A hand that has no sheet yet is begun from paper, and whose it is most pages tell, of as many the first. Another
    sheet may be another person's, so it is asked about as it is for a hand that has sheets.
    """
    own = Counter(page.sheet.id for page, _ in read).most_common(1)[0][0]
    kept = [(page, scan) for page, scan in read if page.sheet.id == own]
    others = [(page, scan) for page, scan in read if page.sheet.id != own]
    return kept, [(scan, of_another_hand(scan.name, page.sheet.id, page.page.page)) for page, scan in others]


def pages_to_come(hand: Hand, read: Sequence[PageReading]) -> list[str]:
    """Return a line for each sheet of the pages `read` of which other pages were not read yet, now or before."""
    lines = []
    for sheet, pages in {r.sheet.id: r.sheet_pages for r in read}.items():
        lacking = [str(n) for n in range(1, pages + 1) if not capture_file(hand, sheet, n).exists()]
        if lacking:
            some = f"page {lacking[0]} is" if len(lacking) == 1 else f"pages {', '.join(lacking)} are"
            lines.append(f"Sheet '{sheet}' has {pages} pages; {some} not read yet.")
    return lines
