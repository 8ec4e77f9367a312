"""All that a layout can say is reached from the page, and comes out as by the commands, byte for byte.

The layouts are those of the recipes, which a person would otherwise write by hand.
"""

from __future__ import annotations

import dataclasses
import io
import re
import shutil
import time
import tomllib
import zipfile
from importlib import resources
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pytest
from PIL import Image

from fontbuild.formats.ufo import save_ufo
from ownhand.cli.main import main
from ownhand.commands.write import in_boxes
from ownhand.composer.plot.machine import Machine
from ownhand.composer.settings.additions import Curve, Drawing
from ownhand.composer.settings.imposition import Imposition
from ownhand.composer.settings.life import Life
from ownhand.composer.settings.pens import Pen
from ownhand.composer.settings.settings import Settings
from ownhand.composer.settings.text_box import Ruling, TextBox
from ownhand.hands.hand import HandRecord, create_hand
from ownhand.workroom.server import start
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.test_review_server import Client

RECIPES = Path(__file__).parents[3] / "sample_sheets" / "recipes"
IN_MM = [20 * 25.4 / 96, 10 * 25.4 / 96]
"""20 by 10 px (CSS 2.1, 4.3.2)."""

PAGES = ["arc", "columns", "envelope-c6", "gift-tags", "letter", "postcard", "ruled", "two-hands"]


@pytest.fixture(scope="module")
def hands(tmp_path_factory):
    """A folder with two hands that write every letter."""
    folder = tmp_path_factory.mktemp("hands")
    for name, family, font in (("keeper", "Keeper", "futural"), ("guest", "Guest", "scripts")):
        hand = create_hand(folder / name, HandRecord(family, "A. Keeper", "simulated"))
        save_ufo(hershey_font(font, 3), hand.ufo)
    return folder


@pytest.fixture
def folder(hands, tmp_path):
    return shutil.copytree(hands, tmp_path / "hands")


@pytest.fixture
def room(folder):
    running = start(folder / "keeper")
    yield Client(running.url)
    running.stop()


def drop(room, name, data, *, to):
    return room.send("POST", f"api/{to}?name={quote(name)}", data, content_type="application/octet-stream")


def ended(room):
    while (job := room.get("api/work")[1]["job"])["running"]:
        time.sleep(0.1)
    return job


def wish_of(room, recipe: str) -> dict:
    """Return the request for a recipe's page; its drawings are dropped first."""
    layout = tomllib.loads((RECIPES / recipe / "layout.toml").read_text())
    for drawing in layout.get("drawings", []):
        if "file" in drawing:
            told = drop(room, drawing["file"], (RECIPES / recipe / drawing["file"]).read_bytes(), to="drawing/drop")
            assert told[1]["file"] == drawing["file"]
    parts = in_boxes((RECIPES / recipe / "text.txt").read_text())
    if isinstance(parts, str):
        parts = {"body": parts}
    if "" in parts:
        parts[layout["boxes"][0]["name"]] = parts.pop("")
    return {"name": "page", "texts": parts, "layout": layout, "seed": 3, "formats": ["svg", "hpgl", "gcode"]}


@pytest.mark.parametrize("recipe", PAGES)
def test_a_recipes_layout_gives_on_the_page_what_the_command_gives(room, folder, tmp_path, recipe):
    wish = wish_of(room, recipe)
    status, shown, _ = room.post("api/page", wish)
    archive = zipfile.ZipFile(io.BytesIO(room.post("api/files", wish)[1]))
    kept = room.post("api/layout/save", {**wish, "layout_name": recipe})[1]["name"]
    text = tmp_path / "text.txt"
    text.write_bytes(room.post("api/text-file", wish)[1])
    command = ["write", str(folder / "keeper"), "-f", str(text), "--layout"]
    command += [str(folder / "keeper" / "layouts" / f"{kept}.toml"), "--hand", f"guest={folder / 'guest'}", "--seed=3"]

    assert (status, shown["missing"]) == (200, {})
    for name in archive.namelist():
        assert main([*command, "-o", str(tmp_path / name), "--no-preview"]) == 0
        assert archive.read(name) == (tmp_path / name).read_bytes(), name


def test_a_further_hand_writes_what_names_it_and_one_that_is_not_there_is_said(room):
    wish = wish_of(room, "two-hands")
    both = room.post("api/page", wish)[1]
    for box in wish["layout"]["boxes"]:
        box.pop("hand", None)
    alone = room.post("api/page", wish)[1]
    wish["layout"]["boxes"][1]["hand"] = "aunt"
    status, refused, _ = room.post("api/page", wish)

    assert room.get("api/desk")[1]["hands"] == [{"id": "guest", "family": "Guest"}]
    assert both["pages"] != alone["pages"]
    assert status == 422 and "no hand here is called 'aunt'" in refused["error"]["what"]


