"""A hand taken from a page of writing and its text: a letter, an old postcard, any page, blank or ruled.

Lines are found, words and letters cut (`skeleton.words`), and what suits its text becomes attempts of the hand, like
those of a sheet. A second reading looks at the doubtful words once more, with the writer's own letters from the sure
ones. Nothing is assigned in silence: words that do not suit are left out and named, doubtful ones marked.
"""

from __future__ import annotations

import dataclasses
import hashlib
import os
import shlex
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.errors import InputError, UsageError
from capture.fiducial_detection import grey_of
from capture.files import sweep, write_bytes
from capture.limits import MOST_CELLS, MOST_POINTS, MOST_STROKES, is_character
from capture.report import Finding
from capture.scan import Scan, load_scan
from capture.units import MM_PER_INCH, Points, cell_from_image, px_per_mm
from fontbuild.joins import way_of
from ownhand.hands.captures import InkPicture, PageCapture, capture_file, save_capture
from ownhand.hands.hand import Hand, add_to_record, open_hand, open_or_create
from ownhand.hands.locking import locked
from ownhand.hands.storage import keep_scan
from ownhand.pictures.writing_contact import draw_writing
from skeleton.attempt import Attempt
from skeleton.geometry.stroke import Stroke
from skeleton.ink.ink_map import InkMap
from skeleton.words.letter_forms import Known
from skeleton.words.line_reading import SURELY, LineReading, read_line_ink
from skeleton.words.page_lines import PageLines, find_lines
from skeleton.words.word_reading import WordLetter, WordReading

Progress = Callable[[str, int, int], None]

LEAST_SUITED = 0.4
"""Share of the letters that must suit the text for a page to be taken at all."""

MISFIT = 0.35
"""x-heights by which a letter may lie off its form before it is doubtful."""

BEARING = 0.15
"""x-heights between a letter's left edge and its cell's left guide."""

ROUGH_DPI = 300.0
"""Resolution that lines are looked for in where only their distance is known."""

OWN_FORMS = 6
"""Most letters of one character that the second reading knows of."""

PEN_REACH = 0.9
"""Pen widths from a letter's line within which ink is taken for its picture."""


@dataclass(frozen=True, eq=False)
class TakenLetter:
    """What was taken from a page of writing."""

    capture: PageCapture
    contact: Path
    letters: int
    """Of the text, without spaces."""

    kept: int
    doubtful: int
    left_out: tuple[str, ...]
    """Words that do not suit their ink, with their line: 'line 3: lamp'."""

    ink_left_out: float
    """Share of the ink that belongs to no word."""

    notices: tuple[str, ...]


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
    picture = load_scan(scan)
    grey = grey_of(picture.pixels)
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
            shown = f"{len(lines)} lines are seen"
        what = f"its writing does not suit the text: {suited} of {letters} letters do; {shown}"
        raise InputError(picture.place, what, "Give the text of this page, with its line breaks.")
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
    gone = tuple(
        f"line {n}: {word}"
        for n, r in enumerate(readings, 1)
        for word, ok in zip(r.texts, r.suits, strict=True)
        if not ok
    )
    ink_gone = found.left_out + (1 - found.left_out) * float(np.mean([r.left_out for r in readings]))
    return TakenLetter(capture, contact, letters, len(capture.attempts), doubtful, gone, ink_gone, tuple(notices))


def _dpi(picture: Scan, grey: NDArray[np.uint8], dpi: float | None, paper_width_mm: float | None) -> float:
    if dpi is not None:
        return dpi
    if paper_width_mm is not None:
        return float(grey.shape[1] / paper_width_mm * MM_PER_INCH)
    if picture.dpi is not None and picture.dpi >= 100:
        return float(picture.dpi)
    raise UsageError(
        picture.place, "its scale is not known", "Give --dpi, --paper-width or --line-distance with --dpi."
    )


