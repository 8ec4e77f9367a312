"""The font to write with, which is loaded far more often than it is built."""

from __future__ import annotations

from pathlib import Path

from capture.errors import HandFolderError
from fontbuild.font import Font
from fontbuild.formats.ufo_reader import load_ufo
from ownhand.hands.freshness import build_command
from ownhand.hands.hand import open_hand

FONT_FILES = (".ufo", ".ufoz", ".svg")


def is_font_file(path: Path) -> bool:
    """Tell whether a path names a font by itself, and no hand's folder."""
    return path.suffix.lower() in FONT_FILES


def font_of(path: Path) -> Font:
    """Return the font to write with: that of a hand folder, or a UFO or SVG font of any origin.

    A font without habits of its own gets the general ones of handwriting when it is written with.

    Raises
    ------
    HandFolderError
        If the hand's font was not built yet.
    FontFileError
        If the font cannot be read.
    """
    if path.suffix.lower() in {".ufo", ".ufoz"}:
        return load_ufo(path)
    if path.suffix.lower() == ".svg":
        from fontbuild.formats.svg_font_reader import load_svg_font

        return load_svg_font(path).font
    hand = open_hand(path)
    if not hand.ufo.exists():
        others = sorted(hand.font_folder.glob("*.ufo"))
        what = "its font was not built yet"
        if others:
            what = f"its font was built as '{others[0].stem}', the hand is called '{hand.record.family}' now"
        raise HandFolderError(str(path), what, f"Build it: {build_command(path)}")
    return load_ufo(hand.ufo)
