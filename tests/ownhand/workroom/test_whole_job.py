"""The whole job in a real browser, from an empty folder to the plotter's files, without a command.

The sheet that the page prints is filled in and scanned by the sample's simulated writer. What the page gives is held
against what the commands give for the same settings, byte for byte.
"""

from __future__ import annotations

import csv
import io
import os
import signal
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from ownhand.cli.main import main
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import load_sheets, open_hand
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
MESSAGE = "Dear Mara,\nthe lamp is lit, the towers stand in the mist;\nour tea is hot."
ADDRESS = "Mara Dell\n7 Harr Lane"
CARD = "{greeting} {name},\nthe lamp is lit and the tea is hot."
WAYS = {"pointer at 1400": (1400, 900, False, "none"), "keys at 390, forced colours": (390, 844, True, "active")}


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


@pytest.mark.parametrize("way", WAYS)
def test_the_whole_job_from_an_empty_folder_to_the_plotters_files(browser, tmp_path, faults, way):
    width, height, keyboard, forced = WAYS[way]
    folder = tmp_path / "hands"
    folder.mkdir()
    running = start(folder)
    context = browser.new_context(viewport={"width": width, "height": height}, forced_colors=forced)
    context.set_default_timeout(PATIENCE_S * 1000)
    page = tab(context, running.url, faults)
    person = Person(page, keyboard=keyboard)

    # a new hand
    person.write(page.get_by_label("Name of the hand"), "Signal House")
    person.write(page.get_by_label("Whose hand it is"), "A. Keeper")
    person.write(page.get_by_label("How its owner agreed"), "simulated, for this test")
    person.button("Begin this hand")
    page.get_by_role("heading", name="A sheet to fill in").wait_for()
    hand = open_hand(folder / "signal-house")

    # its sheet: only a few letters, so that it is soon filled in
    person.button("Leave out English")
    person.write(page.get_by_label("Further characters"), CHARACTERS)
    page.locator("img.print").wait_for()
    pdf = person.saved(page.get_by_role("button", name="Save the PDF"))
    assert pdf == next(hand.sheets_folder.glob("*/sheet.pdf")).read_bytes()
    scans = fill_in(hand, tmp_path)

    # from here on: scans to file
    before = person.presses, person.typed
    person.part("Reading")
    person.files(page.get_by_label("Drop scans here"), *scans)
    # with nothing compiled yet, on a busy machine, the first tracing takes minutes
    page.get_by_role("link", name="Look through the letters").wait_for(timeout=4 * PATIENCE_S * 1000)
    person.link("Look through the letters")
    ready(page)

    # a letter mended
    person.press(page.locator("a.line-link").first)
    page.locator(".desk-picture .hit").first.wait_for()
    ready(page)
    page.keyboard.press("1")
    page.keyboard.press("t")
    until(
        lambda: (
            hand.decisions_file.exists()
            and any(d.strokes for d in load_decisions(hand.decisions_file).attempts.values())
        )
    )
    person.button("Build the font")
    page.get_by_text("The font is built").wait_for()

    # a postcard with two boxes and two pens
    person.part("Page")
    page.locator("#paper").wait_for()
    person.write(page.get_by_label("Text", exact=True), MESSAGE)
    person.unfold("Boxes")
    person.button("Divide the page into two boxes")
    person.write(page.get_by_label("Text of address"), ADDRESS)
    person.unfold("Pens")
    person.button("One more pen")
    person.press(page.get_by_role("button", name="address", exact=True))
    person.choose_next(page.locator("[data-act=field-pen]"))
    for kind in ("HP-GL", "G-code"):
        person.tick(page.get_by_label(kind))
    page.wait_for_selector("#paper[aria-busy=false] img")
    archive = zipfile.ZipFile(io.BytesIO(person.saved(page.locator("#save-files"))))
    presses, typed = person.presses - before[0], person.typed - before[1]
    assert presses <= 18 and typed == len(MESSAGE) + len(ADDRESS), (presses, typed)

    # the same by the commands
    person.unfold("Layouts")
    person.write(page.get_by_label("Keep this one as"), "postcard")
    person.button("Keep the layout")
    page.get_by_text("Kept as postcard.toml").wait_for()
    text, out = tmp_path / "text.txt", tmp_path / "out"
    text.write_bytes(person.saved(page.get_by_role("button", name="Save the text as a file")))
    layout = hand.path / "layouts" / "postcard.toml"
    out.mkdir()
    for kind in ("svg", "hpgl", "gcode"):
        file = out / f"card.{kind}"
        command = ["write", str(hand.path), "-f", str(text), "-o", str(file), "--layout", str(layout), "--no-preview"]
        assert main(command) in (0, 5)
        assert archive.read(file.name) == file.read_bytes(), kind
    svg = archive.read("card.svg").decode()
    assert 'id="pen-1"' in svg and 'id="pen-2"' in svg

    # thirty guests, as a ZIP
    table = thirty_guests(tmp_path / "guests.csv")
    person.unfold("A card for each row of a table")
    person.files(page.get_by_label("Drop a table"), table)
    page.get_by_text("Card 1 of 30").wait_for()
    person.write(page.get_by_label("Text of message"), CARD)
    person.write(page.get_by_label("Text of address"), "{street}")
    page.wait_for_selector("#paper[aria-busy=false] img")
    person.button("Write all 30 cards")
    cards = zipfile.ZipFile(io.BytesIO(person.saved(page.locator("#cards-zip"))))
    template = tmp_path / "card.txt"
    template.write_bytes(person.saved(page.get_by_role("button", name="Save the text as a file")))
    command = ["write", str(hand.path), "--table", str(table), "--template", str(template), "--layout", str(layout)]
    command += ["--name", "file", "-o", str(tmp_path / "cards")]
    assert main([*command, *(w for kind in ("svg", "hpgl", "gcode") for w in ("--format", kind))]) in (0, 5)
    assert len(cards.namelist()) == 90
    assert all(cards.read(name) == (tmp_path / "cards" / name).read_bytes() for name in cards.namelist())

    context.close()
    running.stop()


