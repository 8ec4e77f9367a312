"""The command line: one short function a verb; the only place that catches errors and turns them into one line."""

from __future__ import annotations

import errno
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
from click.exceptions import NoArgsIsHelpError

from capture.errors import NEEDS_REVIEW, OwnhandError, UsageError
from ownhand import __version__, console
from ownhand.cli.options import (
    FORCE,
    HAND,
    LANGUAGES,
    NUMBER,
    TEXT_FILE,
    Within,
    of_a_new_hand,
    say_staleness,
    text_of,
    words,
)
from ownhand.cli.serving import open_folder, review, serve
from ownhand.cli.write import write


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, prog_name="ownhand")
def ownhand() -> None:
    """Make a stroke font of a person's own handwriting, and set text in it, ready to plot.

    A HAND is a folder that holds one person's sheets, scans, captures, decisions and font. Capture a hand only with
    its owner's consent; never for signatures or cheques, nor to deceive.

    Exit codes: 0 done; 2 the command asks for something impossible; 3 something handed in cannot be used; 4 a file
    cannot be written, or exists already; 5 done, but something is missing and listed; 6 a library is not installed; 1
    anything else.
    """


@ownhand.command()
@HAND
@LANGUAGES
@click.option("-c", "--characters", default="", metavar="TEXT", help="These very characters.")
@click.option("-t", "--text", "text_file", type=TEXT_FILE, help="All that the text in this file needs.")
@click.option("--missing", is_flag=True, help="Only what the hand's font cannot show yet.")
@click.option("--paper", default="A4", show_default=True, help="A4, Letter, A5 or WIDTHxHEIGHT in mm.")
@click.option(
    "--x-height", "x_height_mm", default=3.5, type=NUMBER, show_default=True, help="Writing size: the x-height in mm."
)
@click.option("--pages", type=click.IntRange(1, 60), help="At most so many pages of cells.")
@click.option("--least", type=click.IntRange(1, 50), help="Attempts at the rarest.  [2; 4 with -c alone]")
@click.option("--copy", "copy_file", type=TEXT_FILE, help="A text to copy, on ruled pages of its own.")
@click.option("--joined", is_flag=True, help="Words to copy, to see how the hand joins its letters (needs -l or -t).")
@of_a_new_hand
@click.option("--left-handed", is_flag=True, help="The writer is left-handed (where nothing is recorded yet).")
def sheet(hand: Path, languages: str, text_file: Path | None, copy_file: Path | None, **options: Any) -> int:
    """Plan a sheet and print it as PDF and SVG."""
    from capture.copy_words import PAIR_COLUMNS, pair_rows
    from ownhand.commands.sheet import print_sheet

    texts = {file: text_of(file) for file in (text_file, copy_file) if file is not None}
    for file, given in texts.items():
        if not given.strip():
            raise UsageError(str(file), "there is no word in it", "Write the text into it.")
    made = print_sheet(
        hand,
        languages=words(languages),
        text=texts[text_file] if text_file else "",
        copy=texts[copy_file] if copy_file else "",
        **options,
    )
    if made.joined is not None:
        told = made.joined
        pairs = len(told.written & told.shares.keys())
        title = f"Pairs of letters: {pairs} of {len(told.shares)}, {told.covered:.1%} of those in running text"
        console.put_table(title, PAIR_COLUMNS, pair_rows(told))
    console.say(f"{made.pdf}: {made.pages} page(s), {made.cells} cells for {made.characters} characters.")
    for line in made.notices:
        console.say(line)
    console.say("Print at 100 % ('actual size'), check the 100 mm bar, fill in, scan at 300 dpi or more, then:")
    console.say(f"  ownhand read {shlex.quote(str(hand))} SCANS")
    return 0


@ownhand.command(short_help="Read filled-in sheets: scans or photos.")
@HAND
@click.argument("scans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--adopt", is_flag=True, help="Take in a sheet that was not made for this hand.")
@click.option("--same-writer", is_flag=True, help="A page read before from other paper is the same person's.")
@click.option("--one-off", is_flag=True, help="Letters filled one cell off are what the cells beside theirs ask for.")
@click.option("--jobs", default=0, type=click.IntRange(0, 64), help="Processes; 0: one for each core.")
def read(hand: Path, scans: tuple[Path, ...], **said: Any) -> int:
    """Read filled-in sheets: scans or photos, in any order and orientation.

    Exit code 5: a page could not be taken, or a character is only in words that were left out. Doubtful letters and
    other words left out are listed, and the code is 0.
    """
    from ownhand.commands import read_report as report
    from ownhand.commands.read import read_scans

    with console.progress_bar() as progress:
        done = read_scans(hand, scans, progress=progress, **said)
    console.put_table("Pages", report.PAGE_COLUMNS, report.page_rows(done))
    if done.findings:
        console.put_table("To look at", report.FINDING_COLUMNS, report.finding_rows(done))
    for line in (*done.notices, *report.next_steps(hand, done)):
        console.say(line)
    return NEEDS_REVIEW if done.refused or done.untraced or done.lost else 0