def _distance_px(found: PageLines) -> float:
    """Return how far lines are apart, px of the working image."""
    middles = [float(c[1]) + 0.5 * line.mask.shape[0] for line, c in zip(found.lines, found.corners, strict=True)]
    return float(np.median(np.diff(middles))) if len(middles) > 1 else float(found.lines[0].mask.shape[0])


def _read(found: PageLines, lines: Sequence[str], jobs: int, tell: Progress) -> list[LineReading]:
    """Return the lines read; those with doubtful words a second time, with the writer's own letters."""
    tell("read lines", 0, len(lines))
    with ProcessPoolExecutor(jobs) as pool:
        first = []
        for n, reading in enumerate(pool.map(_read_one, found.lines, lines, [None] * len(lines))):
            first.append(reading)
            tell("read lines", n + 1, len(lines))
        known = own_letters([w for r in first for w in r.words])
        unsure = [n for n, r in enumerate(first) if any(not w.letters or w.cost > SURELY for w in r.words)]
        tell("read again", 0, len(unsure))
        again = pool.map(_read_one, [found.lines[n] for n in unsure], [lines[n] for n in unsure], [known] * len(unsure))
        for done, (n, reading) in enumerate(zip(unsure, again, strict=True)):
            best = [b if _cost(b) < _cost(a) else a for a, b in zip(first[n].words, reading.words, strict=True)]
            first[n] = dataclasses.replace(first[n], words=tuple(best))
            tell("read again", done + 1, len(unsure))
    return [r.moved(corner / line.px_per_mm) for r, corner, line in zip(first, found.corners, found.lines, strict=True)]


def _cost(word: WordReading) -> float:
    return word.cost if word.letters else np.inf


def _read_one(ink: InkMap, text: str, known: Known | None) -> LineReading:
    return read_line_ink(ink, text, known)


def own_letters(words: Sequence[WordReading]) -> dict[str, list[list[Points]]]:
    """Return the letters of words that surely suit, as `skeleton.read_word` takes a writer's own."""
    out: dict[str, list[list[Points]]] = defaultdict(list)
    for word in sorted((w for w in words if w.letters and w.cost <= SURELY), key=lambda w: w.cost):
        for letter in word.letters:
            if letter.pieces_mm and letter.misfit <= MISFIT and len(out[letter.char]) < OWN_FORMS:
                pieces = [_on_baseline(p, word) / word.x_height_mm for p in letter.pieces_mm]
                left = min(float(p[:, 0].min()) for p in pieces)
                upright = [np.stack([p[:, 0] - left + word.slant * p[:, 1], p[:, 1]], axis=1) for p in pieces]
                out[letter.char].append(upright)
    return dict(out)


def _on_baseline(points: Points, word: WordReading) -> Points:
    """Return points with the baseline at y = 0, level, y down."""
    height, slope = word.baseline_mm
    return np.stack([points[:, 0], points[:, 1] - height - slope * points[:, 0]], axis=1)


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
    doubtful = 0
    for row, reading in enumerate(readings, 1):
        column = 0
        for word, suits in zip(reading.words, reading.suits, strict=True):
            before = False
            for letter in word.letters if suits else ():
                column += 1
                way, before = way_of(before, letter.joined), letter.joined
                if not letter.pieces_mm or len(attempts) >= MOST_CELLS:
                    continue
                counts[letter.char] += 1
                place = f"{name}/1/{row}.{column}"
                attempt, left, base = _attempt(letter, word, place, counts[letter.char], x_height, row, column)
                if attempt is None:
                    continue
                attempts.append(dataclasses.replace(attempt, allograph=way))
                doubtful += bool(attempt.findings)
                picture = _picture(letter, grey, dpi, attempt.pen_mm)
                file = f"ink/01-{row:02d}.{column:02d}.png"
                _, data = cv2.imencode(".png", picture[0])
                write_bytes(folder / file, data.tobytes())
                pictures[place] = InkPicture(
                    file, px_per_mm(dpi), round(picture[1] - left, 4), round(base - picture[2], 4)
                )
    capture = PageCapture(name, 1, copy, {"dpi": dpi}, tuple(attempts), pictures, {})
    save_capture(hand, capture)
    return capture, doubtful


