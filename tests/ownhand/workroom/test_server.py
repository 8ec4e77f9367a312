"""The workroom's server: what each address answers, what it keeps, and what it refuses."""

from __future__ import annotations

import io
import socket
import threading
import time
import zipfile
from pathlib import Path
from urllib.parse import quote, urlsplit

import numpy as np
import pytest
import ufoLib2
import xlsxwriter
from PIL import Image

from ownhand.cli.main import main
from ownhand.composer.merge.table import read_table
from ownhand.hands.hand import load_sheets, open_hand
from ownhand.workroom import phone, tables
from ownhand.workroom.server import run, start
from tests.ownhand.stand_in import write_hand
from tests.ownhand.test_review_server import Client

TEXT = "a tune in a tin\nnine hats"
LAYOUT = {
    "paper": "148x105",
    "margins_mm": [9, 9, 9, 9],
    "boxes": [
        {"name": "message", "x_mm": 9, "y_mm": 9, "width_mm": 70, "height_mm": 80, "fit": True},
        {"name": "address", "x_mm": 90, "y_mm": 50, "width_mm": 45, "height_mm": 40, "fit": True, "pen": 2},
    ],
    "pens": [{"colour": "#1f2a56"}, {"colour": "#8a1f1f", "width_mm": 0.7}],
    "life": {"slant": 0.5},
}
WISH = {"name": "card", "texts": {"message": TEXT, "address": "tina\nhans"}, "layout": LAYOUT, "seed": 7}


@pytest.fixture
def room(hand):
    running = start(hand.path)
    yield Client(running.url)
    running.stop()


def drop(room, name, data, *, to="drop", **headers):
    headers = {"content_type": "application/octet-stream", **headers}
    return room.send("POST", f"api/{to}?name={quote(name)}", data, **headers)


def ended(room):
    """Wait for the work that is going on; return it."""
    while (job := room.get("api/work")[1]["job"])["running"]:
        time.sleep(0.1)
    return job


def png(size=(40, 30)) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.full(size, 255, np.uint8)).save(out, "PNG")
    return out.getvalue()


# --- hands -----------------------------------------------------------------------------------------------------------


def test_a_new_hand_is_begun_with_its_owners_consent_and_stands_in_the_list(tmp_path):
    running = start(tmp_path)
    folder = Client(running.url)
    try:
        refused = folder.post("api/hands/new", {"family": "Signal House"})
        status, made, _ = folder.post(
            "api/hands/new", {"family": "Signal House", "writer": "A. Keeper", "consent": "my own hand"}
        )
        twice = folder.post("api/hands/new", {"family": "signal house", "consent": "yes"})
        tricks = folder.post("api/hands/new", {"family": "../up", "consent": "yes"})
    finally:
        running.stop()

    assert refused[0] == 422 and refused[1]["error"]["where"] == "consent"
    assert (status, made["id"]) == (200, "signal-house")
    assert open_hand(tmp_path / "signal-house").record.consent == "my own hand"
    assert [h["family"] for h in made["hands"]] == ["Signal House"]
    assert twice[0] == tricks[0] == 422
    assert [p.name for p in tmp_path.iterdir()] == ["signal-house"]


class ToldError(Exception):
    """Stops a server as soon as it has told its address."""


def test_when_the_address_is_told_it_can_be_opened(hand):
    """A person, or a program, may open it at once."""
    told = []

    def connect(text):
        if text.startswith("Open "):
            at = urlsplit(text.split()[1])
            with socket.create_connection((at.hostname, at.port), timeout=10):
                told.append(text)
            raise ToldError

    with pytest.raises(ToldError):
        run(hand.path, open_browser=False, announce=connect)
    assert told


def test_whose_hand_it_is_can_be_changed_and_the_font_is_then_said_to_be_older(room, hand):
    status, state, _ = room.post("api/record", {"use": "the museum's cards and its signs"})

    assert status == 200
    assert open_hand(hand.path).record.use == "the museum's cards and its signs"
    assert [s["kind"] for s in state["stale"]] == ["record"]


# --- sheet -----------------------------------------------------------------------------------------------------------