@ownhand.command(short_help="Take a hand from a page of writing without a sheet.")
@HAND
@click.argument("scan", type=click.Path(path_type=Path))
@click.argument("text_file", metavar="TEXT", type=TEXT_FILE)
@click.option("--dpi", type=Within(50, 5000), help="Resolution of the scan; what the file says if not given.")
@click.option("--paper-width", "paper_width_mm", type=Within(20, 1000), help="Width of the picture in mm.")
@click.option("--line-distance", "line_distance_mm", type=Within(2, 60), help="From line to line in mm.")
@of_a_new_hand
@click.option("--jobs", default=0, type=click.IntRange(0, 64), help="Processes; 0: one for each core.")
def letter(hand: Path, scan: Path, text_file: Path, **options: Any) -> int:
    """Take a hand from a page of writing without a sheet: its scan, and a file with its text, line by line.

    Exit code 5: a character is only in words that were left out. Other words left out are listed, and the code is 0.
    """
    from ownhand.commands import letter as taking

    text = text_of(text_file)
    if not text.strip():
        what = "Write the text of the page into it, line by line."
        raise UsageError(str(text_file), "there is no word in it", what)
    with console.progress_bar() as progress:
        done = taking.take_letter(hand, scan, text, progress=progress, **options)
    for line in taking.summary(done, hand=hand):
        console.say(line)
    return NEEDS_REVIEW if done.lost else 0


@ownhand.command()
@HAND
@click.option("--tabular", is_flag=True, help="Give all figures the same width.")
def build(hand: Path, tabular: bool) -> int:
    """Build the stroke font from all that was read."""
    from ownhand.commands import build as building

    with console.progress_bar() as progress:
        done = building.build(hand, tabular_figures=tabular, progress=progress)
    for line in building.summary(done, hand=hand):
        console.say(line)
    return 0


@ownhand.command(short_help="Draw picture pages of the font and a paragraph in it.")
@HAND
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="PNG file.  [HAND/font/proof.png, proof-2.png …]",
)
@LANGUAGES
@FORCE
def proof(hand: Path, output: Path | None, languages: str, force: bool) -> int:
    """Draw picture pages of a font: every character with its variants, and a paragraph set in it.

    HAND may be a font file as well: .ufo, .ufoz or an SVG 1.1 font.
    """
    from ownhand.commands.proof import write_proof

    say_staleness(hand)
    for page in write_proof(hand, output, languages=words(languages), force=force):
        console.say(str(page))
    return 0


