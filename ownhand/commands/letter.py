"""A hand taken from a page of writing and its text: a letter, an old postcard, any page, blank or ruled.

Lines are found, words and letters cut (`skeleton.words`), and what suits its text becomes attempts of the hand, like
those of a sheet. Words are read again, with the writer's own letters. Nothing is assigned in silence: words that do
not suit are left out and named, doubtful ones marked.
"""

from __future__ import annotations

import hashlib
import os
import shlex
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from capture.errors import InputError, UsageError
from capture.fiducial_detection import grey_of
from capture.files import check_folder, is_vacant, sweep
from capture.limits import MOST_CELLS, is_character
from capture.scan import Scan, load_scan
from capture.units import MM_PER_INCH, px_per_mm
from ownhand.commands.inverted import check_not_inverted
from ownhand.commands.line_reading import read_lines
from ownhand.commands.printed_text import is_printed
from ownhand.commands.reading_pool import worker_pool
from ownhand.hands.captures import InkPicture, PageCapture, capture_file, save_capture
from ownhand.hands.decisions import Decision
from ownhand.hands.hand import Hand, add_to_record, open_hand, open_or_create
from ownhand.hands.line_letters import LinePlace, left_out_of, letters_of
from ownhand.hands.locking import locked
from ownhand.hands.lost_characters import lost_characters, told_of_lost
from ownhand.hands.storage import keep_letter, keep_scan
from ownhand.pictures.writing_contact import draw_writing
from ownhand.review.session.review_reasons import doubts
from skeleton.attempt import Attempt
from skeleton.words.line_reading import LineReading
from skeleton.words.page_lines import PageLines, find_lines

Progress = Callable[[str, int, int], None]

UNSUITED = (
    "Give the text of this page, with its line breaks. If the page lies on its side or upside down, turn the picture."
)

LEAST_SUITED = 0.4
"""Share of the letters that must suit the text for a page to be taken at all."""

ROUGH_DPI = 300.0
"""Resolution that lines are looked for in where only their distance is known."""


@dataclass(frozen=True, eq=False)
class TakenLetter:
    """What was taken from a page of writing."""

    capture: PageCapture
    contact: Path
    letters: int
    """Of the text, without spaces."""

    kept: int
    doubtful: int
    """Of these, with something found against them: named in red in the picture."""

    to_look_at: int
    """Of these, what the review asks a person to look at: the doubtful ones, and letters of words that are not quite
    sure. It compares letters with each other as well, and may find more."""

    left_out: tuple[str, ...]
    """Words that do not suit their ink, with their line: 'line 3: lamp'."""

    ink_left_out: float
    """Share of the ink that belongs to no word."""

    notices: tuple[str, ...]
    lost: tuple[str, ...] = ()
    """Characters that only words left out have: the hand lacks them."""


def take_letter(
    path: Path,
    scan: Path,
    text: str,
    *,
    dpi: float | None = None,
    paper_width_mm: float | None = None,
    line_distance_mm: float | None = None,
    family: str = "",
    writer: str = "",
    consent: str = "",
    use: str = "",
    jobs: int = 0,
    progress: Progress | None = None,
) -> TakenLetter:
    """Take the letters of a page whose text is known into the hand at `path`, which is begun if it does not exist.

    Parameters
    ----------
    text
        What stands on the page, line breaks as there.
    dpi, paper_width_mm, line_distance_mm
        The scale: resolution, how wide the picture is on paper, or how far its lines are apart. None given: what the
        file says.

    Raises
    ------
    InputError
        If the file is no picture, there is no writing on it, or the text is not what stands there.
    UsageError
        If the scale is not known, or the text is empty.
    OutputError
        If the hand cannot be written, or another command is writing into it.
    """
    tell: Progress = progress or (lambda *_: None)
    lines = [" ".join(line.split()) for line in text.splitlines() if line.strip()]
    if not lines:
        raise UsageError("text", "it is empty", "Give the text that stands on the page.")
    odd = sorted({c for line in lines for c in line.replace(" ", "") if not is_character(c)})
    if odd:
        raise UsageError("text", f"characters that cannot be kept: {' '.join(map(repr, odd[:8]))}", "Take them out.")
    # refused before the page is read, which takes a while
    check_folder(path)
    if path.exists() and not is_vacant(path):
        open_hand(path)
    picture = load_scan(scan)
    grey = grey_of(picture.pixels)
    check_not_inverted(grey, picture.place)
    guess = ROUGH_DPI if line_distance_mm is not None else None
    scale = _dpi(picture, grey, dpi or guess, paper_width_mm)
    found = find_lines(grey, scale, len(lines))
    if found is None:
        raise InputError(picture.place, "no writing is on it", "Scan the page that was written on.")
    if line_distance_mm is not None:
        tall = _distance_px(found) / found.lines[0].px_per_mm
        scale *= tall / line_distance_mm
        found = find_lines(grey, scale, len(lines)) or found
    readings = _read(found, lines, jobs or os.cpu_count() or 1, tell)
    letters = sum(len(w) for r in readings for w in r.texts)
    suited = sum(len(w) for r in readings for w, ok in zip(r.texts, r.suits, strict=True) if ok)
    if suited < LEAST_SUITED * letters:
        shown = f"{found.looks_like} lines of writing are seen, the text has {len(lines)}"
        if found.looks_like == len(lines):
            shown = f"{len(lines)} line(s) are seen"
        what = f"its writing does not suit the text: {suited} of {letters} letters do; {shown}"
        raise InputError(picture.place, what, UNSUITED)
    if is_printed(readings):
        what = "its letters are all alike, as those of print are and no hand's"
        raise InputError(picture.place, what, "Give a page that was written by hand.")
    given = {k: v for k, v in (("family", family), ("writer", writer), ("consent", consent), ("use", use)) if v}
    with locked(path):
        if (path / "hand.json").is_file():
            hand, notices = add_to_record(open_hand(path), given)
        else:
            hand, notices = open_or_create(path, year=date.today().year, **given), []
        sweep(hand.path)
        capture, doubtful = _keep(hand, scan, grey, scale, readings)
        contact = capture_file(hand, capture.sheet, 1).parent / "page-01-contact.png"
        draw_writing(grey, scale, readings).save_png(contact)
    if not hand.record.consent:
        notices.append(
            "No consent is recorded yet: take a hand from a letter only with the consent of who wrote it "
            f"(ownhand record {shlex.quote(str(path))} --consent '…')."
        )
    if found.looks_like != len(lines):
        notices.append(
            f"The text has {len(lines)} lines, the page seems to have {found.looks_like}: look at the picture."
        )
    gone = tuple(word for n, r in enumerate(readings, 1) for word in left_out_of(r, n))
    lost = lost_characters(gone, hand)
    if lost:
        notices.append(told_of_lost(lost, path))
    ink_gone = found.left_out + (1 - found.left_out) * float(np.mean([r.left_out for r in readings]))
    to_look_at = sum(bool(doubts(a, Decision())) for a in capture.attempts)
    return TakenLetter(
        capture, contact, letters, len(capture.attempts), doubtful, to_look_at, gone, ink_gone, tuple(notices), lost
    )


