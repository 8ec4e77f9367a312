"""A page set as it will be plotted, at once: the same composer, settings and files as the command's."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from capture.errors import UsageError
from capture.files import page_file
from fontbuild.font import Font
from ownhand.commands.write import in_boxes
from ownhand.composer import Composition, Settings
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.formats import FORMATS, MEDIA_TYPES, SUFFIXES, page_bytes
from ownhand.composer.formats.replay import replay_data
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.merge.lacks import lacks_elsewhere, lacks_in
from ownhand.composer.merge.run_plan import safe_name
from ownhand.composer.plot.imposition import sheets_of
from ownhand.composer.plot.machine import Machine, check_bed, machine_from
from ownhand.composer.plot.motion import effort
from ownhand.composer.plot.plot_page import PlotPage
from ownhand.composer.settings.settings_data import settings_from
from ownhand.composer.text.paragraph_hands import by_hand
from ownhand.hands.font_of_hand import font_of
from ownhand.hands.hand import Hand, open_hand
from ownhand.validation import Place, raise_faults
from ownhand.workroom.drawings import extents, with_drawings_read
from ownhand.workroom.folder import Folder
from ownhand.workroom.times import newest
from ownhand.workroom.zips import zipped

LONGEST_TEXT = 200_000
MOST_WARM = 4
"""Sets of hands that are kept ready to write."""

MOST_SHOWN = 6
"""Pages drawn; the files hold all."""


@dataclass(frozen=True)
class Wish:
    """What a page is to be."""

    texts: Mapping[str, str]
    """By box; 'body' where there are none."""

    layout: Mapping[str, Any]
    """Plain data, as in a layout file."""

    settings: Settings
    seed: int
    machine: Machine | None
    machine_data: Mapping[str, Any] | None
    name: str
    hands: Mapping[str, Path]
    """The folders of further hands, by the names that boxes and curves call them."""

    notices: tuple[str, ...] = ()
    """What of the drawings' files is not drawn."""

    @property
    def whole_text(self) -> str:
        """The text as one file that the command reads: with boxes, each begins with a line of its name."""
        return joined(self.texts, self.settings)


def wish_from(place: Place, hand: Hand) -> Wish:
    """Return what a request asks for: `texts`, `layout`, `seed`, `machine`, `name`.

    Drawings that the layout names lie in the hand's folder of layouts, further hands in the folder of this one.

    Raises
    ------
    UsageError, InputError
        If a setting or the machine's profile is impossible.
    FaultsError
        If the request does not hold together.
    """
    texts = {name: item.text("", LONGEST_TEXT) for name, item in place.of("texts").entries()}
    seed = place.of("seed").whole(0, 2**53)
    name = place.of("name").text("page", 200)
    layout, machine = place.of("layout").value, place.of("machine").value
    raise_faults(place.faults)
    data = dict(layout) if isinstance(layout, dict) else {}
    drawn, notices = with_drawings_read(data, hand)
    settings = settings_from(drawn, where="the layout")
    profile = machine_from(machine, where="the plotter") if isinstance(machine, dict) else None
    hands = hands_of(settings, hand, texts)
    called = safe_name(name) or "page"
    return Wish(texts, data, settings, seed, profile, machine if profile else None, called, hands, tuple(notices))


def joined(texts: Mapping[str, str], settings: Settings) -> str:
    """Return the texts as one, as the command takes it; boxes without a text are left out."""
    names = [*(box.name for box in settings.all_boxes if not box.blank), *(curve.name for curve in settings.curves)]
    if names == ["body"]:
        return texts.get("body", "")
    parts = [(name, texts.get(name, "")) for name in names]
    return "\n".join(f">> {name}\n{text.strip(chr(10))}" for name, text in parts if text.strip())


def as_composed(text: str, settings: Settings) -> str | dict[str, str]:
    """Return a whole text as the composer takes it; see `commands.write.write_pages`."""
    return in_boxes(text) if settings.boxes or settings.curves else text


def hands_of(settings: Settings, hand: Hand, texts: Mapping[str, str]) -> dict[str, Path]:
    """Return the folders of the further hands that boxes, curves and paragraphs name; they lie beside the page's own.

    Raises
    ------
    UsageError
        If a name stands for no hand there.
    """
    users = [
        *((f"box '{b.name}'", b.hand) for b in settings.boxes),
        *((f"'{c.name}'", c.hand) for c in settings.curves),
        *((f"a paragraph of '{box}'", name) for box, text in texts.items() for name, _ in by_hand(text)),
    ]
    there = Folder(hand.path.parent).hands() if any(name for _, name in users) else {}
    out: dict[str, Path] = {}
    for user, name in users:
        if not name:
            continue
        path = there.get(name)
        if path is None:
            raise UsageError(user, f"no hand here is called '{name[:60]}'", "Choose whose hand writes it.")
        out[name] = path
    return out


