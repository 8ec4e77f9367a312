"""From a hand's attempts to its font files."""

from __future__ import annotations

import dataclasses
import shlex
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from capture.collector import rarely_collected
from capture.errors import HandFolderError
from capture.files import sweep
from fontbuild.build import BuildResult, build_font
from fontbuild.font import Font, Record
from fontbuild.guide_size import reference_size
from fontbuild.letters_on_lines import letters_on_lines
from fontbuild.letterwise import Letterwise, in_turn
from fontbuild.spacing import tabular
from fontbuild.usable_attempts import BuildingRules
from ownhand.commands.side_by_side import side_by_side
from ownhand.hands.captures import PageCapture, load_captures
from ownhand.hands.decisions import apply_decisions, building_rules, with_bearings
from ownhand.hands.decisions_file import load_decisions, told
from ownhand.hands.freshness import note_built
from ownhand.hands.hand import Hand, HandRecord, open_hand
from ownhand.hands.kept_letters import FILE as KEPT_FILE
from ownhand.hands.kept_letters import KeptLetters
from ownhand.hands.locking import locked
from ownhand.subprocesses import processes
from skeleton.attempt import Attempt

Progress = Callable[[str, int, int], None]

FIGURES = "0123456789"


def no_consent(hand: Path) -> str:
    """Return what is said of a hand of which nobody wrote down how its owner agreed."""
    command = f"ownhand record {shlex.quote(str(hand))} --consent 'my own hand'"
    return f"No consent is recorded. Use a hand only as its owner agreed: {command} (or how they agreed)."


@dataclass(frozen=True, eq=False)
class Built:
    """What a build made, and what did not go into it."""

    font: Font
    result: BuildResult
    files: tuple[Path, ...]
    consent: str
    notices: tuple[str, ...] = ()
    """What could not be read of the decisions."""


def font_record(record: HandRecord) -> Record:
    """Return what the fonts say of the hand's owner."""
    return Record(record.family, record.writer, record.consent, record.use, record.year)


def attempts_of(hand: Hand, captures: Sequence[PageCapture]) -> tuple[Attempt, ...]:
    """Return all attempts of the hand, as the person wants them.

    Raises
    ------
    HandFolderError
        If nothing was read yet.
    """
    attempts = [a for capture in captures for a in capture.attempts]
    if not attempts:
        remedy = f"Read a filled-in sheet first: ownhand read {shlex.quote(str(hand.path))} SCANS"
        raise HandFolderError(str(hand.path), "holds no captures yet", remedy)
    return apply_decisions(attempts, load_decisions(hand.decisions_file))


def rhythm_of(captures: Sequence[PageCapture], attempts: Sequence[Attempt]) -> dict[str, float]:
    """Return the habits of running text of all ruled pages together, in font units; empty where none was written."""
    pages = [c.rhythm for c in captures if c.rhythm]
    size = reference_size(attempts)
    x_height = size.x_height_mm / size.mm_per_unit
    keys = sorted({key for page in pages for key in page})
    means = {key: float(np.mean([page[key] for page in pages if key in page])) for key in keys}
    places = {key: ink.place_mm for c in captures for key, ink in c.ink.items() if ink.place_mm is not None}
    means |= letters_on_lines(attempts, places)
    return {key: value if key.endswith(("_deg", "_share")) else value * x_height for key, value in means.items()}


def make_font(
    hand: Hand, *, progress: Progress | None = None, letterwise: Letterwise = in_turn
) -> tuple[Font, BuildResult]:
    """Return the font of all that was read and decided; nothing is written."""
    decisions = load_decisions(hand.decisions_file)
    captures = load_captures(hand)
    attempts = attempts_of(hand, captures)
    result = build_font(
        attempts,
        font_record(hand.record),
        decisions=building_rules(decisions),
        rhythm=rhythm_of(captures, attempts),
        copied=[w for c in captures for w in c.copied],
        progress=progress,
        letterwise=letterwise,
    )
    return with_bearings(result.font, decisions), result


def written_in(path: Path) -> tuple[tuple[Attempt, ...], BuildingRules, str]:
    """Return what was written in the hand at `path`, what was decided on it, and its owner's consent.

    Raises
    ------
    HandFolderError
        If there is no hand, or nothing was read yet.
    """
    hand = open_hand(path)
    decided = building_rules(load_decisions(hand.decisions_file))
    return attempts_of(hand, load_captures(hand)), decided, hand.record.consent


def with_tabular_figures(font: Font) -> Font:
    """Return `font` with all its figures equally wide, for tables and columns."""
    figures = [g for char in FIGURES for g in font.glyphs.get(char, ())]
    even = {g.name: g for g in tabular(figures)} if figures else {}
    glyphs = {char: tuple(even.get(g.name, g) for g in variants) for char, variants in font.glyphs.items()}
    kerning = {pair: k for pair, k in font.kerning.items() if not set(pair) & set(FIGURES)}
    return dataclasses.replace(font, glyphs=glyphs, kerning=kerning)


def build(path: Path, *, tabular_figures: bool = False, progress: Progress | None = None) -> Built:
    """Build the font of the hand in `path` and write its files: UFO 3, SVG 1.1 fonts and an OpenType font.

    Raises
    ------
    HandFolderError
        If there is no hand, or nothing was read yet.
    OutputError
        If the files cannot be written, or another command is writing into the hand.
    """
    # here, because a font is written with far more often than it is built
    from fontbuild.formats.opentype import save_opentype
    from fontbuild.formats.svg_font import save_svg_fonts
    from fontbuild.formats.ufo import save_ufo

    hand = open_hand(path)
    with locked(path), rarely_collected(), processes() as pool:
        sweep(hand.path)
        letters = KeptLetters(side_by_side(pool), hand.font_folder / KEPT_FILE)
        font, result = make_font(hand, progress=progress, letterwise=letters)
        letters.save()
        if tabular_figures:
            font = with_tabular_figures(font)
        # a third of all work; the other files need the other two thirds, and none needs another
        inked = pool.submit(save_opentype, font, hand.font_folder / f"{hand.record.family}.ttf")
        if progress:
            progress("write files", 0, 2)
        files = [
            save_ufo(font, hand.ufo),
            *save_svg_fonts(font, hand.font_folder / f"{hand.record.family}.svg"),
        ]
        if progress:
            progress("write files", 1, 2)
        files.append(inked.result())
        if progress:
            progress("write files", 2, 2)
        note_built(hand)
        notices = told(hand.decisions_file, load_decisions(hand.decisions_file))
    return Built(font, result, tuple(files), hand.record.consent, tuple(notices))


def summary(done: Built, *, hand: Path) -> list[str]:
    """Return what to tell the person of the font of `hand`, a line each."""
    glyphs = sum(len(v) for v in done.font.glyphs.values())
    written = [str(f) for f in done.files]
    lines = [f"{len(done.font.glyphs)} characters, {glyphs} glyphs: {', '.join(written)}"]
    if done.result.set_aside:
        reasons = Counter(s.reason.partition(" (")[0] for s in done.result.set_aside)
        listed = ", ".join(f"{reason} ({n})" for reason, n in reasons.most_common())
        lines.append(f"{len(done.result.set_aside)} attempts set aside, none deleted: {listed}")
    if done.result.missing:
        lines.append("Attempted, but not one attempt can be used: " + " ".join(done.result.missing))
    lines += done.notices
    if done.result.doubtful:
        lines.append(
            f"Only doubtful readings of these characters, look at them (ownhand review {shlex.quote(str(hand))}): "
            + " ".join(done.result.doubtful)
        )
    if not done.consent:
        lines.append(no_consent(hand))
    return lines