def test_a_drawing_is_kept_beside_the_layouts_once_and_its_place_is_told(room, folder):
    svg = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><path d="M0 0H20V10"/><text>no</text></svg>'
    first, again = (drop(room, "../my lamp.svg", svg, to="drawing/drop")[1] for _ in range(2))
    other = drop(room, "my lamp.svg", svg.replace(b"H20", b"H30"), to="drawing/drop")[1]
    layout = {"paper": "A6", "drawings": [{"file": "my-lamp.svg", "x_mm": 30, "y_mm": 40, "width_mm": 40}]}
    shown = room.post("api/page", {"texts": {"body": "a lamp"}, "layout": layout})[1]

    assert first == again == {"file": "my-lamp.svg", "dpi": None, "size_mm": pytest.approx(IN_MM, abs=0.01)}
    assert room.get("api/drawing?name=my-lamp.svg")[1] == first
    assert room.get("api/drawing?name=..%2Fhand.json")[0] == 422
    assert room.get("api/kept/file?file=layouts%2Fmy-lamp.svg")[1] == svg
    assert other["file"] == "my-lamp-2.svg"
    assert shown["drawings"] == [[30, 40, 40, 20]]
    assert any("1 text left out" in notice for notice in shown["notices"])
    for name, data in (("a.svg", b"no drawing"), ("a.svg", b"<svg/>"), ("a.pdf", b"%PDF-1.4")):
        assert drop(room, name, data, to="drawing/drop")[0] == 422
    assert sorted(p.name for p in (folder / "keeper" / "layouts").iterdir()) == ["my-lamp-2.svg", "my-lamp.svg"]


def test_a_picture_is_traced_at_its_resolution(room):
    picture = np.full((300, 300), 255, np.uint8)
    white = io.BytesIO()
    Image.fromarray(picture).save(white, "PNG")
    picture[150:156, 50:250] = 0
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG", dpi=(300, 300))
    told = drop(room, "line.png", out.getvalue(), to="drawing/drop")[1]
    drawing = {"file": told["file"], "dpi": told["dpi"], "x_mm": 30, "y_mm": 40}
    layout = {"paper": "A6", "drawings": [drawing]}
    (lies,) = room.post("api/page", {"texts": {"body": "a line"}, "layout": layout})[1]["drawings"]

    assert (told["file"], told["dpi"]) == ("line.png", 300)
    assert drop(room, "white.png", white.getvalue(), to="drawing/drop")[0] == 422
    assert room.get("api/desk")[1]["drawings"] == ["line.png"]
    assert lies[2] == pytest.approx(200 / 300 * 25.4, abs=0.6)


def place_cards(room) -> dict:
    layout = tomllib.loads((RECIPES / "place-cards" / "layout.toml").read_text())
    drop(room, "guests.csv", (RECIPES / "place-cards" / "guests.csv").read_bytes(), to="table/drop")
    text = in_boxes((RECIPES / "place-cards" / "card.txt").read_text())
    texts = {"name": text} if isinstance(text, str) else {k or "name": v for k, v in text.items()}
    return {"name": "card", "texts": texts, "layout": layout, "seed": 0, "table": "guests.csv", "formats": ["svg"]}


def by_command(room, folder, tmp_path, wish, *more) -> Path:
    template, out = tmp_path / "card.txt", tmp_path / "out"
    template.write_bytes(room.post("api/text-file", wish)[1])
    kept = room.post("api/layout/save", {**wish, "layout_name": "cards"})[1]["name"]
    command = ["write", str(folder / "keeper"), "--table", str(folder / "keeper" / "tables" / "guests.csv")]
    command += ["--template", str(template), "--layout", str(folder / "keeper" / "layouts" / f"{kept}.toml")]
    assert main([*command, "-o", str(out), *more]) == 0
    return out


