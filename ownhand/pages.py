"""One text to its files: plotter files, previews, and what to tell about them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from capture.errors import UsageError
from capture.files import check_writable, write_bytes, write_text
from ownhand.building import font_of
from ownhand.composer import Composer, Composition, Notice, PlotPage, Settings
from ownhand.composer.formats.gcode import gcode_text
from ownhand.composer.formats.hpgl import hpgl_text
from ownhand.composer.formats.png import png_bytes
from ownhand.composer.formats.replay import replay_html
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.machine import Machine, check_bed
from ownhand.composer.motion import Effort, effort

PLOTTER_FORMATS: dict[str, Callable[[PlotPage, Machine | None], str]] = {
    ".svg": lambda page, machine: svg_text(page),
    ".hpgl": hpgl_text,
    ".plt": hpgl_text,
    ".gcode": gcode_text,
    ".nc": gcode_text,
}
"""By suffix of the output file."""


@dataclass(frozen=True, eq=False)
class Written:
    """The files of a text, and what to tell about it."""

    files: tuple[Path, ...]
    previews: tuple[Path, ...]
    efforts: tuple[Effort, ...]
    notices: tuple[Notice, ...]
    missing: dict[str, int]


def page_file(output: Path, number: int) -> Path:
    """Return the file of page `number`: `output` itself for the first, then `<stem>-2` and so on.

    Examples
    --------
    >>> page_file(Path("card.svg"), 2).name
    'card-2.svg'
    """
    return output if number == 1 else output.with_name(f"{output.stem}-{number}{output.suffix}")


def write_pages(
    font: Path,
    text: str,
    output: Path,
    *,
    settings: Settings,
    seed: int = 0,
    machine: Machine | None = None,
    preview: bool = True,
    replay: bool = False,
    force: bool = False,
) -> Written:
    """Set `text` in the hand at `font` (a hand folder or a UFO) and write a file for each page.

    The kind of file follows the suffix of `output`: .svg, .hpgl or .plt, .gcode or .nc; .png draws the picture alone.

    Raises
    ------
    UsageError
        If the suffix is none of these, the text is empty, or the page does not fit the machine.
    OutputError
        If a file exists and `force` was not given, or cannot be written.
    """
    kind = output.suffix.lower()
    if kind != ".png" and kind not in PLOTTER_FORMATS:
        known = ", ".join([*PLOTTER_FORMATS, ".png"])
        raise UsageError(str(output), f"unknown kind of file '{kind}'", f"Use one of {known}.")
    if not text.strip():
        raise UsageError("text", "it is empty", "Give some words, a file with --file, or standard input.")
    wanted = [
        output,
        *([output.with_suffix(".png")] if preview else []),
        *([output.with_suffix(".html")] if replay else []),
    ]
    for file in wanted:
        check_writable(file, force=force)
    composed = Composer(font_of(font)).compose(text, settings, seed)
    for page in composed:
        for file in wanted:
            check_writable(page_file(file, page.number), force=force)
        if machine is not None:
            check_bed(page, machine)
    return _write(composed, output, machine=machine, preview=preview, replay=replay)


def _write(composed: Composition, output: Path, *, machine: Machine | None, preview: bool, replay: bool) -> Written:
    kind = output.suffix.lower()
    files, previews = [], []
    for page in composed:
        file = page_file(output, page.number)
        if kind == ".png":
            files.append(write_bytes(file, png_bytes(page)))
        else:
            files.append(write_text(file, PLOTTER_FORMATS[kind](page, machine)))
            if preview:
                previews.append(write_bytes(file.with_suffix(".png"), png_bytes(page)))
        if replay:
            previews.append(write_text(file.with_suffix(".html"), replay_html(page, machine)))
    efforts = tuple(effort(page, machine, compare=True) for page in composed)
    return Written(tuple(files), tuple(previews), efforts, composed.notices, dict(composed.missing))


def summary(done: Written, *, font: Path) -> list[str]:
    """Return what to tell the person, a line each."""
    lines = [str(file) for file in (*done.files, *done.previews)]
    ink, travel = sum(e.ink_mm for e in done.efforts), sum(e.travel_mm for e in done.efforts)
    lifts, seconds = sum(e.lifts for e in done.efforts), sum(e.seconds for e in done.efforts)
    least = [e.least_travel_mm for e in done.efforts if e.least_travel_mm is not None]
    lines.append(
        f"{len(done.files)} page(s): {ink / 1000:.2f} m of ink, {lifts} pen lifts, {travel / 1000:.2f} m pen-up travel"
        + (f" ({sum(least) / 1000:.2f} m in the shortest order)" if len(least) == len(done.efforts) else "")
        + f", about {_minutes(seconds)} on the machine."
    )
    lines += [str(notice) for notice in done.notices]
    if done.missing:
        listed = ", ".join(f"{char} ({n})" for char, n in sorted(done.missing.items(), key=lambda item: -item[1]))
        chars = "".join(sorted(done.missing))
        lines.append(f"Missing in this hand, left out: {listed}. Add them: {how_to_add(font, chars)}")
    return lines


def how_to_add(font: Path, chars: str) -> str:
    """Return the command that prints a sheet for characters which the font lacks."""
    quoted = chars.replace("'", "'\\''")
    return f"ownhand sheet {font} --characters '{quoted}'"


def _minutes(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def margins(text: str) -> tuple[float, float, float, float]:
    """Return top, right, bottom, left in mm of an option that gives one, two or four numbers.

    Raises
    ------
    UsageError
        If it does not.

    Examples
    --------
    >>> margins("12,20")
    (12.0, 20.0, 12.0, 20.0)
    """
    remedy = "Give one number for all, two (top and bottom, sides) or four (top, right, bottom, left), in mm."
    try:
        numbers: Sequence[float] = [float(part) for part in text.split(",")]
    except ValueError:
        raise UsageError("--margins", f"'{text}' is not made of numbers", remedy) from None
    if len(numbers) == 1:
        return (numbers[0],) * 4
    if len(numbers) == 2:
        return (numbers[0], numbers[1], numbers[0], numbers[1])
    if len(numbers) == 4:
        return (numbers[0], numbers[1], numbers[2], numbers[3])
    raise UsageError("--margins", f"{len(numbers)} numbers", remedy)