class Desk:
    """Sets pages in one hand; its composer stays warm until the font is built anew."""

    def __init__(self, hand: Hand) -> None:
        self.hand = hand
        self._lock = threading.Lock()
        self._warm: dict[tuple[object, ...], tuple[Ensemble, Font]] = {}

    def ensemble(self, hands: Mapping[str, Path] | None = None) -> Ensemble:
        """Return what sets text in the fonts as they were built last; `hands`: the folders of further hands, by name.

        Raises
        ------
        HandFolderError
            If one was not built yet.
        """
        return self._kept(hands or {})[0]

    def font(self) -> Font:
        """Return the font as it was built last, without the letters that texts had put together; see `ensemble`."""
        return self._kept({})[1]

    def _kept(self, hands: Mapping[str, Path]) -> tuple[Ensemble, Font]:
        given = sorted(hands.items())
        with self._lock:
            state = (built(self.hand), *((name, path, built(open_hand(path))) for name, path in given))
            if state not in self._warm:
                if len(self._warm) >= MOST_WARM:
                    self._warm.clear()
                font = font_of(self.hand.path)
                self._warm[state] = Ensemble(font, {name: font_of(path) for name, path in given}), font
            return self._warm[state]

    def compose(self, wish: Wish, text: str | Mapping[str, str] | None = None, seed: int | None = None) -> Composition:
        """Return the pages of a wish; `text` and `seed`: those of one row of a table instead.

        Raises
        ------
        UsageError
            If there is nothing to write, or it does not fit.
        """
        text = as_composed(wish.whole_text, wish.settings) if text is None else text
        if not (text.strip() if isinstance(text, str) else any(t.strip() for t in text.values())):
            raise UsageError("text", "there is nothing to write yet", "Type some words.")
        return self.ensemble(wish.hands).compose(text, wish.settings, wish.seed if seed is None else seed)


def built(hand: Hand) -> int:
    """Return when the hand's font was built, in ns; 0 where it was not."""
    return newest([hand.ufo / "metainfo.plist", hand.ufo / "fontinfo.plist"])


def papers(done: Composition, wish: Wish) -> tuple[PlotPage, ...]:
    """Return the sheets of paper that are plotted: the pages, or several of them on one."""
    impose = wish.settings.impose
    return tuple(done.pages) if impose is None else tuple(sheets_of(done.pages, impose))


def page_view(done: Composition, wish: Wish) -> dict[str, Any]:
    """Return the first pages as they will be plotted, and all that should be known about them.

    Where several go on one sheet, they are drawn as they are before that; time, ink and bed are the sheets'.
    """
    sheets, lacks = papers(done, wish), lacks_in(done)
    efforts = [effort(page, wish.machine) for page in sheets]
    off_bed = ""
    if wish.machine is not None:
        try:
            for page in sheets:
                check_bed(page, wish.machine)
        except UsageError as error:
            off_bed = str(error)
    return {
        "pages": [svg_text(page) for page in done.pages[:MOST_SHOWN]],
        "count": len(done.pages),
        "size_mm": list(done.pages[0].size_mm),
        "drawings": extents(wish.settings),
        "sheets": sheets_view(done, wish),
        "notices": [*wish.notices, *lacks_elsewhere(lacks), *(str(n) for n in done.notices if n.kind != "missing")],
        "missing": {lack.char: lack.count for lack in lacks if not lack.hand},
        "x_height_mm": {name: round(mm, 2) for name, mm in done.x_height_mm.items()},
        "seconds": round(sum(e.seconds for e in efforts), 1),
        "ink_mm": round(sum(e.ink_mm for e in efforts)),
        "travel_mm": round(sum(e.travel_mm for e in efforts)),
        "lifts": sum(e.lifts for e in efforts),
        "pens": max((e.pens for e in efforts), default=0),
        "off_bed": off_bed,
    }


def sheets_view(done: Composition, wish: Wish) -> dict[str, Any] | None:
    """Return how many pages go on one sheet of paper, and how large it is; None where each has its own."""
    impose = wish.settings.impose
    if impose is None:
        return None
    each = len(impose.places(wish.settings.size_mm))
    return {"each": each, "count": -(-len(done.pages) // each), "size_mm": list(impose.size_mm)}


def replay_view(done: Composition, wish: Wish, number: int) -> dict[str, Any]:
    """Return what is needed to write a page again before one's eyes, at the machine's pace.

    Raises
    ------
    UsageError
        If there is no such page.
    """
    pages = papers(done, wish)
    if not 1 <= number <= len(pages):
        raise UsageError("page", f"there is no page {number}", "")
    return replay_data(pages[number - 1], wish.machine)


def plot_files(done: Composition, wish: Wish, formats: Iterable[str]) -> tuple[str, str, bytes]:
    """Return name, kind and content of the files of all pages: a single file, or a ZIP of them.

    Raises
    ------
    UsageError
        If there is no such format, or the writing would leave the machine's bed.
    """
    files: list[tuple[str, bytes]] = []
    kinds = list(dict.fromkeys(formats))
    for kind in kinds:
        if kind not in FORMATS:
            raise UsageError("format", f"no format '{kind[:20]}'", f"Use {', '.join(FORMATS)}.")
        for page in papers(done, wish):
            name = page_file(Path(wish.name + SUFFIXES[kind]), page.number).name
            files.append((name, page_bytes(page, kind, wish.machine)))
    if not files:
        raise UsageError("files", "no kind was chosen", f"Choose of {', '.join(FORMATS)}.")
    if len(files) == 1:
        return files[0][0], MEDIA_TYPES[kinds[0]], files[0][1]
    return f"{wish.name}.zip", "application/zip", zipped(files)
