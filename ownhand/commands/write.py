"""One text to its files: plotter files, previews, and what to tell about them."""

from __future__ import annotations

import shlex
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from capture import plain_json
from capture.errors import InputError, UsageError
from capture.files import check_writable, page_file, write_bytes
from fontbuild.font import Font
from ownhand.commands.additions import with_drawings
from ownhand.composer import Notice, Ruling, Settings
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.formats import KINDS, SUFFIXES, page_bytes
from ownhand.composer.merge.lacks import Lack, lacks_in
from ownhand.composer.merge.ranges import ranges
from ownhand.composer.merge.template import named_boxes, split_boxes
from ownhand.composer.plot.imposition import sheets_of
from ownhand.composer.plot.machine import Machine
from ownhand.composer.plot.motion import Effort, effort
from ownhand.composer.settings.life import Life
from ownhand.composer.settings.settings_data import settings_from
from ownhand.composer.text.characters import character_name
from ownhand.hands.font_of_hand import font_of, is_font_file


@dataclass(frozen=True, eq=False)
class WrittenPages:
    """The files of a text, and what to tell about it."""

    files: tuple[Path, ...]
    """Page by page: the plotter file, then its preview and replay."""

    efforts: tuple[Effort, ...]
    notices: tuple[Notice, ...]
    missing: tuple[Lack, ...]
    paper: str = ""
    """Where the paper lies on the machine, if the files move one."""


def kind_of(output: Path) -> str:
    """Return the kind of file by the suffix of its name.

    Raises
    ------
    UsageError
        If it is none that pages can become.
    """
    kind = KINDS.get(output.suffix.lower())
    if kind is None:
        raise UsageError(str(output), f"unknown kind of file '{output.suffix}'", f"Use one of {', '.join(KINDS)}.")
    return kind


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
    strict: bool = False,
    others: Mapping[str, Font] | None = None,
    formats: Sequence[str] = (),
) -> WrittenPages:
    """Set `text` in the hand at `font` (a hand folder or a UFO) and write a file for each page.

    Where the settings have boxes or curves, a line `>> name` begins the text of the one of that name. `others` are
    further hands by the names that boxes call them.

    With `strict` nothing is written where the hand lacks a character of the text.

    `formats` are further kinds of file, beside it. The kind of `output` follows its suffix: .svg, .hpgl or .plt,
    .gcode or .nc; .png draws the picture alone.

    Raises
    ------
    UsageError
        If the suffix is none of these, the text is empty, or the page does not fit the machine.
    OutputError
        If a file exists and `force` was not given, or cannot be written.
    """
    kind = kind_of(output)
    if not text.strip():
        raise UsageError("text", "it is empty", "Give some words, a file with --file, or standard input.")
    wanted = {output: kind}
    for other in formats:
        if other not in SUFFIXES:
            raise UsageError("--format", f"no format '{other}'", f"Use {', '.join(SUFFIXES)}.")
        if other != kind:
            wanted[output.with_suffix(SUFFIXES[other])] = other
    shown = output.with_suffix(".png")
    is_preview = preview and shown not in wanted
    if is_preview:
        wanted[shown] = "png"
    if replay:
        wanted[output.with_suffix(".html")] = "html"
    for file in wanted:
        # a preview that is there already may be of this very page, written in another format
        check_writable(file, force=force or (is_preview and file == shown))
    has_boxes = bool(settings.boxes or settings.curves)
    named = in_boxes(text) if has_boxes else text
    unboxed = [] if has_boxes else named_boxes(text)
    composed = Ensemble(font_of(font), others).compose(named, settings, seed)
    if strict and composed.missing:
        return WrittenPages((), (), composed.notices, lacks_in(composed))
    pages = composed.pages if settings.impose is None else sheets_of(composed.pages, settings.impose)
    files = [(page_file(file, page.number), page, what) for page in pages for file, what in wanted.items()]
    made = [(file, page_bytes(page, what, machine)) for file, page, what in files]
    for file, data in made:
        check_writable(file, force=force or (is_preview and file.suffix == ".png" and _holds(file, data)))
    for file, data in made:
        write_bytes(file, data)
    efforts = tuple(effort(page, machine) for page in pages)
    literal = "stands on the page as it is: without a layout there is no such box"
    notices = [*composed.notices, *(Notice("no box", f"the line '>> {name}'", literal) for name in unboxed)]
    paper = _paper(machine, pages[0].size_mm, set(wanted.values())) if machine is not None and pages else ""
    return WrittenPages(tuple(file for file, _ in made), efforts, tuple(notices), lacks_in(composed), paper)


def _paper(machine: Machine, size_mm: tuple[float, float], kinds: set[str]) -> str:
    """Return where the paper lies on the machine, as the kind of file counts that moves it; '' for pictures alone."""
    if "gcode" in kinds:
        return machine.told_paper(size_mm)
    return replace(machine, origin="bottom left").told_paper(size_mm) if "hpgl" in kinds else ""


def _holds(file: Path, data: bytes) -> bool:
    """Whether a file holds these very bytes already."""
    return file.is_file() and file.stat().st_size == len(data) and file.read_bytes() == data


def in_boxes(text: str) -> str | dict[str, str]:
    """Return a text by the boxes that it names; as it is where it names none."""
    parts = dict(split_boxes(text))
    return parts[""] if list(parts) == [""] else parts