def test_several_cards_stand_on_one_sheet_with_marks_and_the_sheet_can_be_looked_at(room, folder, tmp_path):
    wish = place_cards(room)
    shown = room.post("api/page", wish)[1]
    sheet = room.post("api/imposed", wish)[1]["svg"]
    run = room.post("api/cards", wish)[1]["run"]
    ended(room)
    archive = zipfile.ZipFile(io.BytesIO(room.get(f"api/cards.zip?run={run}")[1]))
    out = by_command(room, folder, tmp_path, wish)

    assert shown["size_mm"] == [90, 60]
    assert shown["sheets"] == {"each": 8, "count": 1, "size_mm": [210, 297]}
    assert "sheet-001.svg" in archive.namelist()
    assert all(archive.read(name) == (out / name).read_bytes() for name in archive.namelist())
    assert sheet.encode() == archive.read("sheet-001.svg")
    assert room.post("api/imposed", {**wish, "layout": {"paper": "A6"}, "texts": {"body": "a"}})[0] == 422


def test_one_program_for_all_cards_is_that_of_the_command(room, folder, tmp_path):
    wish = {**place_cards(room), "layout": {"paper": "148x105", "margins_mm": [10, 10, 10, 10], "fit": True}}
    wish |= {"texts": {"body": "Dear {name}"}, "one_file": True}
    run = room.post("api/cards", wish)[1]["run"]
    ended(room)
    program = room.get(f"api/cards.zip?run={run}")[1]
    out = by_command(room, folder, tmp_path, wish, "--one-file")

    assert zipfile.ZipFile(io.BytesIO(program)).read("all.gcode") == (out / "all.gcode").read_bytes()


def test_all_cards_are_shown_in_small_before_any_is_written(room, folder, tmp_path):
    wish = place_cards(room)
    assert room.get("api/overview?run=guests")[0] == 422
    run = room.post("api/cards/overview", wish)[1]["run"]
    done = ended(room)["result"]
    picture = room.get(f"api/overview?run={run}&page=1")
    by_command(room, folder, tmp_path, wish, "--overview", str(tmp_path / "all.png"))

    assert (done["pictures"], done["cards"]) == (1, 9)
    assert room.get("api/runs")[1]["runs"][0]["stale"] == 0
    assert picture[1] == (tmp_path / "all.png").read_bytes()
    assert not list((folder / "keeper" / "runs" / run).glob("*.svg"))
    assert room.get(f"api/overview?run={run}&page=9")[0] == 422
    assert room.get("api/overview?run=..%2F..%2Fx&page=1")[0] == 422


def test_a_table_is_read_in_the_code_page_that_is_told_and_no_card_is_written_while_a_letter_is_missing(room, folder):
    data = "name\nЖанна\n".encode("cp1251")
    guessed = drop(room, "guests.csv", data, to="table/drop")[1]
    told = room.get("api/table?name=guests.csv&encoding=cp1252")[1]
    wish = {"texts": {"body": "{name}"}, "layout": {"paper": "A6"}, "table": "guests.csv", "encoding": "cp1252"}
    room.post("api/cards", {**wish, "strict": True})
    done = ended(room)["result"]

    assert guessed["read_as"].startswith("read as cp1251: Жанна")
    assert told["read_as"] == "read as cp1252: Æàííà"
    assert [lack["char"] for lack in done["missing"]] == ["Æ"]
    assert (done["written"], done["refused"]) == (0, True)
    assert room.get("api/table?name=guests.csv&encoding=base64")[0] == 422


@pytest.mark.parametrize("kind", [Settings, TextBox, Curve, Drawing, Imposition, Ruling, Pen, Life, Machine])
def test_every_field_of_a_layout_and_a_profile_has_a_control_on_the_page(kind):
    """The page's scripts name it; a field that is added later wants its control, too."""
    packages = ("ownhand.review", "ownhand.workroom")
    files = [f for p in packages for f in (resources.files(p) / "static").iterdir() if f.is_dir()]
    scripts = " ".join(f.read_text("utf-8") for d in files if d.name in ("page", "overview") for f in d.iterdir())
    words = set(re.findall(r"\w+", scripts))

    assert [f.name for f in dataclasses.fields(kind) if f.name not in words] == []


def test_a_paragraph_in_another_hand_is_set_on_the_page_and_one_that_is_not_there_is_said(room):
    wish = {"texts": {"body": "a lamp\n~in guest a seal"}, "layout": {"paper": "A6"}, "seed": 3}
    both = room.post("api/page", wish)[1]
    alone = room.post("api/page", {**wish, "texts": {"body": "a lamp\na seal"}})[1]
    status, refused, _ = room.post("api/page", {**wish, "texts": {"body": "~in uncle a seal"}})

    assert both["pages"] != alone["pages"]
    assert status == 422 and "no hand here is called 'uncle'" in refused["error"]["what"]