def test_a_sheet_is_shown_as_it_will_be_printed_and_printed_into_the_hand(room, hand):
    wish = {"text": "Zephyr", "copy": "a line to copy", "x_height_mm": 4.0}
    _, plan, _ = room.post("api/plan", {**wish, "show": 2})
    status, made, _ = room.post("api/print", wish)
    sheet = load_sheets(hand)[made["sheet"]]

    assert plan["svg"].startswith("<?xml")
    assert (plan["pages"], plan["cells"]) == (len(sheet.pages), sum(len(p.cells) for p in sheet.pages))
    assert (plan["shown"], plan["minutes"]) == (2, max(1, round((plan["cells"] * 4 + 11) / 60)))
    assert status == 200
    assert {c.char for p in sheet.pages for c in p.cells} == set("Zephyr")
    assert room.post("api/plan", {})[0] == 422
    assert room.post("api/plan", {"text": 3})[0] == 400


def test_only_what_the_hand_lacks_is_asked_for(room):
    _, plan, _ = room.post("api/plan", {"text": "a tin whistle", "missing": True})

    assert plan["characters"] == len(set("wl"))


# --- page ------------------------------------------------------------------------------------------------------------


def test_files_are_byte_for_byte_those_of_the_command(room, hand, tmp_path):
    machine = {"name": "table", "bed_mm": [310, 220], "origin": "top left", "pen": "servo"}
    wish = {**WISH, "machine": machine}
    saved = room.post("api/layout/save", {**wish, "layout_name": "two boxes"})[1]
    room.post("api/plotter", {"machine": machine})
    text = tmp_path / "text.txt"
    text.write_bytes(room.post("api/text-file", wish)[1])
    answer = room.post("api/files", {**wish, "formats": ["svg", "hpgl", "gcode", "png", "html"]})
    archive = zipfile.ZipFile(io.BytesIO(answer[1]))
    layout = hand.path / "layouts" / f"{saved['name']}.toml"
    options = ["--layout", str(layout), "--machine", str(hand.path / "plotter.toml"), "--seed", "7", "--replay"]

    assert sorted(archive.namelist()) == ["card.gcode", "card.hpgl", "card.html", "card.png", "card.svg"]
    for kind in ("svg", "hpgl", "gcode"):
        out = tmp_path / f"card.{kind}"
        assert main(["write", str(hand.path), "-f", str(text), "-o", str(out), *options, "--force"]) == 0
        assert archive.read(out.name) == out.read_bytes(), kind
    for kind in ("png", "html"):
        assert archive.read(f"card.{kind}") == (tmp_path / f"card.{kind}").read_bytes(), kind


def test_the_same_request_gives_the_same_page_and_another_draw_another(room):
    one, two = room.post("api/page", WISH)[1], room.post("api/page", WISH)[1]
    other = room.post("api/page", {**WISH, "seed": 8})[1]

    assert one["pages"] == two["pages"] != other["pages"]
    assert one["lifts"] > 0 and one["seconds"] > 0 and one["pens"] == 2


def test_what_is_missing_and_what_cannot_be_is_said(room):
    lacks = room.post("api/page", {**WISH, "texts": {"message": "a zoo"}})[1]
    status, refused, _ = room.post("api/page", {**WISH, "layout": {**LAYOUT, "margins_mm": [60, 9, 60, 9]}})
    off = room.post("api/page", {**WISH, "machine": {"bed_mm": [50, 50]}})[1]

    assert lacks["missing"] == {"z": 1, "o": 2}
    assert status == 422 and "leave no room" in refused["error"]["what"]
    assert "the bed" in off["off_bed"]
    assert room.post("api/files", {**WISH, "machine": {"bed_mm": [50, 50]}, "formats": ["gcode"]})[0] == 422
    assert room.post("api/page", {**WISH, "texts": {}})[0] == 422
    assert room.post("api/files", {**WISH, "formats": ["exe"]})[0] in (400, 422)


def test_the_page_is_there_as_it_was_left(room, hand):
    room.post("api/page", WISH)
    _, desk, _ = room.get("api/desk")

    assert desk["draft"]["texts"] == WISH["texts"]
    assert desk["draft"]["layout"] == LAYOUT
    assert not (hand.path / "decisions.json").exists()


def test_the_replay_takes_as_long_as_the_page_is_said_to_take(room):
    page = room.post("api/page", WISH)[1]
    replay = room.post("api/replay", {**WISH, "page": 1})[1]

    assert replay["whole"] == pytest.approx(page["seconds"], abs=0.1)
    assert replay["begins"] == sorted(replay["begins"])
    assert all(a < b for a, b in zip(replay["begins"], replay["ends"], strict=True))


