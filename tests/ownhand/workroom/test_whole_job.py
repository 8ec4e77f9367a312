"""The whole job in a real browser, from an empty folder to the plotter's files, without a command.

The sheet that the page prints is filled in and scanned by the sample's simulated writer. What the page gives is held
against what the commands give for the same settings, byte for byte. The job is done twice: at ease, and in every
difficulty at once.
"""

from __future__ import annotations

import csv
import io
import os
import signal
import subprocess
import sys
import threading
import time
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from capture.errors import OwnhandError
from ownhand.cli.main import main
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import Hand, load_sheets, open_hand
from ownhand.hands.locking import locked
from ownhand.workroom.server import start
from sample_sheets.filling import fill
from sample_sheets.scanning import lying, save_jpeg, written
from sample_sheets.writer.machines import scanned
from tests.ownhand.on_page import PATIENCE_S, ready, tab, until
from tests.ownhand.person import Person

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")

LANTERN = Path(__file__).parents[3] / "sample_sheets" / "lantern"
CHARACTERS = "adehiklmnorstuwD,7"
FEW = "aehit"
"""Of the second job: its sheet is as real, and sooner read."""

MESSAGE = "Dear Mara,\nthe lamp is lit, the towers stand in the mist;\nour tea is hot."
ADDRESS = "Mara Dell\n7 Harr Lane"
CARD = "{greeting} {name},\nthe lamp is lit and the tea is hot."
KINDS = ("svg", "hpgl", "gcode")


def fill_in(hand, folder: Path) -> list[Path]:
    """Fill in and scan the hand's sheet as the sample's writer does; return the scans."""
    (sheet,) = load_sheets(hand).values()
    pdf = next(hand.sheets_folder.glob("*/sheet.pdf"))
    cells, copied, other = fill(sheet, np.random.default_rng([1874, 0]))
    scans = []
    for page in sheet.pages:
        rng = np.random.default_rng([1874, page.page])
        ink = [t for f in cells if f.page == page.page for t in (*f.traces, *f.beside)]
        ink += [t for c in copied if c.page == page.page for t in c.traces] + other[page.page]
        picture, px_per_mm = written(pdf, page.page, ink, rng)
        machine = lying(page.page, rng)
        scans.append(folder / f"scan-{page.page}.jpg")
        save_jpeg(scans[-1], scanned(picture, px_per_mm, machine, rng), dpi=machine.dpi, quality=80)
    return scans


def thirty_guests(path: Path) -> Path:
    """Write a table of thirty guests: those of the museum's own, several times, under names of their own."""
    rows = list(csv.reader((LANTERN / "guests.csv").read_text("utf-8").splitlines()))
    body = [[f"{row[0]}-{n}", *row[1:]] for n in range(3) for row in rows[1:11]]
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([rows[0], *body[:30]])
    return path


# --- the steps of the job --------------------------------------------------------------------------------------------


def begin_hand(person: Person, folder: Path) -> Hand:
    page = person.page
    person.write(page.get_by_label("Name of the hand"), "Signal House")
    person.write(page.get_by_label("Whose hand it is"), "A. Keeper")
    person.write(page.get_by_label("How its owner agreed"), "simulated, for this test")
    person.button("Begin this hand")
    page.get_by_role("heading", name="A sheet to fill in").wait_for()
    return open_hand(folder / "signal-house")


def save_sheet(person: Person, hand: Hand, characters: str) -> None:
    """Plan a sheet of a few letters only, so that it is soon filled in, and save it."""
    page = person.page
    person.button("Leave out English")
    person.write(page.get_by_label("Further characters"), characters)
    page.locator("img.print").wait_for()
    pdf = person.saved(page.get_by_role("button", name="Save the PDF"))
    assert pdf == next(hand.sheets_folder.glob("*/sheet.pdf")).read_bytes()


def drop_scans(person: Person, scans: list[Path]) -> None:
    person.part("Reading")
    person.files(person.page.get_by_label("Drop scans here"), *scans)


def look_through_letters(person: Person, hand: Hand) -> None:
    """Go on once all is read; turn a stroke of the first letter round."""
    page = person.page
    # with nothing compiled yet, on a busy machine, the first tracing takes minutes
    page.get_by_role("link", name="Look through the letters").wait_for(timeout=4 * PATIENCE_S * 1000)
    person.link("Look through the letters")
    ready(page)
    person.press(page.locator("a.line-link").first)
    page.locator(".desk-picture .hit").first.wait_for()
    ready(page)
    person.key("1")
    person.key("t")
    until(
        lambda: (
            hand.decisions_file.exists()
            and any(d.strokes for d in load_decisions(hand.decisions_file).attempts.values())
        )
    )
    person.button("Build the font")
    page.get_by_text("The font is built").wait_for()