def summary(done: WrittenPages, *, font: Path, others: Mapping[str, Path] | None = None) -> list[str]:
    """Return what to tell the person, a line each; `others`: the places of further hands by their names."""
    missing = missing_lines(done.missing, font, others or {}, written=bool(done.files))
    lines = [str(file) for file in done.files]
    if not done.files:
        return lines + missing
    ink, travel = sum(e.ink_mm for e in done.efforts), sum(e.travel_mm for e in done.efforts)
    lifts, seconds = sum(e.lifts for e in done.efforts), sum(e.seconds for e in done.efforts)
    written = sum(e.writing_travel_mm for e in done.efforts)
    lines.append(
        f"{len(done.efforts)} page(s): {ink / 1000:.2f} m of ink, {lifts} pen lifts, "
        f"{travel / 1000:.2f} m pen-up travel"
        + (f" ({written / 1000:.2f} m in the order of writing)" if round(written) > round(travel) else "")
        + f", about {_minutes(seconds)} on the machine."
    )
    if done.paper:
        lines.append(f"On the machine: {done.paper}.")
    lines += [str(notice) for notice in done.notices if notice.kind != "missing"]
    return lines + missing


def missing_lines(lacks: Sequence[Lack], font: Path, others: Mapping[str, Path], *, written: bool) -> list[str]:
    """Return what to tell of characters that hands lack: each, how often, in which rows, and what to do.

    font, others: the places of the page's own hand, and of further ones by their names.
    """
    what = "a gap is left where each belongs" if written else "nothing was written"
    lines = []
    for hand, place in {"": font, **others}.items():
        own = [lack for lack in lacks if lack.hand == hand]
        whose = f"the hand '{hand}'" if hand else "this hand"
        if own:
            lines.append(f"Missing in {whose}; {what}:")
        for lack in own:
            times = "once" if lack.count == 1 else f"{lack.count} times"
            where = f", in the rows at line {ranges(lack.lines)} of the table" if lack.lines else ""
            lines.append(f"  {character_name(lack.char)}: {times}{where}")
        if own:
            lines.append(how_to_add(place, "".join(sorted(lack.char for lack in own))))
    return lines


def how_to_add(font: Path, chars: str) -> str:
    """Return what to do for characters that the hand or the font file at `font` lacks."""
    asked = f"--characters {shlex.quote(chars)}"
    if not is_font_file(font):
        return f"Add them: ownhand sheet {shlex.quote(str(font))} {asked}"
    new = font.with_name(f"{font.stem}-more{font.suffix}")
    added = f"ownhand extend {shlex.quote(str(font))} --hand HAND -o {shlex.quote(str(new))}"
    return f"Add them: ownhand sheet HAND {asked}, and when it was read: {added}"


def _minutes(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def settings_of(
    layout: Path | None, options: Mapping[str, Any], *, tell: Callable[[str], None] = lambda line: None
) -> Settings:
    """Return the settings of a layout file (TOML or JSON, see `settings.settings_data`), if one is given.

    Parameters
    ----------
    options
        The command's, which win over the file's; None, False and '' mean that one was not given.
    tell
        Called with a line for each kind of thing in the layout's drawings that is not drawn.

    Raises
    ------
    InputError
        If the file cannot be read.
    UsageError
        If a setting is impossible.
    """
    data, left_out = with_drawings(_layout(layout), layout.parent) if layout else ({}, [])
    for line in left_out:
        tell(line)
    for name in ("paper", "x_height_mm", "line_spacing", "align", "hyphenate", "order", "landscape", "fit"):
        given = options.get(name)
        if given is not None and given is not False and given != "":  # but 0, which is refused
            data[name] = given
    if options.get("impose"):
        given = data.get("impose")
        data["impose"] = {**(given if isinstance(given, dict) else {}), "paper": options["impose"]}
    if options.get("margins"):
        data["margins_mm"] = list(margins(options["margins"]))
    if options.get("ruled"):
        lines = ruling(options["ruled"])
        data["ruling"] = {"pitch_mm": lines.pitch_mm, "offset_mm": lines.offset_mm}
    if options.get("life") is not None:
        try:
            Life(strength=options["life"])
        except UsageError as error:
            raise UsageError("--life", error.what, error.remedy) from None
        life = data.get("life")
        data["life"] = {**(life if isinstance(life, dict) else {}), "strength": options["life"]}
    return settings_from(data, where=str(layout) if layout else "write")


def _layout(path: Path) -> dict[str, Any]:
    try:
        text = path.read_text(encoding="utf-8-sig")
        data = plain_json.loads(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror})", "Check its name and permissions.") from None
    except (ValueError, RecursionError) as error:
        said = " ".join(str(error).split())
        raise InputError(str(path), f"is not TOML or JSON ({said})", "Mend it where it says.") from None
    if not isinstance(data, dict):
        raise InputError(str(path), "holds no settings", "Write them as name = value.")
    return data


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


def ruling(text: str) -> Ruling:
    """Return the printed lines of an option 'pitch' or 'pitch,offset' in mm.

    Raises
    ------
    UsageError
        If it is not made of one or two numbers.
    """
    try:
        numbers = [float(part) for part in text.split(",")]
        pitch, offset = numbers if len(numbers) == 2 else (*numbers, 0.0)
    except ValueError:
        remedy = "Give the distance of the lines and, after a comma, how far one lies from the top edge, in mm."
        raise UsageError("--ruled", f"'{text}' is not one or two numbers", remedy) from None
    return Ruling(pitch, offset)