def serve(folder: Path) -> tuple[subprocess.Popen[str], str]:
    """Run `ownhand open` as a person does; return the process and its address."""
    command = [sys.executable, "-m", "ownhand", "open", str(folder), "--no-browser"]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment)
    assert process.stderr is not None
    for line in process.stderr:
        if line.startswith("Open "):
            return process, line.split()[1]
    raise AssertionError("it did not start")


def ended(process: subprocess.Popen[str]) -> None:
    process.wait()
    assert process.stderr is not None
    process.stderr.close()


def test_a_server_killed_while_it_reads_loses_nothing_says_so_and_goes_on(context, hand, faults):
    """The scan waits on, the lock is free, what was typed on the page is there again."""
    process, url = serve(hand.path)
    page = tab(context, url, faults, "#reading", allow="ERR_")
    person = Person(page)
    person.files(page.get_by_label("Drop scans here"), LANTERN / "scans" / "page-1.jpg")
    page.get_by_role("progressbar", name="Reading").wait_for()
    process.send_signal(signal.SIGKILL)
    ended(process)
    page.get_by_text("The server does not answer").first.wait_for()

    def free() -> bool:
        try:
            with locked(hand.path):
                return True
        except Exception:
            return False

    until(free, "the reading ends with its server")
    assert [p.name for p in (hand.path / "waiting").iterdir()] == ["page-1.jpg"]
    process, url = serve(hand.path)
    try:
        anew = tab(context, url, faults, "#reading")
        anew.get_by_text("1 scan waits to be read: page-1.jpg").wait_for()
        person = Person(anew)
        person.button("Read them")
        anew.get_by_role("progressbar", name="Reading").wait_for()
        person.button("Stop")
        anew.get_by_text("was stopped").first.wait_for()
        anew.get_by_text("1 scan waits to be read").wait_for()
    finally:
        process.terminate()
        ended(process)
