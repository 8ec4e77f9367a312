"""What strangers get: another user of the computer, another page in the browser, a host that changes its address, a
phone, and whoever made a file that is dropped. They get nothing.

Attacks as the OWASP Testing Guide names them (from memory): DNS rebinding, cross-site requests, path traversal in
names, archives whose names lead out of their folder, XML entities.
"""

from __future__ import annotations

import errno
import http.client
import io
import os
import socket
import stat
import time
import zipfile
from urllib.parse import quote, urlsplit

import numpy as np
import pytest
from PIL import Image

from capture.errors import UsageError
from ownhand.workroom import phone
from ownhand.workroom.server import start
from ownhand.workroom.zips import zipped
from tests.ownhand.test_review_server import Client

GETS = ["state", "work", "pages-read", "phone", "desk", "drawing", "table", "runs", "cards.zip", "overview", "kept"]
GETS += ["kept/file", "names", "letters", "letter", "strip", "ink"]
POSTS = [
    "record",
    "plan",
    "print",
    "read",
    "put-away",
    "stop",
    "build",
    "phone/open",
    "phone/close",
    "page",
    "sheet",
    "imposed",
]
POSTS += ["replay", "files", "text-file", "layout/save", "layout/load", "plotter", "cards", "cards/renew"]
POSTS += ["cards/overview", "proof", "step", "undo", "redo"]
DROPS = ["drop", "table/drop", "drawing/drop"]


@pytest.fixture
def room(hand):
    running = start(hand.path)
    yield Client(running.url)
    running.stop()


def png(size=(40, 30)) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.full(size, 255, np.uint8)).save(out, "PNG")
    return out.getvalue()


def state_of(folder) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.suffix != ".lock"}


def drop(room, name, data, to="drop", **headers):
    given = {"content_type": "application/octet-stream", **headers}
    return room.send("POST", f"api/{to}?name={quote(name)}", data, **given)


@pytest.mark.parametrize(
    "as_seen",
    [{"host": "evil.example"}, {"host": "evil.example:{port}"}, {"host": "127.0.0.1"}, {"host": "127.0.0.1.:{port}"}],
)
def test_a_host_that_changes_its_address_gets_nothing_from_any_address(room, hand, as_seen):
    """DNS rebinding: the browser sends the name that it believes in."""
    port = room.host.partition(":")[2]
    headers = {k: v.format(port=port) for k, v in as_seen.items()}
    before = state_of(hand.path)
    got = [room.get(f"api/{name}", **headers) for name in GETS]
    got += [room.post(f"api/{name}", {}, **headers) for name in POSTS]
    got += [drop(room, "a.png", png(), to, **headers) for to in DROPS]

    assert {status for status, _, _ in got} == {403}
    assert b"lamp" not in b"".join(str(body).encode().lower() for _, body, _ in got)
    assert state_of(hand.path) == before


def test_another_page_in_the_browser_changes_nothing(room, hand):
    before = state_of(hand.path)
    for origin in ("http://evil.example", "null", f"http://{room.host}.evil.example", "https://" + room.host, None):
        got = [room.post(f"api/{name}", {}, origin=origin) for name in POSTS]
        got += [drop(room, "a.png", png(), to, origin=origin) for to in DROPS]
        assert {status for status, _, _ in got} == {403}, origin
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"):
        got = [room.send("POST", f"api/{name}", b"{}", content_type=kind) for name in POSTS]
        got += [drop(room, "a.png", png(), to, content_type=kind) for to in DROPS]
        assert {status for status, _, _ in got} == {415}, kind

    assert state_of(hand.path) == before


def test_another_user_of_the_computer_who_finds_the_port_gets_nothing_without_the_key(room, hand):
    """The port is seen by everybody on the machine; the key is told to one terminal only."""
    key = room.path.strip("/").split("/")[0]
    wrong = ["/", "/hand/lamp/", "/hand/lamp/api/state", f"/{key[:-1]}/hand/lamp/api/state", f"/{key.swapcase()}/"]
    wrong += ["/open/", "/open/" + "A" * 24, "/static/core/page.css", f"//{key}/"]
    got = [room.send("GET", "", whole_path=path) for path in wrong]

    assert len(key) >= 24
    assert {status for status, _, _ in got} == {403}
    assert key.encode() not in b"".join(str(body).encode() for _, body, _ in got)