def _dpi(picture: Scan, grey: NDArray[np.uint8], dpi: float | None, paper_width_mm: float | None) -> float:
    if dpi is not None:
        return dpi
    if paper_width_mm is not None:
        return float(grey.shape[1] / paper_width_mm * MM_PER_INCH)
    if picture.dpi is not None and picture.dpi >= 100:
        return float(picture.dpi)
    raise UsageError(picture.place, "its scale is not known", "Give --dpi, --paper-width or --line-distance.")


def _distance_px(found: PageLines) -> float:
    """Return how far lines are apart, px of the working image."""
    middles = [float(c[1]) + 0.5 * line.mask.shape[0] for line, c in zip(found.lines, found.corners, strict=True)]
    return float(np.median(np.diff(middles))) if len(middles) > 1 else float(found.lines[0].mask.shape[0])


def _read(found: PageLines, lines: Sequence[str], jobs: int, tell: Progress) -> list[LineReading]:
    """Return the lines read, in the frame of the page."""
    with worker_pool(jobs, at_once=jobs) as pool:
        read = read_lines(pool, found.lines, lines, tell)
    return [r.moved(corner / line.px_per_mm) for r, corner, line in zip(read, found.corners, found.lines, strict=True)]


def _keep(
    hand: Hand, scan: Path, grey: NDArray[np.uint8], dpi: float, readings: Sequence[LineReading]
) -> tuple[PageCapture, int]:
    """Write the letters that suit as attempts of the hand; return the capture, and how many are doubtful."""
    copy = keep_scan(hand, scan)
    name = f"letter-{hashlib.sha256(scan.read_bytes()).hexdigest()[:8]}"
    folder = capture_file(hand, name, 1).parent
    sizes = [w.x_height_mm for r in readings for w, ok in zip(r.words, r.suits, strict=True) if ok]
    x_height = float(np.median(sizes))
    attempts: list[Attempt] = []
    pictures: dict[str, InkPicture] = {}
    counts: Counter[str] = Counter()
    for row, reading in enumerate(readings, 1):
        place = LinePlace(f"{name}/1", 1, row, x_height)
        for letter in letters_of(reading, grey, px_per_mm(dpi), place, counts):
            if len(attempts) < MOST_CELLS:
                attempts.append(letter.attempt)
                pictures[letter.attempt.id] = keep_letter(folder, 1, "", letter, px_per_mm(dpi))
    doubtful = sum(bool(a.findings) for a in attempts)
    capture = PageCapture(name, 1, copy, {"dpi": dpi}, tuple(attempts), pictures, {})
    save_capture(hand, capture)
    return capture, doubtful


def summary(done: TakenLetter, *, hand: Path) -> list[str]:
    """Return what to tell the person, a line each; `hand`: its folder."""
    share = done.kept / max(done.letters, 1)
    lines = [
        f"{done.kept} of {done.letters} letters taken ({share:.0%}), {done.doubtful} of them doubtful (in red): "
        f"{done.contact}"
    ]
    if done.to_look_at:
        lines.append(
            f"{done.to_look_at} of them to look at in the review: doubtful ones, and those of words that are not quite "
            "sure; comparing letters may add more."
        )
    if done.left_out:
        listed = "; ".join(done.left_out[:12]) + (" …" if len(done.left_out) > 12 else "")
        lines.append(f"{len(done.left_out)} word(s) left out, their ink does not suit them: {listed}")
    if done.ink_left_out >= 0.005:
        lines.append(f"{done.ink_left_out:.0%} of the ink belongs to no word of the text.")
    name = shlex.quote(str(hand))
    todo = f"Look through the letters: ownhand review {name}. Then build the font: ownhand build {name}"
    return [*lines, *done.notices, todo]
