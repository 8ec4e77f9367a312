"""The command line: one short function a verb; the only place that catches errors and turns them into one line."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from capture.errors import NEEDS_REVIEW, OwnhandError, UsageError
from ownhand import __version__, console

HAND = click.argument("hand", type=click.Path(path_type=Path))
FORCE = click.option("--force", is_flag=True, help="Replace an output file that exists.")
LANGUAGES = click.option(
    "-l", "--languages", default="", metavar="CODES", help="Languages, by ISO 639 code or English name: en,fr,pl."
)


def _words(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, prog_name="ownhand")
def ownhand() -> None:
    """Make a stroke font of a person's own handwriting, and set text in it, ready to plot.

    A HAND is a folder that holds one person's sheets, scans, captures, decisions and font. Capture a hand only with
    its owner's consent; never for signatures or cheques, nor to deceive.
    """


@ownhand.command()
@HAND
@LANGUAGES
@click.option("-c", "--characters", default="", metavar="TEXT", help="These very characters.")
@click.option(
    "-t", "--text", "text_file", type=click.File("r", encoding="utf-8"), help="All that this text file needs."
)
@click.option("--missing", is_flag=True, help="Only what the hand's font cannot show yet.")
@click.option("--paper", default="A4", show_default=True, help="A4, Letter, A5 or WIDTHxHEIGHT in mm.")
@click.option("--x-height", "x_height_mm", default=3.5, show_default=True, help="Writing size: the x-height in mm.")
@click.option("--pages", type=click.IntRange(1, 60), help="At most so many pages of cells.")
@click.option(
    "--least", default=2, show_default=True, type=click.IntRange(1, 50), help="Attempts of the rarest letters."
)
@click.option(
    "--copy", "copy_file", type=click.File("r", encoding="utf-8"), help="A text to copy, on a ruled page more."
)
@click.option("--family", default="", help="Name of the font (a new hand).")
@click.option("--writer", default="", help="Whose hand it is (a new hand).")
@click.option("--consent", default="", help="How its owner agreed, in words (a new hand).")
@click.option("--use", default="", help="What the hand may be used for (a new hand).")
@click.option("--left-handed", is_flag=True, help="The writer is left-handed (a new hand).")
def sheet(hand: Path, languages: str, text_file: Any, copy_file: Any, **options: Any) -> int:
    """Plan a sheet and print it as PDF and SVG."""
    from ownhand import sheets

    made = sheets.print_sheet(
        hand,
        languages=_words(languages),
        text=text_file.read() if text_file else "",
        copy=copy_file.read() if copy_file else "",
        **options,
    )
    console.say(f"{made.pdf}: {made.pages} page(s), {made.cells} cells for {made.characters} characters.")
    for line in made.notices:
        console.say(line)
    console.say("Print at 100 % ('actual size'), check the 100 mm bar, fill in, scan at 300 dpi or more, then:")
    console.say(f"  ownhand read {hand} SCANS")
    return 0


@ownhand.command()
@HAND
@click.argument("scans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--adopt", is_flag=True, help="Take in a sheet that was not made for this hand.")
@click.option("--jobs", default=0, type=click.IntRange(0, 64), help="Processes; 0: one for each core.")
def read(hand: Path, scans: tuple[Path, ...], adopt: bool, jobs: int) -> int:
    """Read filled-in sheets: scans or photos, in any order and orientation."""
    from ownhand import reading

    with console.progress_bar() as progress:
        done = reading.read_scans(hand, scans, adopt=adopt, jobs=jobs, progress=progress)
    console.put_table("Pages", reading.PAGE_COLUMNS, reading.page_rows(done))
    if done.findings:
        console.put_table("To look at", reading.FINDING_COLUMNS, reading.finding_rows(done))
    for line in done.notices:
        console.say(line)
    return NEEDS_REVIEW if done.refused else 0


@ownhand.command()
@HAND
@click.option("--tabular", is_flag=True, help="Give all figures the same width.")
def build(hand: Path, tabular: bool) -> int:
    """Build the stroke font from all that was read."""
    from ownhand import building

    with console.progress_bar() as progress:
        done = building.build(hand, tabular=tabular, progress=progress)
    for line in building.summary(done):
        console.say(line)
    return 0


@ownhand.command()
@HAND
@click.option("-o", "--output", type=click.Path(path_type=Path), help="PNG file; HAND/font/proof.png if not given.")
@LANGUAGES
def proof(hand: Path, output: Path | None, languages: str) -> int:
    """Draw one picture page of the font: every character with its variants, and a paragraph set in it."""
    from ownhand import proofing

    console.say(str(proofing.write_proof(hand, output, languages=_words(languages))))
    return 0


@ownhand.command()
@click.argument("images", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--dpi", required=True, type=click.FloatRange(10, 10000), help="Resolution of the images.")
@click.option("--char", default=None, help="The character that is drawn, if it is one.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="SVG file to write, in mm.")
@click.option("--format", "kind", type=click.Choice(["svg", "json"]), default="svg", show_default=True)
@FORCE
def trace(images: tuple[Path, ...], dpi: float, char: str | None, output: Path | None, kind: str, force: bool) -> int:
    """Trace ink drawings straight to strokes."""
    from ownhand import tracing

    if kind == "json":
        for image in images:
            console.put(json.dumps(tracing.traced_json(image, dpi=dpi, char=char), ensure_ascii=False))
        return 0
    if output is None or len(images) != 1:
        raise UsageError("trace", "an SVG holds one image", "Give one image and -o out.svg, or --format json.")
    console.say(str(tracing.write_traced_svg(images[0], output, dpi=dpi, char=char, force=force)))
    return 0


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return its exit code (see `capture.errors`)."""
    try:
        return int(
            ownhand.main(args=None if argv is None else list(argv), prog_name="ownhand", standalone_mode=False) or 0
        )
    except OwnhandError as error:
        console.say(f"ownhand: {error}")
        return error.exit_code
    except click.ClickException as error:
        console.say(f"ownhand: {error.format_message()}")
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        console.say("ownhand: stopped; what was finished is kept.")
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except MemoryError:
        console.say("ownhand: not enough memory. Scan at a lower resolution, or read fewer pages at once.")
        return 1