def type_message(person: Person) -> None:
    person.part("Page")
    person.page.locator("#paper").wait_for()
    person.write(person.page.get_by_label("Text", exact=True), MESSAGE)


def two_boxes_two_pens(person: Person) -> None:
    page = person.page
    person.unfold("Boxes")
    person.button("Divide the page into two boxes")
    person.write(page.get_by_label("Text of address"), ADDRESS)
    person.unfold("Pens")
    person.button("One more pen")
    person.press(page.get_by_role("button", name="address", exact=True))
    person.choose_next(page.locator("[data-act=field-pen]"))


def take_files(person: Person) -> zipfile.ZipFile:
    page = person.page
    for kind in ("HP-GL", "G-code"):
        person.tick(page.get_by_label(kind))
    page.wait_for_selector("#paper[aria-busy=false] img")
    return zipfile.ZipFile(io.BytesIO(person.saved(page.locator("#save-files"))))


def keep_layout(person: Person, hand: Hand) -> Path:
    page = person.page
    person.unfold("Layouts")
    person.write(page.get_by_label("Keep this one as"), "postcard")
    person.button("Keep the layout")
    page.get_by_text("Kept as postcard.toml").wait_for()
    return hand.path / "layouts" / "postcard.toml"


def save_text(person: Person, file: Path) -> Path:
    file.write_bytes(person.saved(person.page.get_by_role("button", name="Save the text as a file")))
    return file


def take_guests(person: Person, table: Path) -> zipfile.ZipFile:
    """Write a card for each guest; return the ZIP of them."""
    page = person.page
    person.unfold("A card for each row of a table")
    person.files(page.get_by_label("Drop a table"), table)
    page.get_by_text("Card 1 of 30").wait_for()
    person.write(page.get_by_label("Text of message"), CARD)
    person.write(page.get_by_label("Text of address"), "{street}")
    page.wait_for_selector("#paper[aria-busy=false] img")
    person.button("Write all 30 cards")
    return zipfile.ZipFile(io.BytesIO(person.saved(page.locator("#cards-zip"))))


# --- what the commands give ------------------------------------------------------------------------------------------


def is_as_the_command_writes(card: zipfile.ZipFile, hand: Hand, text: Path, layout: Path, out: Path) -> None:
    out.mkdir()
    assert sorted(card.namelist()) == sorted(f"card.{kind}" for kind in KINDS)
    for name in card.namelist():
        command = ["write", str(hand.path), "-f", str(text), "-o", str(out / name), "--layout", str(layout)]
        assert main([*command, "--no-preview"]) in (0, 5)
        assert card.read(name) == (out / name).read_bytes(), name
    svg = card.read("card.svg").decode()
    assert 'id="pen-1"' in svg and 'id="pen-2"' in svg


def are_as_the_command_writes(
    cards: zipfile.ZipFile, hand: Hand, table: Path, template: Path, layout: Path, out: Path
) -> None:
    command = ["write", str(hand.path), "--table", str(table), "--template", str(template), "--layout", str(layout)]
    command += ["--name", "file", "-o", str(out), *(w for kind in KINDS for w in ("--format", kind))]
    assert main(command) in (0, 5)
    assert len(cards.namelist()) == 30 * len(KINDS)
    assert all(cards.read(name) == (out / name).read_bytes() for name in cards.namelist())


# --- at ease ---------------------------------------------------------------------------------------------------------


def test_the_whole_job_from_an_empty_folder_to_the_plotters_files(browser, tmp_path, faults, say):
    folder = tmp_path / "hands"
    folder.mkdir()
    running = start(folder)
    context = browser.new_context(viewport={"width": 1400, "height": 900})
    context.set_default_timeout(PATIENCE_S * 1000)
    person = Person(tab(context, running.url, faults))
    hand = begin_hand(person, folder)
    save_sheet(person, hand, CHARACTERS)
    scans = fill_in(hand, tmp_path)

    begun = person.counted
    drop_scans(person, scans)
    look_through_letters(person, hand)
    type_message(person)
    two_boxes_two_pens(person)
    card = take_files(person)
    from_scans_to_file = person.counted - begun
    layout = keep_layout(person, hand)
    text = save_text(person, tmp_path / "text.txt")
    before_guests = person.counted
    table = thirty_guests(tmp_path / "guests.csv")
    cards = take_guests(person, table)
    for_guests = person.counted - before_guests
    template = save_text(person, tmp_path / "card.txt")
    context.close()
    running.stop()

    say(f"from scans to file: {from_scans_to_file}; thirty guests more: {for_guests}")
    assert from_scans_to_file.presses <= 18
    assert from_scans_to_file.typed == len(MESSAGE) + len(ADDRESS)
    is_as_the_command_writes(card, hand, text, layout, tmp_path / "out")
    are_as_the_command_writes(cards, hand, table, template, layout, tmp_path / "cards")