@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
def test_what_is_dropped_is_no_more_open_to_others_than_their_owner_wants(room, hand):
    """With the umask of POSIX: whoever works with 077 lets nobody else read."""
    before = os.umask(0o077)
    try:
        drop(room, "scan.png", png())
        drop(room, "guests.csv", b"name\nOrla\n", "table/drop")
    finally:
        os.umask(before)
    kept = [hand.path / "waiting" / "scan.png", hand.path / "tables" / "guests.csv"]

    assert [stat.S_IMODE(p.stat().st_mode) for p in kept] == [0o600, 0o600]


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M%d 0H99"/></svg>'
NAMES = ["../../up", "/etc/passwd", "..\\down", "a\0b", "con", ".hidden", "ä/ö", "x" * 900, ""]
PLACES = {
    "drop": ("waiting", lambda k: png((40, 30 + k))),
    "table/drop": ("tables", lambda k: b"name\nOrla %d\n" % k),
    "drawing/drop": ("layouts", lambda k: SVG % k),
}


@pytest.mark.parametrize("to", PLACES)
def test_whatever_a_file_is_called_it_lands_in_its_own_folder_under_a_plain_name(room, hand, to):
    place, data = PLACES[to]
    folder = str(hand.path / place) + os.sep
    for k, name in enumerate(NAMES):
        before = state_of(hand.path.parent)
        status, _, _ = drop(room, name, data(k), to)
        new = [p for p in state_of(hand.path.parent) if p not in before]

        assert status == 200, name
        for kept in new:
            plain = kept.removeprefix(folder)
            assert kept.startswith(folder), name
            assert not plain.startswith(".") and not set(plain) & set('/\\\0:*?"<>|') and len(plain.encode()) <= 255
    assert len(list((hand.path / place).iterdir())) >= 5


@pytest.mark.parametrize(
    "svg",
    [
        '<!DOCTYPE s [<!ENTITY a SYSTEM "file:///etc/passwd">]><svg xmlns="http://www.w3.org/2000/svg"><g>&a;</g></svg>',
        '<!DOCTYPE s [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><svg xmlns="http://www.w3.org/2000/svg">&b;</svg>',
        '<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
        '<svg xmlns="http://www.w3.org/2000/svg"><image href="file:///etc/passwd"/></svg>',
    ],
)
def test_a_drawing_with_a_trap_in_it_is_refused_and_not_kept(room, hand, svg):
    assert drop(room, "trap.svg", svg.encode(), "drawing/drop")[0] == 422
    assert not list((hand.path / "layouts").glob("*"))


@pytest.mark.parametrize("file", ["../hand.json", "/etc/passwd", "../../lamp/hand.json", "..", "a\0.svg"])
def test_a_layout_reaches_no_file_but_the_drawings_beside_it(room, file):
    wish = {"texts": {"body": "a"}, "layout": {"paper": "A6", "drawings": [{"file": file}]}}

    assert room.post("api/page", wish)[0] == 422
    assert room.get(f"api/drawing?name={quote(file)}")[0] == 422


def test_a_layout_reaches_no_hand_but_those_beside_it(room):
    box = {"name": "b", "x_mm": 20, "y_mm": 20, "width_mm": 50, "height_mm": 40}
    for hand in ("../elsewhere", "/tmp", "..", "lamp/../lamp"):
        wish = {"texts": {"b": "a"}, "layout": {"paper": "A6", "boxes": [{**box, "hand": hand}]}}
        assert room.post("api/page", wish)[0] == 422, hand


@pytest.mark.parametrize("name", ["../runs/cards/rows.csv", "{folder}/elsewhere.csv", "../../elsewhere.csv"])
def test_a_table_is_read_from_the_hands_own_folder_and_nowhere_else(room, hand, name):
    for place in (hand.path / "runs" / "cards" / "rows.csv", hand.path.parent / "elsewhere.csv"):
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text("name\nOrla\n")
    (hand.path / "tables").mkdir(exist_ok=True)
    name = name.format(folder=hand.path.parent)
    status, said, _ = room.get(f"api/table?name={quote(name)}")
    wish = {"texts": {"body": "tina"}, "layout": {"paper": "A6"}, "table": name, "name_field": "name"}

    assert (status, said["error"]["what"]) == (422, "is not one of the hand's tables")
    assert room.post("api/cards", wish)[0] == 422


def test_names_in_a_zip_never_lead_out_of_the_folder_it_is_unpacked_in(room, hand):
    table = 'file\n../../evil\n"/etc/cron.d/x"\nC:\\boot\n..\n"a/b"\n'
    drop(room, "guests.csv", table.encode(), "table/drop")
    wish = {"texts": {"body": "tina"}, "layout": {"paper": "A6"}, "table": "guests.csv", "name_field": "file"}
    run = room.post("api/cards", wish)[1]["run"]
    while room.get("api/work")[1]["job"]["running"]:
        time.sleep(0.1)
    names = zipfile.ZipFile(io.BytesIO(room.get(f"api/cards.zip?run={run}")[1])).namelist()
    single = room.post("api/files", {**wish, "table": "", "name": "../../evil", "formats": ["svg", "hpgl"]})[1]
    names += zipfile.ZipFile(io.BytesIO(single)).namelist()

    assert len(names) >= 5
    assert not [n for n in names if set(n) & set("/\\:") or n.startswith(".")]
    for name in ("../x", "/x", "..", "", "a/b"):
        with pytest.raises(UsageError):
            zipped([(name, b"")])


