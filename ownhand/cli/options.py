"""Options and arguments that several commands share, and reading what they name."""

from __future__ import annotations

import math
import re
import sys
from codecs import BOM_UTF16_BE, BOM_UTF16_LE, BOM_UTF32_LE
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from capture.errors import InputError, UsageError
from ownhand import console

HAND = click.argument("hand", type=click.Path(path_type=Path))
FORCE = click.option("--force", is_flag=True, help="Replace an output file that exists.")
LANGUAGES = click.option(
    "-l", "--languages", default="", metavar="CODES", help="Languages, by ISO 639 code or English name: en,fr,pl."
)


def of_a_new_hand(command: Callable[..., Any]) -> Callable[..., Any]:
    """Return a command with the options that tell whose hand a new one is."""
    told = {
        "--family": "Name of the font",
        "--writer": "Whose hand it is",
        "--consent": "How its owner agreed, in words",
        "--use": "What the hand may be used for",
    }
    for name, help_text in reversed(told.items()):
        command = click.option(name, default="", help=f"{help_text} (where nothing is recorded yet).")(command)
    return command


TEXT_FILE = click.Path(path_type=Path, allow_dash=True)

MARKUP = re.compile(r"\s*(\{\\rtf|<\?xml|<!doctype|<html)", re.IGNORECASE)
"""How files begin that hold text, but not as it is to be written: Rich Text Format, XML (W3C, 2008, 2.8), HTML."""


class Number(click.ParamType):  # type: ignore[type-arg]  # generic in newer releases only
    """A number as people type it, with a point or a comma."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number that `value`, a text or a number, stands for; its decimal sign may be a comma."""
        try:
            return float(value.replace(",", ".")) if isinstance(value, str) else float(value)
        except ValueError:
            self.fail(f"'{value}' is not a number.", param, ctx)


NUMBER = Number()


class Within(click.FloatRange):
    """A number between two others; 'nan', which is neither below nor above any, is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number that `value` stands for."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"'{value}' is not a number.", param, ctx)
        return number


def say_staleness(hand: Path, *, sized: bool = False) -> None:
    """Tell where the hand's font is older than what was read, decided or agreed, or a UFO lost its size."""
    from ownhand.hands.freshness import staleness

    for line in staleness(hand):
        console.say(line)
    if not sized and hand.suffix.lower() in (".ufo", ".ufoz"):
        from fontbuild.formats.ufo_reader import says_its_size

        if not says_its_size(hand):
            console.say(
                f"{hand} does not tell in which size it was written: 3 mm is taken for its x-height (--x-height)."
            )


def words(text: str) -> list[str]:
    """Return the parts of an option that commas separate."""
    return [word.strip() for word in text.split(",") if word.strip()]


def text_of(file: Path) -> str:
    """Return the text in a file; '-' is standard input.

    It is UTF-8, or UTF-16 where a byte order mark says so (The Unicode Standard, section 23.8).

    Raises
    ------
    InputError
        If it cannot be read, or is neither.
    """
    try:
        data = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
        is_utf16 = data.startswith((BOM_UTF16_LE, BOM_UTF16_BE)) and not data.startswith(BOM_UTF32_LE)
        text = data.decode("utf-16" if is_utf16 else "utf-8-sig")
    except OSError as error:
        raise InputError(str(file), f"cannot be read ({error.strerror})", "Check its name and permissions.") from None
    except UnicodeDecodeError:
        raise InputError(str(file), "is not text in UTF-8", "Save it as plain text in UTF-8.") from None
    if kind := MARKUP.match(text):
        what = f"begins with {kind[0].strip()}, as files with marks for a program do"
        raise InputError(str(file), what, "Save it as plain text in UTF-8.")
    return text


def others_of(pairs: Sequence[str]) -> dict[str, str]:
    """Return names and folders of options `name=folder`.

    Raises
    ------
    UsageError
        If one is not of that form, or a name comes twice.
    """
    out: dict[str, str] = {}
    for pair in pairs:
        name, sign, folder = pair.partition("=")
        if not (sign and name.strip() and folder.strip()) or name.strip() in out:
            raise UsageError("--hand", f"'{pair[:60]}' is not a new name and a folder", "Write --hand aunt=FOLDER.")
        out[name.strip()] = folder.strip()
    return out
