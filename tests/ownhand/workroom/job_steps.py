"""The steps of the whole job, each as a person takes it on the page, and what the commands give for the same settings.

The sheet that the page prints is filled in and scanned by the sample's simulated writer.
"""

from __future__ import annotations

import csv
import io
import zipfile
from pathlib import Path

import numpy as np

from ownhand.cli.main import main
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import Hand, load_sheets, open_hand
from sample_sheets.filling import fill
from sample_sheets.scanning import lying, save_jpeg, written
from sample_sheets.writer.machines import scanned
from tests.ownhand.on_page import PATIENCE_S, ready, until
from tests.ownhand.person import Person

LANTERN = Path(__file__).parents[3] / "sample_sheets" / "lantern"
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