def _attempt(
    letter: WordLetter, word: WordReading, place: str, number: int, x_height: float, row: int, column: int
) -> tuple[Attempt | None, float, float]:
    """Return a letter as an attempt, and where its cell's left guide and baseline lie on the page, mm."""
    every = np.concatenate(letter.pieces_mm)
    height, slope = word.baseline_mm
    left = float(every[:, 0].min()) - BEARING * x_height
    base = height + slope * float(0.5 * (every[:, 0].min() + every[:, 0].max()))
    strokes = []
    for p in letter.pieces_mm:
        level = np.stack([p[:, 0], p[:, 1] - slope * p[:, 0] + (base - height)], axis=1)
        strokes.append(Stroke(cell_from_image(level, left_mm=left, baseline_mm=base), _width(word)))
    if len(strokes) > MOST_STROKES or any(len(s.points_mm) > MOST_POINTS for s in strokes):
        return None, left, base
    findings = []
    if word.cost > SURELY:
        findings.append(Finding("doubtful word", letter.char, 1, row, column, f"{word.cost:.1f}"))
    elif letter.misfit > MISFIT:
        findings.append(Finding("low confidence", letter.char, 1, row, column, f"{letter.misfit:.2f} off its form"))
    return (
        Attempt(
            id=place,
            char=letter.char,
            attempt=number,
            status="written",
            strokes=tuple(strokes),
            x_height_mm=x_height,
            ascender_mm=2.0 * x_height,
            descender_mm=-x_height,
            width_mm=float(np.ptp(every[:, 0])) + 2 * BEARING * x_height,
            pen_mm=max(s.width_mm for s in strokes),
            confidence=float(np.clip(1.0 - 0.25 * max(word.cost, 0.0), 0.1, 1.0)),
            findings=tuple(findings),
        ),
        left,
        base,
    )


def _width(word: WordReading) -> float:
    """Return the pen's width in a word."""
    return float(np.median([s.width_mm for s in word.strokes])) if word.strokes else 0.4


def _picture(
    letter: WordLetter, grey: NDArray[np.uint8], dpi: float, pen_mm: float
) -> tuple[NDArray[np.uint8], float, float]:
    """Return a letter's ink on white, and where its picture's left and top edges lie on the page, mm."""
    k = px_per_mm(dpi)
    every = np.concatenate(letter.pieces_mm)
    h, w = grey.shape
    x0, y0 = np.maximum(np.floor((every.min(axis=0) - 1.0) * k).astype(int), 0)
    x1, y1 = np.minimum(np.ceil((every.max(axis=0) + 1.0) * k).astype(int), [w, h])
    near = np.zeros((y1 - y0, x1 - x0), np.uint8)
    for p in letter.pieces_mm:
        at = np.round(p * k - 0.5 - [x0, y0]).astype(np.int32)
        cv2.polylines(near, [at.reshape(-1, 1, 2)], False, 255, max(1, round(2 * PEN_REACH * pen_mm * k)))
    return np.where(near > 0, grey[y0:y1, x0:x1], np.uint8(255)), x0 / k, y0 / k


def summary(done: TakenLetter) -> list[str]:
    """Return what to tell the person, a line each."""
    share = done.kept / max(done.letters, 1)
    lines = [
        f"{done.kept} of {done.letters} letters taken ({share:.0%}), {done.doubtful} of them doubtful: {done.contact}"
    ]
    if done.left_out:
        listed = "; ".join(done.left_out[:12]) + (" …" if len(done.left_out) > 12 else "")
        lines.append(f"{len(done.left_out)} words left out, their ink does not suit them: {listed}")
    if done.ink_left_out >= 0.005:
        lines.append(f"{done.ink_left_out:.0%} of the ink belongs to no word of the text.")
    return [*lines, *done.notices]