# --- tables ----------------------------------------------------------------------------------------------------------

GUESTS = "name,town\ntina,asta\nhans,eina\nnina,\n"
CARDS = {
    **WISH,
    "texts": {"message": "{name} in {town}"},
    "table": "guests.csv",
    "name_field": "name",
    "formats": ["svg", "hpgl"],
}


def test_a_card_for_each_row_is_looked_through_written_and_brought_up_to_date(room, hand, tmp_path):
    told = drop(room, "guests.csv", GUESTS.encode(), to="table/drop")[1]
    second = room.post("api/page", {**CARDS, "row": 1})[1]
    started = room.post("api/cards", CARDS)[1]
    done = ended(room)
    archive = zipfile.ZipFile(io.BytesIO(room.get(f"api/cards.zip?run={started['run']}")[1]))
    template, out = tmp_path / "card.txt", tmp_path / "out"
    template.write_bytes(room.post("api/text-file", CARDS)[1])
    layout = hand.path / "layouts" / f"{room.post('api/layout/save', {**WISH, 'layout_name': 'l'})[1]['name']}.toml"
    command = ["write", str(hand.path), "--table", str(hand.path / "tables" / "guests.csv"), "--seed", "7"]
    command += ["--template", str(template), "--name", "name", "--layout", str(layout), "-o", str(out)]

    assert (told["rows"], told["columns"]) == (3, ["name", "town"])
    assert (second["card"], second["rows"]) == ("hans", 3)
    assert done["result"]["written"] == 3
    assert main([*command, "--format", "svg", "--format", "hpgl"]) == 0
    assert sorted(archive.namelist()) == sorted(p.name for p in out.iterdir() if p.suffix in (".svg", ".hpgl"))
    assert all(archive.read(name) == (out / name).read_bytes() for name in archive.namelist())
    assert second["pages"][0].encode() == archive.read("hans.svg")

    renamed = GUESTS.replace("hans,eina", "hans,tatta")
    drop(room, "guests.csv", renamed.encode(), to="table/drop")
    assert room.get("api/runs")[1]["runs"][0]["stale"] == 1
    room.post("api/cards/renew", {"run": started["run"]})
    assert ended(room)["result"]["written"] == 1
    assert room.get("api/runs")[1]["runs"][0]["stale"] == 0


def test_a_table_is_read_in_the_encoding_that_the_command_reads_it_in_and_the_page_says_so(room, hand):
    names = ["Łucja Ślusarz", "Żaneta Wójcik", "Michał Gąska"]
    table = "name;town\n" + "".join(f"{name};Gdańsk\n" for name in names)
    ufo = ufoLib2.Font.open(hand.ufo)
    for number, char in enumerate(sorted(set("".join(names)) - {" "})):  # a hand that writes Polish
        ufo.newGlyph(f"more{number}").unicodes = [ord(char)]
    ufo.save(hand.ufo, overwrite=True)

    told = drop(room, "guests.csv", table.encode("cp1250"), to="table/drop")[1]
    room.post("api/cards", {**CARDS, "texts": {"message": "tint"}})
    ended(room)

    assert told["read_as"] == f"read as cp1250: {', '.join(names)}"
    files = sorted(p.stem for p in (hand.path / "runs" / "guests").glob("*.svg"))
    assert files == sorted(name.replace(" ", "-") for name in names)


def test_a_card_for_each_row_of_a_workbooks_sheet(room, hand, tmp_path):
    with xlsxwriter.Workbook(tmp_path / "guests.xlsx") as book:
        for name, guests in (("Summer", ["tina", "hans"]), ("Winter", ["nina"])):
            sheet = book.add_worksheet(name)
            for row, text in enumerate(["name", *guests]):
                sheet.write_string(row, 0, text)
    data = (tmp_path / "guests.xlsx").read_bytes()

    told = drop(room, "guests.xlsx", data, to="table/drop")[1]
    winter = room.get("api/table?name=guests.xlsx&sheet=Winter")[1]
    wish = {**CARDS, "texts": {"message": "{name}"}, "table": "guests.xlsx", "sheet": "Winter"}
    room.post("api/cards", wish)
    done = ended(room)

    assert (told["read_as"], told["rows"]) == ("read sheet 'Summer': tina, hans; other sheets are Winter", 2)
    assert (winter["sheet"], winter["other_sheets"], winter["rows"]) == ("Winter", ["Summer"], 1)
    assert done["result"]["written"] == 1
    assert [p.name for p in (hand.path / "runs" / "guests").glob("*.svg")] == ["nina.svg"]
    assert room.get("api/kept/file?file=tables/guests.xlsx")[1] == data