@ownhand.command(short_help="Trace ink drawings straight to strokes.")
@click.argument("images", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--dpi", required=True, type=Within(10, 10000), help="Resolution of the images.")
@click.option("--char", default=None, help="The character that is drawn, if it is one.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="page.svg, .hpgl, .gcode, .png.")
@click.option("--machine", "machine_file", type=click.Path(path_type=Path), help="Profile of the plotter.")
@click.option("--format", "kind", type=click.Choice(["json"]), help="Strokes on standard output, several images.")
@FORCE
def trace(images: tuple[Path, ...], output: Path | None, kind: str | None, force: bool, **options: Any) -> int:
    """Trace ink drawings straight to strokes; the suffix of -o says which kind of file."""
    from ownhand.commands import trace as tracing
    from ownhand.commands.read import unkept_lines
    from ownhand.composer.plot.machine import load_machine
    from ownhand.composer.text.characters import characters
    from skeleton.precompile import prepare

    if kind != "json" and (output is None or len(images) != 1):
        raise UsageError("trace", "a plot file holds one image", "Give one image and -o out.svg, or --format json.")
    for called, given in (("--output", output), ("--machine", options["machine_file"])):
        if kind == "json" and given is not None:
            raise UsageError(called, "goes with a plot file; JSON goes to standard output", "Leave one of them out.")
    if options["char"] is not None and len(characters(options["char"])) != 1:
        what = f"'{options['char']:.40}' is not one character"
        raise UsageError("--char", what, "Name the one that is drawn, or leave it out.")
    machine_file = options.pop("machine_file")
    with console.progress_bar() as progress:
        prepared = prepare(progress)
    for line in unkept_lines(prepared):
        console.say(line)
    if kind == "json":
        import json

        for image in images:
            console.put(json.dumps(tracing.traced_json(image, **options), ensure_ascii=False))
        return 0
    assert output is not None
    machine = load_machine(machine_file) if machine_file else None
    file, notices = tracing.write_traced(images[0], output, machine=machine, force=force, **options)
    for line in (str(file), *notices):
        console.say(line)
    return 0


@ownhand.command(short_help="Tell which languages the hand can write.")
@HAND
@LANGUAGES
def coverage(hand: Path, languages: str) -> int:
    """Tell which languages the hand can write, and what is missing.

    HAND may be a font file as well: .ufo, .ufoz or an SVG 1.1 font.
    """
    from ownhand.commands.coverage import COLUMNS, coverage_rows

    say_staleness(hand)
    console.put_table("Languages", COLUMNS, coverage_rows(hand, words(languages)))
    return 0


@ownhand.command(short_help="Add accented letters to a single-line font.")
@click.argument("font", type=click.Path(path_type=Path))
@LANGUAGES
@click.option("-o", "--output", required=True, type=click.Path(path_type=Path), help="The extended font; same kind.")
@click.option("--hand", type=click.Path(path_type=Path), help="A hand with a sheet that was filled in for FONT.")
@FORCE
def extend(font: Path, languages: str, output: Path, hand: Path | None, force: bool) -> int:
    """Add the accented letters that a single-line FONT lacks (SVG 1.1 font or UFO), made of its own parts.

    With --hand, what was written on the hand's sheets and is not in FONT is brought to its size and added as well.
    """
    from capture.files import check_writable
    from fontbuild.extend import extend_font
    from ownhand.commands import build as building

    if not words(languages) and hand is None:
        raise UsageError("--languages", "none given", "Say for which languages: --languages fr,pl.")
    if not (output.is_dir() and force):
        check_writable(output, force=force)
    attempts, decisions, consent = building.written_in(hand) if hand is not None else ((), None, "-")
    done = extend_font(font, words(languages), out=output, attempts=attempts, decisions=decisions)
    added = f"{len(done.added)} letters added: {' '.join(done.added)}" if done.added else "no letter had to be added."
    console.say(f"{done.path}: {added}")
    if done.written:
        console.say(f"Of these as they were written: {' '.join(done.written)}")
    if done.set_aside:
        console.say(f"{len(done.set_aside)} attempts on the sheet set aside, none deleted.")
    if done.renamed:
        names = ", ".join(f"{char} as '{name}'" for char, name in done.renamed)
        console.say(f"Their usual glyph names stand for something else in the font, which stays as it is: {names}")
    if done.missing:
        console.say(f"Cannot be built, their parts are not in the font: {' '.join(done.missing)}")
    if not consent and hand is not None:
        console.say(building.no_consent(hand))
    return 0


@ownhand.command(short_help="Show or change whose hand it is, and what was agreed.")
@HAND
@click.option("--family", help="Name of the font.")
@click.option("--writer", help="Whose hand it is.")
@click.option("--consent", help="How its owner agreed, in words.")
@click.option("--use", help="What the hand may be used for.")
@click.option("--year", type=click.IntRange(0, 9999), help="When it was captured; 0: not known.")
@click.option("--handedness", type=click.Choice(["right", "left"]), help="The hand that its owner writes with.")
def record(hand: Path, **said: Any) -> int:
    """Show the hand's record, or change it: whose hand it is, and what was agreed."""
    from ownhand.hands.hand import change_record

    opened = change_record(hand, {key: value for key, value in said.items() if value is not None})
    for key, value in vars(opened.record).items():
        # a record keeps 0 where no year is known
        console.put(f"{key}: {'' if key == 'year' and not value else value}")
    return 0


for command in (write, open_folder, review, serve):
    ownhand.add_command(command)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return its exit code (see `capture.errors`)."""
    console.never_at_a_loss()
    try:
        code = ownhand.main(args=None if argv is None else list(argv), prog_name="ownhand", standalone_mode=False) or 0
        sys.stdout.flush()  # here, where a full disk can still be told
        return int(code)
    except OwnhandError as error:
        console.say(f"ownhand: {error}")
        return error.exit_code
    except NoArgsIsHelpError as error:
        console.say(error.format_message())
        return error.exit_code
    except click.ClickException as error:
        context = error.ctx if isinstance(error, click.UsageError) else None
        hint = f" See: {context.command_path} --help" if context else ""
        console.say(f"ownhand: {error.format_message()}{hint}")
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        console.say("ownhand: stopped; what was finished is kept.")
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except OSError as error:
        where = error.filename if isinstance(error.filename, str) else "the output"
        remedy = "Make room on the disk" if error.errno == errno.ENOSPC else "Check its name and permissions"
        console.say(f"ownhand: {where}: {error.strerror or type(error).__name__}. {remedy}.")
        return 1
    except MemoryError:
        console.say("ownhand: not enough memory. Give fewer or smaller files at once, scans at a lower resolution.")
        return 1