# --- the phone -------------------------------------------------------------------------------------------------------


@pytest.fixture
def door(hand):
    opened = phone.open_door(hand, host="127.0.0.1")
    yield opened
    opened.close()


def test_the_phones_port_knows_nothing_of_the_computers_pages(door, room, monkeypatch):
    """Its key is another, and none of the room's addresses answers there, however often it is asked."""
    monkeypatch.setattr(phone, "MOST_WRONG", 1000)  # else it closes half-way, sooner or later
    client = Client(door.address)
    cookie = client.get("")[2]["set-cookie"].split(";")[0]
    got = [client.get(f"api/{name}", cookie=cookie) for name in GETS]
    got += [client.post(f"api/{name}", {}, cookie=cookie) for name in POSTS]
    got += [Client(f"http://{door.host}{room.path}").get("api/state")]

    assert urlsplit(door.address).path.strip("/") not in room.path
    assert {status for status, _, _ in got} == {403}


def test_a_phones_code_is_worth_nothing_once_its_time_is_over(hand):
    short = phone.open_door(hand, host="127.0.0.1", open_s=0.4)
    client = Client(short.address)
    cookie = client.get("")[2]["set-cookie"].split(";")[0]
    while short.open:
        time.sleep(0.05)
    try:
        given = {"cookie": cookie, "content_type": "application/octet-stream"}
        status = client.send("POST", "photo?name=a.png", png(), **given)[0]
    except (OSError, http.client.HTTPException):
        status = 410  # nobody listens any more

    assert status in (403, 410)
    assert not (hand.path / "waiting").exists()


def test_strangers_who_hold_connections_open_do_not_keep_the_phone_out(door):
    host, port = door.host.split(":")
    idle = [socket.create_connection((host, int(port))) for _ in range(3 * phone.MOST_CONNECTIONS)]
    status, page, _ = Client(door.address).get("")

    assert (status, b"Photographs of a sheet" in page) == (200, True)
    for connection in idle:
        connection.close()


def test_the_phones_pictures_are_judged_as_others_are(door, hand, monkeypatch):
    monkeypatch.setattr(phone, "LARGEST_PHOTO", 4000)
    client = Client(door.address)
    cookie = client.get("")[2]["set-cookie"].split(";")[0]

    def send(name, data):
        return client.send(
            "POST", f"photo?name={quote(name)}", data, cookie=cookie, content_type="application/octet-stream"
        )

    assert send("big.png", png() + b"x" * 9000)[0] == 413
    assert send("page.html", b"<script>alert(1)</script>")[0] == 422
    assert send("../../up.png", png())[1] == {"kept": "up.png"}
    assert [p.name for p in (hand.path / "waiting").iterdir()] == ["up.png"]


def test_a_sender_who_leaves_in_the_middle_leaves_nothing_behind(room, hand, caplog):
    sender = socket.create_connection(tuple(room.host.split(":")))
    head = f"POST {room.path}api/drop?name=a.png HTTP/1.1\r\nHost: {room.host}\r\nOrigin: http://{room.host}\r\n"
    head += "Content-Type: application/octet-stream\r\nContent-Length: 90000\r\n\r\n"
    sender.sendall(head.encode() + png())
    while not (hand.path / "waiting").is_dir():
        time.sleep(0.01)
    sender.close()
    while list((hand.path / "waiting").iterdir()):
        time.sleep(0.01)

    assert room.get("api/work")[0] == 200
    assert [record.message for record in caplog.records] == []


def test_on_a_disk_without_links_two_scans_of_one_name_are_both_kept(room, hand, monkeypatch):
    def no_links(one, other):
        raise PermissionError(errno.EPERM, "Operation not permitted")  # as link(2) says of FAT

    monkeypatch.setattr("ownhand.workroom.drop.os.link", no_links)
    names = [drop(room, "page.png", png(size))[1]["kept"] for size in ((40, 30), (50, 60), (40, 30))]

    assert names == ["page.png", "page-2.png", "page.png"]
    assert {p.read_bytes() for p in (hand.path / "waiting").iterdir()} == {png((40, 30)), png((50, 60))}