def test_a_table_is_read_once_for_all_pages_and_anew_when_it_was_changed(room, hand, monkeypatch):
    drop(room, "guests.csv", GUESTS.encode(), to="table/drop")
    reads: list[Path] = []
    monkeypatch.setattr(tables, "read_table", lambda file, **how: reads.append(file) or read_table(file, **how))
    first = [room.post("api/page", {**CARDS, "row": row})[1]["card"] for row in (0, 1, 2)]
    read_so_far = len(reads)

    (hand.path / "tables" / "guests.csv").write_text(GUESTS.replace("tina", "nanna"))
    again = room.post("api/page", {**CARDS, "row": 0})[1]["card"]

    assert first == ["tina", "hans", "nina"]
    assert read_so_far <= 1
    assert again == "nanna" and len(reads) == read_so_far + 1


def test_a_table_that_cannot_be_read_leaves_the_earlier_one(room, hand):
    drop(room, "guests.csv", GUESTS.encode(), to="table/drop")

    status, said, _ = drop(room, "guests.csv", b"name\n", to="table/drop")

    assert status == 422
    assert said["error"]["where"] == "guests.csv"
    assert said["error"]["what"] == "holds no row but that of the column names"
    assert (hand.path / "tables" / "guests.csv").read_bytes() == GUESTS.encode()
    assert len(list((hand.path / "tables").iterdir())) == 1


def test_a_table_that_is_none_or_not_there_is_refused(room):
    assert drop(room, "guests.csv", b"PK\x03\x04workbook", to="table/drop")[0] == 422
    assert room.post("api/page", {**CARDS, "table": "../hand.json"})[0] == 422
    assert room.post("api/cards", {**CARDS, "table": "nothing.csv"})[0] == 422
    assert room.get("api/cards.zip?run=..%2F..%2Fx")[0] == 422


# --- files -----------------------------------------------------------------------------------------------------------


def test_the_hands_own_files_are_given_and_no_others(room, hand):
    for name in ("proof.png", "proof-2.png", "proof-10.png"):
        (hand.font_folder / name).write_bytes(png())
    _, kept, _ = room.get("api/kept")
    offered = [f["file"] for g in kept["groups"] for f in g["files"]]
    ufo = zipfile.ZipFile(io.BytesIO(room.get(f"api/kept/file?file={quote('font/Lamp Room.ufo')}")[1]))

    assert "font/Lamp Room.ttf" in offered
    assert [f for f in offered if "proof" in f] == ["font/proof.png", "font/proof-2.png", "font/proof-10.png"]
    assert ufo.read("Lamp Room.ufo/metainfo.plist") == (hand.ufo / "metainfo.plist").read_bytes()
    for place in ("hand.json", "../lamp/hand.json", "/etc/passwd", "font", "", "page.json"):
        assert room.get(f"api/kept/file?file={quote(place)}")[0] == 422, place
    _, _, headers = room.get(f"api/kept/file?file={quote('font/Lamp Room.svg')}")
    assert headers["content-disposition"].startswith("attachment")
    assert "default-src 'none'" in headers["content-security-policy"]


# --- what comes in ---------------------------------------------------------------------------------------------------


def test_scans_are_taken_by_what_they_are_and_under_a_safe_name(room, hand):
    assert drop(room, "../../evil é.exe", png())[1] == {"kept": "evil-é.png"}
    assert drop(room, "evil é.png", png())[1] == {"kept": "evil-é.png"}, "the same once more"
    assert drop(room, "evil é.png", png((50, 30)))[1] == {"kept": "evil-é-2.png"}
    assert drop(room, "letter.txt", b"Dear museum,")[0] == 422
    assert drop(room, "empty.png", b"")[0] == 422
    assert room.get("api/work")[1]["waiting"] == ["evil-é-2.png", "evil-é.png"]
    assert not list(hand.path.rglob("*.part"))