# --- in every difficulty ---------------------------------------------------------------------------------------------


class Served:
    """`ownhand open` as a person runs it, given the processor for one quarter of the time only."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-m", "ownhand", "open", str(folder), "--no-browser"]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment)
        assert self.process.stderr is not None
        told = next((line for line in self.process.stderr if line.startswith("Open ")), "")
        assert told, "it did not start"
        self.url = told.split()[1]
        self._slowing = threading.Event()
        self._slowing.set()
        self._thread = threading.Thread(target=self._slow, daemon=True)
        self._thread.start()

    def _slow(self) -> None:
        while self._slowing.is_set():
            self.process.send_signal(signal.SIGSTOP)
            time.sleep(0.03)
            self.process.send_signal(signal.SIGCONT)
            time.sleep(0.01)

    def end(self, how: signal.Signals = signal.SIGTERM) -> None:
        self._slowing.clear()
        self._thread.join()
        self.process.send_signal(how)
        self.process.wait()
        assert self.process.stderr is not None
        self.process.stderr.close()


def is_free(hand: Hand) -> bool:
    """Whether a command could write into the hand."""
    try:
        with locked(hand.path):
            return True
    except OwnhandError:
        return False


def test_the_whole_job_by_keys_alone_on_a_narrow_page_in_forced_colours_with_a_slow_server_that_is_killed_twice(
    browser, tmp_path, faults, say
):
    """Killed while it reads, and while a page is set: nothing is lost, it is said, and the work goes on."""
    folder = tmp_path / "hands"
    folder.mkdir()
    context = browser.new_context(viewport={"width": 390, "height": 844}, forced_colors="active")
    context.set_default_timeout(PATIENCE_S * 1000)

    def opened(at: str = "") -> tuple[Served, Any]:
        served = Served(folder)
        address = served.url if not at else f"{served.url}hand/signal-house/{at}"
        return served, tab(context, address, faults, allow="Failed to load")

    served, page = opened()
    try:
        person = Person(page, keyboard=True)
        hand = begin_hand(person, folder)
        save_sheet(person, hand, FEW)
        scans = fill_in(hand, tmp_path)
        begun = person.counted
        drop_scans(person, scans)
        page.get_by_role("progressbar", name="Reading").wait_for()

        served.end(signal.SIGKILL)
        page.get_by_text("The server does not answer").first.wait_for()
        until(lambda: is_free(hand), "the reading ends with its server")
        assert sorted(p.name for p in (hand.path / "waiting").iterdir()) == sorted(s.name for s in scans)
        page.close()
        served, person.page = opened("#reading")
        person.page.get_by_text("waits to be read" if len(scans) == 1 else "wait to be read").wait_for()
        person.button("Read them")
        look_through_letters(person, hand)
        type_message(person)
        two_boxes_two_pens(person)
        person.page.wait_for_selector("#paper[aria-busy=false] img")

        served.end(signal.SIGKILL)
        person.key("g")
        person.page.get_by_text("The server does not answer").first.wait_for()
        person.page.close()
        served, person.page = opened("#page")
        person.page.wait_for_selector("#paper[aria-busy=false] img")
        assert person.page.get_by_label("Text of message").input_value() == MESSAGE
        assert person.page.get_by_label("Text of address").input_value() == ADDRESS
        card = take_files(person)
        from_scans_to_file = person.counted - begun
        layout = keep_layout(person, hand)
        text = save_text(person, tmp_path / "text.txt")
        table = thirty_guests(tmp_path / "guests.csv")
        cards = take_guests(person, table)
        template = save_text(person, tmp_path / "card.txt")
    finally:
        served.end()
        context.close()

    say(f"by keys alone, killed twice, from scans to file: {from_scans_to_file}")
    assert from_scans_to_file.presses <= 24
    assert from_scans_to_file.typed == len(MESSAGE) + len(ADDRESS)
    is_as_the_command_writes(card, hand, text, layout, tmp_path / "out")
    are_as_the_command_writes(cards, hand, table, template, layout, tmp_path / "cards")
