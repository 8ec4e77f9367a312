"""What was read from a hand's pages, as it is kept: one file a page, beside the pictures of its ink."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from capture.errors import HandFolderError
from capture.files import write_json
from capture.limits import MOST_CELLS, MOST_MM, MOST_PAGES, REACH_MM, is_sheet_id
from capture.safe_paths import path_inside
from fontbuild.text_spacing_statistics import CopiedWord
from ownhand.hands.attempt_reading import attempt_from
from ownhand.hands.hand import Hand
from ownhand.validation import FaultsError, Place, raise_faults, read_json
from skeleton.attempt import Attempt, attempt_to_json

FORMAT = 1
"""Version of a capture's file."""

INK_NAME = re.compile(r"ink/[\w.-]{1,80}\.png")


@dataclass(frozen=True)
class InkPicture:
    """Where the ink of an attempt is kept, and how it lies on its cell."""

    file: str
    """Path under the page's captures folder: 'ink/04.07.png'."""

    px_per_mm: float
    left_mm: float
    """x of the picture's left edge in the cell's frame."""

    top_mm: float
    """y of the picture's top edge in the cell's frame (y up from the baseline)."""

    place_mm: tuple[float, float] | None = None
    """Of letters from running text: where the cell's left guide meets its baseline on the page, true mm, y down."""


@dataclass(frozen=True)
class PageCapture:
    """All that was read from one page."""

    sheet: str
    page: int
    scan: str
    """Name of the copy under scans/."""

    verdict: Mapping[str, float | str | bool]
    attempts: tuple[Attempt, ...]
    ink: Mapping[str, InkPicture]
    """By attempt id."""

    rhythm: Mapping[str, float] = field(default_factory=dict)
    """Habits of running text, from ruled lines, in x-heights and degrees (`fontbuild.text_spacing_statistics`)."""

    copied: tuple[CopiedWord, ...] = ()
    """Words found on ruled lines."""


def scan_stamp(scan: str) -> str:
    """Return what the names of a scan's copy and of the pictures cut from it end in."""
    return scan.rsplit("-", 1)[-1].split(".")[0]


def of_earlier_scans(capture: PageCapture) -> int:
    """Return how many of a page's written attempts are those of an earlier scan, which was read better there."""
    ends = f"-{scan_stamp(capture.scan)}.png"
    return sum(
        1
        for a in capture.attempts
        if a.status == "written" and a.id in capture.ink and not capture.ink[a.id].file.endswith(ends)
    )


def capture_name(page: int) -> str:
    """Return the name of the file with a page's attempts."""
    return f"page-{page:02d}.json"


def capture_file(hand: Hand, sheet: str, page: int) -> Path:
    """Return where a page's attempts are kept."""
    return path_inside(hand.captures_folder, sheet, capture_name(page))


def save_capture(hand: Hand, capture: PageCapture) -> None:
    """Write what was read from a page; the ink pictures are written by the caller, before."""
    write_json(
        capture_file(hand, capture.sheet, capture.page),
        {
            "format": FORMAT,
            "sheet": capture.sheet,
            "page": capture.page,
            "scan": capture.scan,
            "verdict": dict(capture.verdict),
            "attempts": [attempt_to_json(a) for a in capture.attempts],
            "ink": {key: dataclasses.asdict(value) for key, value in capture.ink.items()},
            "rhythm": dict(capture.rhythm),
            "copied": [{"text": w.text, "box": [round(v, 4) for v in w.box]} for w in capture.copied],
        },
    )


def load_captures(hand: Hand) -> tuple[PageCapture, ...]:
    """Return all that was read so far, by sheet and page.

    Raises
    ------
    HandFolderError
        If a file does not hold together; the message says which and where.
    """
    files = sorted(hand.captures_folder.glob("*/page-*.json")) if hand.captures_folder.is_dir() else []
    return tuple(load_capture(file) for file in files)


def load_capture(file: Path) -> PageCapture:
    """Return what was read from one page.

    Raises
    ------
    HandFolderError
        If the file does not hold together, or speaks of another page than its own; it names every fault.
    """
    faults: list[str] = []
    try:
        root = Place(read_json(file), "", faults)
        if root.of("format").whole(-1) != FORMAT:
            raise FaultsError([f"format: expected {FORMAT}"])
        sheet, page = root.of("sheet").text(None, 24), root.of("page").whole(0, MOST_PAGES)
        if not is_sheet_id(sheet) or sheet != file.parent.name or file.name != capture_name(page):
            raise FaultsError(["sheet, page: expected those that the file is named by"])
        capture = PageCapture(
            sheet,
            page,
            root.of("scan").text("", 300),
            _verdict(root.of("verdict")),
            _attempts(root.of("attempts")),
            _ink_pictures(root.of("ink")),
            {key: item.number(0.0, -1e6, 1e6) or 0.0 for key, item in root.of("rhythm").entries()},
            tuple(w for item in root.of("copied").items(most=MOST_CELLS) if (w := _copied_word(item)) is not None),
        )
        raise_faults(faults)
    except FaultsError as error:
        remedy = "Read the page's scan again to make it anew."
        raise HandFolderError(str(file), str(error), remedy) from None
    return capture


def _attempts(place: Place) -> tuple[Attempt, ...]:
    """Return the attempts in a list; decisions and ink are found by their ids, so each stands there once."""
    found: dict[str, Attempt] = {}
    for item in place.items(most=MOST_CELLS):
        attempt = attempt_from(item)
        if attempt.id in found:
            item.of("id").fault(f"'{attempt.id[:60]}' stands there twice")
        found[attempt.id] = attempt
    return tuple(found.values())


def _copied_word(place: Place) -> CopiedWord | None:
    box = place.of("box").numbers(most=4, low=-1e4, high=1e4)
    if box is None:
        return None
    if len(box) != 4:
        place.of("box").fault("expected 4 numbers")
        return None
    left, bottom, right, top = box.tolist()
    return CopiedWord(place.of("text").text("", 200), (left, bottom, right, top))


def _verdict(place: Place) -> dict[str, float | str | bool]:
    said: dict[str, float | str | bool] = {}
    for key, item in place.entries():
        if isinstance(item.value, str):
            said[key] = item.text("", 500)
        elif isinstance(item.value, bool):
            said[key] = item.value
        else:
            value = item.number(0.0, -1e9, 1e9) or 0.0
            said[key] = item.value if isinstance(item.value, int) else value
    return said


def _page_place(place: Place) -> tuple[float, float] | None:
    """Return where a cell stands on its page; None where that is not kept."""
    if not place.present or place.value is None:
        return None
    at = place.numbers(most=2, low=-2 * MOST_MM, high=2 * MOST_MM)
    if at is None or len(at) != 2:
        place.fault("expected 2 numbers")
        return None
    return float(at[0]), float(at[1])


def _ink_pictures(place: Place) -> dict[str, InkPicture]:
    """Return the pictures by attempt id; a name that leads out of the folder `ink` is nobody's picture."""
    named = ((key, item, item.of("file").text(None, 100)) for key, item in place.entries())
    return {
        key: InkPicture(
            file,
            item.of("px_per_mm").number(10.0, 0.1, 1000.0) or 10.0,
            item.of("left_mm").number(0.0, -REACH_MM, REACH_MM) or 0.0,
            item.of("top_mm").number(0.0, -REACH_MM, REACH_MM) or 0.0,
            _page_place(item.of("place_mm")),
        )
        for key, item, file in named
        if INK_NAME.fullmatch(file)
    }