def test_a_file_that_is_too_large_is_refused_whether_it_says_so_or_not(room, hand, monkeypatch):
    from ownhand.workroom import app

    monkeypatch.setitem(app._TAKES_FILES, "api/drop", 5000)
    big = png() + b"x" * 9000
    chunk = b"%x\r\n%s\r\n0\r\n\r\n" % (len(big), big)

    assert drop(room, "big.png", big)[0] == 413
    assert drop(room, "big.png", chunk, transfer_encoding="chunked", content_length=None)[0] == 413
    assert room.get("api/work")[1]["waiting"] == []
    assert not list(hand.path.rglob("*.part"))


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://evil.example"}, 403),
        ({"origin": None}, 403),
        ({"host": "evil.example"}, 403),
        ({"content_type": "application/json"}, 415),
        ({"content_type": "multipart/form-data; boundary=x"}, 415),
        ({"sec_fetch_site": "cross-site", "sec_fetch_mode": "cors"}, 403),
    ],
)
def test_a_file_from_elsewhere_is_refused(room, headers, status):
    assert drop(room, "scan.png", png(), **headers)[0] == status
    assert room.get("api/work")[1]["waiting"] == []


def test_json_is_not_taken_where_files_are_and_files_not_where_json_is(room, hand):
    assert room.post("api/drop?name=a", {"a": 1})[0] == 415
    assert drop(room, "scan.png", png(), to="page")[0] == 415
    key = urlsplit(f"http://x{room.path}").path.strip("/").split("/")[0]
    path = f"/{key}/hand/nobody/api/drop?name=a.png"
    assert room.send("POST", "", png(), whole_path=path, content_type="application/octet-stream")[0] == 404


def test_a_scan_that_is_no_sheet_is_told_and_not_kept_waiting(room, hand):
    drop(room, "cat.png", png((300, 200)))
    assert room.post("api/read", {})[0] == 200
    job = ended(room)

    assert job["pages"][0]["scan"] == "cat.png"
    assert job["error"]["what"]
    while room.get("api/work")[1]["waiting"]:
        time.sleep(0.05)
    assert room.post("api/read", {})[0] == 422


def test_one_piece_of_work_at_a_time_and_it_can_be_stopped(room):
    assert room.post("api/build", {})[0] == 200
    again = room.post("api/build", {})
    room.post("api/stop", {})

    assert again[0] == 422 and "busy" in again[1]["error"]["what"]
    assert ended(room)["error"]["what"] == "was stopped"


def test_a_wrong_address_shows_a_page_to_a_person_and_data_to_a_program(room):
    shown = room.get("nothing", accept="text/html", sec_fetch_mode="navigate")
    told = room.get("nothing")
    outside = room.send("GET", "", whole_path="/", sec_fetch_mode="navigate")

    assert shown[0] == told[0] == 404
    assert b"There is nothing to see" in shown[1]
    assert told[1]["error"]["where"] == "/hand/lamp/nothing"
    assert outside[0] == 403 and b"<h1>" in outside[1]


def test_a_hand_that_was_moved_while_its_page_is_open_is_said_to_be_gone(room, hand):
    assert room.get("api/state")[0] == 200
    hand.path.rename(hand.path.with_name("moved"))

    looked, done = room.get("api/state"), room.post("api/record", {"writer": "O. Fennimore"})

    assert looked[0] == done[0] == 404
    assert looked[1]["error"]["where"] == "hand 'lamp'"
    assert looked[1]["error"]["what"] == "is not in this folder"
    assert not hand.path.exists()


def test_what_a_command_names_by_its_option_is_named_without_dashes(room):
    status, told, *_ = room.post("api/record", {"family": "a/b"})

    assert status == 422
    assert told["error"]["where"] == "family"


def test_hands_of_another_folder_are_not_reached(room, tmp_path):
    write_hand(tmp_path / "elsewhere" / "secret", "a", attempts=1, faults=False)
    base = room.path.rstrip("/").rsplit("/", 1)[0]

    assert room.send("GET", "", whole_path=f"{base}/secret/api/state")[0] == 404
    assert room.send("GET", "", whole_path=f"{base}/../elsewhere/secret/api/state")[0] == 404


# --- the phone -------------------------------------------------------------------------------------------------------


@pytest.fixture
def door(hand):
    opened = phone.open_door(hand, host="127.0.0.1")
    yield opened
    opened.close()


def phone_client(door):
    return Client(door.address)


