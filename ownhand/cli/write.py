"""The command that writes: one text, or a file for each row of a table."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from capture.collector import rarely_collected
from capture.errors import NEEDS_REVIEW, UsageError
from ownhand import console
from ownhand.cli.options import FORCE, HAND, NUMBER, TEXT_FILE, others_of, say_staleness, text_of, words

if TYPE_CHECKING:
    from ownhand.composer.merge.mail_merge import RunReport
    from ownhand.composer.merge.table import Table

ALIGNMENTS = click.Choice(["left", "right", "centre", "center", "justified"])
FILE = click.Path(path_type=Path)


@click.command(short_help="Set TEXT in the hand and write it, ready to plot.")
@HAND
@click.argument("text", required=False)
@click.option("-f", "--file", "text_file", type=TEXT_FILE, help="Text file; '-' or no text at all: standard input.")
@click.option("-o", "--output", type=FILE, help="page.svg, .hpgl, .gcode, .png; for a table a folder.")
@click.option("--layout", type=FILE, help="Page settings and text boxes, TOML or JSON; the options here win over it.")
@click.option("--paper", help="Name, or WIDTHxHEIGHT in mm.  [A4]")
@click.option("--landscape", is_flag=True, help="Turn the paper.")
@click.option("--margins", metavar="MM", help="One, two or four numbers.  [20]")
@click.option("--x-height", "x_height_mm", type=NUMBER, help="Writing size in mm; as written if not given.")
@click.option("--line-spacing", type=NUMBER, help="Times the natural distance of lines.  [1]")
@click.option("--align", type=ALIGNMENTS, help="[left]")
@click.option("--ruled", metavar="PITCH[,OFFSET]", help="Write on printed lines so many mm apart.")
@click.option("--fit", is_flag=True, help="Write smaller where the text would need a further page.")
@click.option("--hyphenate", metavar="LANGUAGE", help="Divide words at line ends.")
@click.option("--life", type=NUMBER, help="How much the writing varies: 0 nil, 1 natural, 2 strong.  [1]")
@click.option("--order", type=click.Choice(["writing", "least travel"]), help="Order of the paths.  [writing]")
@click.option("--hand", "hands", multiple=True, metavar="NAME=FOLDER", help="A further hand, for boxes that name it.")
@click.option("--machine", "machine_file", type=FILE, help="Profile of the plotter, TOML or JSON.")
@click.option("--seed", default=0, show_default=True, help="Same seed, same page.")
@click.option("--replay", is_flag=True, help="Also a web page that replays the writing.")
@click.option("--no-preview", is_flag=True, help="No PNG beside the page.")
@click.option("--table", type=FILE, help="CSV, .xlsx or .ods: a file for each row, into the folder -o.")
@click.option("--sheet", help="Sheet of a workbook.  [the first that is not hidden]")
@click.option("--template", type=TEXT_FILE, help="Text with {fields} for --table.")
@click.option("--encoding", help="Of a CSV table, where it is told wrongly: utf-8, cp1250, mac_roman.")
@click.option("--name", "name_field", default="", metavar="COLUMN", help="Column that names the files of a table.")
@click.option("--format", "formats", multiple=True, help="Further kinds, or a table's: svg,hpgl,gcode,png,html.")
@click.option("--strict", is_flag=True, help="Write nothing if the hand lacks a character.")
@click.option("--one-file", is_flag=True, help="A table in one G-code file that stops for each next sheet of paper.")
@click.option("--overview", type=FILE, help="PNG of all cards of a table in small; with --check before any is written.")
@click.option("--impose", metavar="PAPER", help="Several pages on one sheet, with crop marks: A3, SRA3, 420x297.")
@click.option("--check", is_flag=True, help="Read the whole table and write nothing; needs no -o.")
@FORCE
@rarely_collected()  # a font is tens of thousands of objects, read at once and kept
def write(hand: Path, text: str | None, text_file: Path | None, output: Path | None, **options: Any) -> int:
    """Set TEXT in the hand and write it, ready to plot.

    HAND may be a font file as well: .ufo, .ufoz or an SVG 1.1 font. The suffix of -o says which kind
    of file: .svg, .hpgl or .plt, .gcode or .nc, .png.
    """
    from ownhand.commands import write as pages
    from ownhand.commands.additions import fonts_of
    from ownhand.composer.plot.machine import load_machine

    if output is None:
        if not (options["table"] and options["check"]):
            raise UsageError("-o", "nothing says where to write", "Give -o page.svg, or for a table a folder.")
        output = Path()  # nothing is written
    _check_options(output, options)
    say_staleness(hand, sized=bool(options.get("x_height_mm")))
    settings = pages.settings_of(options.pop("layout"), options, tell=console.say)
    machine = load_machine(options["machine_file"]) if options["machine_file"] else None
    places = {name: Path(folder) for name, folder in others_of(options.pop("hands")).items()}
    others = fonts_of(places)
    options["formats"] = tuple(kind for given in options["formats"] for kind in words(given))
    if options["table"]:
        if text is not None or text_file is not None or options["template"] is None:
            raise UsageError("--table", "goes with --template, not with a text", "Give --template FILE with {fields}.")
        return _write_table(hand, output, settings=settings, machine=machine, others=others, places=places, **options)
    if text is not None and text_file is not None:
        raise UsageError("write", "a text and a file", "Give one of them.")
    done = pages.write_pages(
        hand,
        text if text is not None else text_of(text_file or Path("-")),
        output,
        settings=settings,
        seed=options["seed"],
        machine=machine,
        preview=not options["no_preview"],
        replay=options["replay"],
        force=options["force"],
        strict=options["strict"],
        others=others,
        formats=options["formats"],
    )
    for line in pages.summary(done, font=hand, others=places):
        console.say(line)
    return NEEDS_REVIEW if done.missing else 0


OF_TABLES = {
    "template": "--template", "sheet": "--sheet", "encoding": "--encoding", "name_field": "--name",
    "one_file": "--one-file", "overview": "--overview", "check": "--check",
}  # fmt: skip
"""Options that only a table has a use for, as they are called here and on the command line."""

OF_ONE_TEXT = {"replay": "--replay"}


def _check_options(output: Path, options: dict[str, Any]) -> None:
    """Refuse options that would do nothing, and a kind of file that there is not."""
    if options["table"]:
        useless, goes_with, remedy = OF_ONE_TEXT, "one text", "For a table: --format svg,html."
    else:
        from ownhand.commands.write import kind_of

        useless, goes_with, remedy = OF_TABLES, "a table", "Add --table FILE, or leave it out."
        kind_of(output)
    for name, called in useless.items():
        if options[name]:
            raise UsageError(called, f"goes with {goes_with}", remedy)


def _write_table(hand: Path, folder: Path, *, settings: Any, machine: Any, others: Any, **options: Any) -> int:
    from ownhand.commands.overview import THUMBNAIL_DPI, check_overview, older_pages, write_overview
    from ownhand.composer.merge.mail_merge import run_table
    from ownhand.composer.merge.table import read_table
    from ownhand.composer.merge.template import key, parse_template
    from ownhand.composer.merge.workers import Run
    from ownhand.hands.font_of_hand import font_of
    from ownhand.hands.locking import locked

    font = font_of(hand)
    letters = frozenset(font.glyphs)
    table = read_table(options["table"], encoding=options["encoding"], letters=letters, sheet=options["sheet"])
    wrong = " If names are wrong, say --encoding." if table.as_likely else ""
    console.say(f"{options['table']}: {table.read_as(key(options['name_field']))}.{wrong}")
    template = parse_template(text_of(options["template"]), where=str(options["template"]))
    formats = options["formats"] or (("gcode",) if options["one_file"] else ("svg",))
    run = Run(settings, formats=formats, machine=machine, others=others, one_file=options["one_file"])
    if options["overview"] is not None:
        check_overview(options["overview"], force=options["force"])
        run = replace(run, thumbnail_dpi=THUMBNAIL_DPI)
    with console.progress_bar() as progress, nullcontext() if options["check"] else locked(folder, what=ANOTHER_RUN):
        done = run_table(
            font,
            table,
            template,
            folder,
            run,
            name_field=options["name_field"],
            seed=options["seed"],
            check=options["check"],
            force=options["force"],
            strict=options["strict"],
            progress=progress,
        )
    if options["overview"] is not None and not done.thumbnails:
        console.say(f"{options['overview']}: not made, there is no card to show.")
    elif options["overview"] is not None:
        files = write_overview(done.thumbnails, options["overview"], force=options["force"])
        console.say(f"{', '.join(map(str, files))}: look through before plotting.")
        if older := older_pages(options["overview"], len(files)):
            console.say(f"Of an earlier, longer overview, and no card of this table: {', '.join(map(str, older))}")
    return _told(done, table, hand, folder, options)


def _told(done: RunReport, table: Table, hand: Path, folder: Path, options: dict[str, Any]) -> int:
    """Say what a run did, or would do; return the exit code."""
    from ownhand.commands.write import missing_lines

    checked = len(table.rows) - len(done.faults)
    console.say(
        f"{checked} of {len(table.rows)} rows can be written."
        if options["check"]
        else f"{folder}: {done.written} file(s) written, {done.pages} page(s)"
        + (f"; {done.skipped} were there already." if done.skipped else ".")
    )
    for line in done.told():
        console.say(line)
    for fault in done.faults:
        console.say(f"{options['table']}: {fault}")
    if done.left_over:
        listed = ", ".join(done.left_over[:20]) + (" …" if len(done.left_over) > 20 else "")
        console.say(f"Of earlier runs and no row of this table any more, {len(done.left_over)} file(s) stay: {listed}")
    written = not (options["strict"] or options["check"])
    for line in missing_lines(done.missing, hand, options["places"], written=written):
        console.say(line)
    return NEEDS_REVIEW if done.faults or done.missing else 0


ANOTHER_RUN = "another run is writing into this folder"