def test_a_phone_gets_in_once_and_may_only_send_pictures(door, hand):
    client = phone_client(door)
    status, page, headers = client.get("")
    cookie = headers["set-cookie"].split(";")[0]
    other = client.get("")
    sent = client.send("POST", "photo?name=sheet.jpg", png(), cookie=cookie, content_type="application/octet-stream")

    assert status == 200 and b"Photographs of a sheet" in page
    assert "HttpOnly" in headers["set-cookie"] and "SameSite=strict" in headers["set-cookie"]
    assert other[0] == 403 and b"used already" in other[1]
    assert sent[1] == {"kept": "sheet.png"}
    assert door.view()["sent"] == ["sheet.png"]
    assert [p.name for p in (hand.path / "waiting").iterdir()] == ["sheet.png"]
    for method, path in (("GET", "photo"), ("GET", "api/state"), ("POST", "api/page"), ("GET", "../hand.json")):
        assert client.send(method, path, b"" if method == "POST" else None, cookie=cookie)[0] == 403, path
    assert (
        client.send("POST", "photo?name=a.txt", b"text", cookie=cookie, content_type="application/octet-stream")[0]
        == 422
    )


@pytest.mark.parametrize(
    "change", [{"cookie": None}, {"cookie": "sheet=x"}, {"host": "evil.example"}, {"origin": "http://evil.example"}]
)
def test_what_is_not_that_phone_is_refused(door, hand, change):
    client = phone_client(door)
    cookie = client.get("")[2]["set-cookie"].split(";")[0]
    given = {"cookie": cookie, "content_type": "application/octet-stream", **change}

    assert client.send("POST", "photo?name=a.png", png(), **given)[0] == 403
    assert not (hand.path / "waiting").exists()


def test_the_port_closes_in_time_and_when_codes_are_guessed(hand):
    short = phone.open_door(hand, host="127.0.0.1", open_s=0.3)
    while short.open:
        time.sleep(0.05)
    guessed = phone.open_door(hand, host="127.0.0.1")
    client = phone_client(guessed)
    answers = [client.send("GET", "", whole_path=f"/guess{n}/")[0] for n in range(phone.MOST_WRONG)]

    assert not short.view()["open"]
    assert set(answers) == {403}
    assert not guessed.open


def test_nothing_is_open_to_the_network_unless_asked_for(room):
    assert room.get("api/phone")[1] == {"open": False, "sent": []}


@pytest.mark.parametrize("file", ["layouts/lamp.toml", "plotter.toml"])
def test_a_layout_or_plotter_that_is_no_text_is_told_in_one_line(room, hand, file):
    place = hand.path / file
    place.parent.mkdir(exist_ok=True)
    place.write_bytes("name = 'Müll'".encode("utf-16"))
    status, said, _ = (
        room.get("api/desk") if file == "plotter.toml" else room.post("api/layout/load", {"layout_name": "lamp"})
    )

    assert status == 422
    assert said["error"]["where"] == place.name and "UTF-8" in said["error"]["what"]


def test_files_of_every_ending_that_is_offered_can_be_taken(room, hand):
    (hand.path / "layouts").mkdir(exist_ok=True)
    (hand.path / "scans").mkdir(exist_ok=True)
    given = {"layouts/Lamp.SVG": b"<svg/>", "scans/page-1a.heif": b"x", "scans/PAGE-2B.JPG": b"y"}
    for name, data in given.items():
        (hand.path / name).write_bytes(data)
    offered = [file["file"] for group in room.get("api/kept")[1]["groups"] for file in group["files"]]

    assert set(given) <= set(offered)
    for name, data in given.items():
        assert room.get(f"api/kept/file?file={quote(name)}")[:2] == (200, data)


def test_a_page_of_the_overview_with_a_number_of_5000_digits_is_none(room):
    assert room.get(f"api/overview?run=cards&page={'9' * 5000}")[0] == 422


def test_what_waits_is_read_once_however_quickly_it_is_asked_for_again(room, hand, monkeypatch):
    """The job says that it has ended before its scans are put away."""
    drop(room, "blank.png", png())
    slow = threading.Event()
    unlink = Path.unlink

    def late(self, missing_ok=False):
        if self.parent.name == "waiting":
            slow.wait(0.7)
        unlink(self, missing_ok=missing_ok)

    monkeypatch.setattr(Path, "unlink", late)
    room.post("api/read", {})
    ended(room)
    status, said, _ = room.post("api/read", {})
    slow.set()

    assert (status, said["error"]["what"]) == (422, "no scan waits")
