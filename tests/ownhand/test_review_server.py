"""The server behind the page: every answer, what it stores, and what it refuses."""

from __future__ import annotations

import dataclasses
import http.client
import io
import json
import sys
from pathlib import Path
from urllib.parse import quote, urlsplit

import numpy as np
import pytest
from PIL import Image

from capture.errors import HandFolderError, MissingLibraryError, UsageError
from ownhand.commands.build import make_font
from ownhand.hands.captures import load_captures, save_capture
from ownhand.hands.deciding import DECIDING
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import load_sheets, open_hand
from ownhand.review.web.access import LARGEST_BODY
from ownhand.workroom.server import run, start

SOME = "LAMP1/1/3.2"


class Client:
    """A plain HTTP client that can be as rude as it likes."""

    def __init__(self, url: str) -> None:
        self.host, self.path = urlsplit(url).netloc, urlsplit(url).path

    def send(self, method, path, body=None, *, whole_path=None, **headers):
        connection = http.client.HTTPConnection(self.host, timeout=90)
        given = {"host": self.host, "origin": f"http://{self.host}", "content-type": "application/json"}
        given |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection.putrequest(method, whole_path or self.path + path, skip_host=True, skip_accept_encoding=True)
        raw = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
        if raw is not None and "content-length" not in given:
            given["content-length"] = str(len(raw))
        for name, value in given.items():
            if value is not None:
                connection.putheader(name, value)
        connection.endheaders(raw)
        response = connection.getresponse()
        content = response.read()
        connection.close()
        is_json = response.headers.get("content-type") == "application/json"
        return response.status, json.loads(content) if is_json else content, response.headers

    def get(self, path, *, up=0, **headers):
        """Ask for a path below the hand's own; `up`: as many levels above it, as a browser resolves '../'."""
        if up:
            base = self.path.rstrip("/").rsplit("/", up)[0]
            return self.send("GET", "", whole_path=f"{base}/{path.removeprefix('../' * up)}", **headers)
        return self.send("GET", path, **headers)

    def post(self, path, body, **headers):
        return self.send("POST", path, body, **headers)

    def step(self, based_on, *mends):
        return self.post("api/step", {"based_on": based_on, "mends": list(mends)})


CHARACTERS = "atune"


@pytest.fixture
def served(served):
    return Client(served.url)


def files_of(hand) -> dict[str, bytes]:
    # the empty file that says who decides is no content
    kept = [p for p in sorted(hand.path.rglob("*")) if p.is_file() and p.name != DECIDING]
    return {str(p.relative_to(hand.path)): p.read_bytes() for p in kept}


# --- answers ---------------------------------------------------------------------------------------------------------


def test_the_doubtful_letters_come_first_with_their_reason(served):
    status, body, _ = served.get("api/letters")
    first = [c["char"] for c in body["characters"] if c["open"]]

    assert status == 200
    assert first == ["a", "u", "t"] == [c["char"] for c in body["characters"][:3]]
    assert body["doubtful"] == 3
    assert "touches a neighbour" in body["characters"][0]["attempts"][2]["doubts"]


def test_a_letter_is_told_with_its_strokes_and_where_its_picture_lies(served):
    _, body, _ = served.get("api/letter?char=t")
    a = body["attempts"][0]

    assert [x["number"] for x in body["attempts"]] == [1, 2, 3]
    assert np.array(a["lines"][0]).shape[1] == 2
    assert a["picture"]["width"] == pytest.approx(11.0, abs=0.1)
    x0, top, x1, bottom = a["inked"]
    points = np.vstack([np.array(line) for line in a["lines"]])
    assert points.min(axis=0) == pytest.approx([x0 + 0.225, bottom + 0.225], abs=0.12)
    assert points.max(axis=0) == pytest.approx([x1 - 0.225, top - 0.225], abs=0.12)


def test_the_ink_is_given_as_it_lies_in_the_hand_and_kept_until_something_is_read_anew(served, hand):
    address = f"ink?id={quote(SOME, safe='')}"
    read = served.get("api/version")[1]["read"]
    status, png, headers = served.get(f"{address}&read={read}")

    assert (status, headers["content-type"]) == (200, "image/png")
    assert png == (hand.captures_folder / "LAMP1/ink/3.2.png").read_bytes()
    assert "immutable" in headers["cache-control"]
    assert served.get(address)[2]["cache-control"] == "no-store"

    (capture,) = load_captures(hand)
    (hand.captures_folder / "LAMP1/ink/3.2.png").write_bytes(png[:-12] + png[-12:] + b"\0")
    save_capture(hand, dataclasses.replace(capture, scan="better.png"))
    assert served.get("api/version")[1]["read"] != read
    assert served.get(address)[1] != png


def test_the_attempts_of_a_character_come_in_one_strip_each_on_its_baseline(served):
    _, body, _ = served.get("api/letters")
    letter = next(c for c in body["characters"] if c["char"] == "n")
    status, png, _ = served.get("strip?char=n")
    strip = np.asarray(Image.open(io.BytesIO(png)))

    assert status == 200
    assert strip.shape[0] == 2 * 58
    for a in letter["attempts"]:
        x, width = (2 * v for v in a["strip"])
        rows = np.flatnonzero((strip[:, x : x + width] < 128).any(axis=1))
        columns = np.flatnonzero((strip[:, x : x + width] < 128).any(axis=0))
        assert rows[-1] == pytest.approx(80 + 2, abs=3), "it stands on the baseline, 40 px down at twice the size"
        assert rows[-1] - rows[0] == pytest.approx(30 + 4, abs=5), "an x-height is 15 px"
        assert columns[0] > 0 and columns[-1] < width - 1
    assert served.get("strip?char=%F0%9F%98%80")[0] == 404


def test_a_step_is_stored_at_once_and_undone_and_done_again(served, hand):
    before = files_of(hand)
    key = served.get("api/letter?char=t")[1]["attempts"][1]["id"]
    status, body, headers = served.step(0, {"attempt": key, "do": "turn", "stroke": 1})
    stored = load_decisions(hand.decisions_file).attempts[key]

    assert (status, body["version"], headers["etag"]) == (200, 1, '"1"')
    assert stored.done == ("stroke 2 turned round",)
    assert "turned round" in body["undo"]
    assert {k: v for k, v in files_of(hand).items() if k in before} == before, "only decisions were written"

    assert served.post("api/undo", {"based_on": 1})[1]["words"] == body["undo"]
    assert load_decisions(hand.decisions_file).attempts[key].is_empty
    assert served.post("api/redo", {"based_on": 2})[1]["words"] == body["undo"]
    again = load_decisions(hand.decisions_file).attempts[key]
    assert np.allclose(again.strokes[1].points_mm, stored.strokes[1].points_mm)


def test_after_something_new_what_was_undone_cannot_be_done_again(served):
    key = served.get("api/letter?char=n")[1]["attempts"][0]["id"]
    served.step(0, {"attempt": key, "do": "keep"})
    served.step(1, {"attempt": key, "do": "turn", "stroke": 0})
    served.post("api/undo", {"based_on": 2})
    served.post("api/undo", {"based_on": 3})
    _, body, _ = served.step(4, {"attempt": key, "do": "set aside"})

    assert body["redo"] == ""
    assert served.post("api/redo", {"based_on": 5})[1]["words"] == ""


def test_what_one_page_changed_is_not_overwritten_by_another_that_has_not_seen_it(served, hand):
    one, other = (served.get("api/letter?char=n")[1]["attempts"][i]["id"] for i in (0, 1))
    served.step(0, {"attempt": one, "do": "keep"})
    before = files_of(hand)
    status, body, _ = served.step(0, {"attempt": other, "do": "keep"}, {"attempt": one, "do": "set aside"})

    assert status == 409
    assert "changed by another page" in body["error"]["what"]
    assert body["version"] == 1
    assert files_of(hand) == before, "nothing of a refused step is stored"
    assert served.step(0, {"attempt": other, "do": "keep"})[0] == 200, "other attempts may be decided meanwhile"
    assert served.post("api/undo", {"based_on": 0})[0] == 409


def test_a_step_with_a_fault_in_it_is_refused_whole(served, hand):
    key = served.get("api/letter?char=n")[1]["attempts"][0]["id"]
    before = files_of(hand)
    wrong = {"attempt": key, "do": "turn", "stroke": 40}

    assert served.step(0, {"attempt": key, "do": "keep"}, wrong)[0] == 422
    assert served.step(0, {"attempt": key, "do": "keep"}, {"attempt": "X/1/1.1", "do": "keep"})[0] == 404
    status, body, _ = served.step(0, {"attempt": key, "do": "dance"})
    assert (status, "mends[0].do: expected one of" in body["error"]["what"]) == (400, True)
    assert files_of(hand) == before


@pytest.mark.parametrize(
    ("operation", "place"),
    [
        ({"do": "turn"}, "stroke"),
        ({"do": "turn", "stroke": "1"}, "stroke"),
        ({"do": "move", "stroke": 0, "by": [1, None]}, "by"),
        ({"do": "redraw", "samples": []}, "samples"),
        ({"do": "redraw", "samples": [[0, 0]] * 5000}, "samples"),
        ({"do": "baseline", "mm": 1e9}, "mm"),
        ({"do": "bearings", "left_mm": "x"}, "left_mm"),
        ({"do": "label", "char": "x" * 50}, "char"),
        ({"do": "carry", "from": 3}, "from"),
        ({"do": "reading", "number": -1}, "number"),
        ({"do": "set aside", "reason": ["x"]}, "reason"),
        ({}, "do"),
    ],
)
def test_a_malformed_operation_is_refused_with_its_place(served, hand, operation, place):
    before = files_of(hand)
    key = served.get("api/letter?char=n")[1]["attempts"][0]["id"]
    status, body, _ = served.step(0, {"attempt": key, **operation})

    assert status == 400
    assert f"mends[0].{place}" in body["error"]["what"]
    assert files_of(hand) == before


def test_a_label_that_is_no_single_character_is_refused(served):
    key = served.get("api/letter?char=n")[1]["attempts"][0]["id"]

    assert served.step(0, {"attempt": key, "do": "label", "char": "ab"})[0] == 422
    assert served.step(0, {"attempt": key, "do": "label", "char": " "})[0] == 422
    assert served.step(0, {"attempt": key, "do": "label", "char": "e\u0301"})[0] == 200
    assert key in [a["id"] for a in served.get("api/letter?char=" + quote("é"))[1]["attempts"]]


def test_mending_one_mends_the_others_and_is_remembered(served, hand):
    attempts = served.get("api/letter?char=t")[1]["attempts"]
    model, wrong, right = (a["id"] for a in attempts)
    others = served.get(f"api/alike?id={quote(model, safe='')}")[1]["others"]

    assert [(o["id"], o["changes"]) for o in others] == [(wrong, True), (right, False)]
    assert others[0]["why"] == "stroke 2 turned round"
    status, _, _ = served.step(0, {"attempt": model, "do": "learn"}, {"attempt": wrong, "do": "carry", "from": model})
    decisions = load_decisions(hand.decisions_file)
    assert status == 200
    assert decisions.characters["t"].attempt == model
    bar = decisions.attempts[wrong].strokes[1].points_mm
    assert bar[0, 0] < bar[-1, 0], "its bar is written to the right like the others"
    served.post("api/undo", {"based_on": 1})
    assert "t" not in load_decisions(hand.decisions_file).characters, "all of it is one step"


def test_a_text_is_set_in_the_hand_as_it_stands(served):
    _, first, _ = served.post("api/text", {"text": "tuna", "seed": 3})
    _, same, _ = served.post("api/text", {"text": "tuna", "seed": 3})
    _, other, _ = served.post("api/text", {"text": "tunax", "seed": 4, "life": {"slant": 2}})

    assert first["pages"] == same["pages"] != other["pages"]
    assert first["pages"][0].startswith("<?xml")
    assert other["missing"] == {"x": 1}
    assert served.post("api/text", {"text": "t", "life": {"slant": 9}})[0] == 400
    assert served.post("api/text", {"text": "t" * 6000})[0] == 400


def test_the_builder_says_which_attempts_are_unlike_the_others(served):
    status, body, _ = served.get("api/judged")

    assert status == 200
    assert body["doubtful"] >= 3


def test_reading_a_scan_again_keeps_the_decisions(served, hand):
    key = served.get("api/letter?char=t")[1]["attempts"][1]["id"]
    served.step(0, {"attempt": key, "do": "turn", "stroke": 1})
    (capture,) = load_captures(hand)
    save_capture(hand, capture)
    _, body, _ = served.get("api/letter?char=t")

    assert body["attempts"][1]["mended"]
    font, _ = make_font(open_hand(hand.path))
    ways = [g.strokes[-1][-1, 0] - g.strokes[-1][0, 0] for g in font.glyphs["t"]]
    assert all(w > 0 for w in ways), "the font has the mended bar"


def test_a_server_started_anew_knows_what_was_done_and_can_undo_it(served, hand):
    key = served.get("api/letter?char=t")[1]["attempts"][1]["id"]
    served.step(0, {"attempt": key, "do": "turn", "stroke": 1})
    served.step(1, {"attempt": key, "do": "keep"})
    running = start(hand.path)
    try:
        anew = Client(running.url)
        assert anew.get("api/version")[1] == served.get("api/version")[1]
        assert anew.post("api/undo", {"based_on": 2})[1]["words"].endswith("kept")
        assert anew.post("api/undo", {"based_on": 3})[1]["words"].endswith("stroke 2 turned round")
    finally:
        running.stop()
    assert served.get("api/version")[1]["version"] == 4, "a second server's steps are seen by the first"


def test_each_language_says_what_it_lacks_and_the_sheet_with_it_is_printed(served, hand):
    _, body, _ = served.get("api/languages")
    english = next(x for x in body["languages"] if x["code"] == "eng")
    status, made, _ = served.post("api/sheet", {"languages": ["eng"]})
    sheet = load_sheets(hand)[made["sheet"]]
    asked = {c.char for p in sheet.pages for c in p.cells}

    assert english["state"] == "missing"
    assert "z" in english["missing"] and "a" not in english["missing"]
    assert status == 200
    assert set(english["missing"]) <= asked
    assert asked.isdisjoint("atune")
    pdf = served.get(f"api/sheet.pdf?sheet={made['sheet']}")
    assert pdf[1][:5] == b"%PDF-"
    assert served.get("api/sheet.pdf?sheet=../../hand")[0] == 404
    assert served.post("api/sheet", {"languages": ["nosuch"]})[0] == 422
    assert served.post("api/sheet", {"languages": []})[0] == 422
    assert served.post("api/sheet", {"languages": [1]})[0] == 400


# --- what is refused -------------------------------------------------------------------------------------------------


def refused(hand, answer, *statuses):
    status, body, headers = answer
    assert status in (statuses or (403,)), (status, body)
    assert not hand.decisions_file.exists()
    assert "default-src 'none'" in headers["content-security-policy"]
    return True


STEP = {"based_on": 0, "mends": [{"attempt": "LAMP1/1/1.1", "do": "keep"}]}


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:80", "", None])
def test_another_host_is_refused(served, hand, host):
    connection_level = {400} if host is None else set()
    assert refused(hand, served.get("api/letters", host=host), 403, *connection_level) if host is not None else True
    if host is not None:
        assert refused(hand, served.post("api/step", STEP, host=host))


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:1", None, ""])
def test_another_origin_is_refused(served, hand, origin):
    assert refused(hand, served.post("api/step", STEP, origin=origin))


def test_a_request_that_another_page_caused_is_refused(served, hand):
    assert refused(hand, served.get("api/letters", sec_fetch_site="cross-site", sec_fetch_mode="cors"))
    assert refused(hand, served.get("api/letters", sec_fetch_site="same-site", sec_fetch_mode="no-cors"))


@pytest.mark.parametrize("change", ["", "x", "/", "a", "A" * 5000])
def test_an_address_without_its_key_is_refused(served, hand, change):
    key = served.path.strip("/").split("/")[0]
    wrong = {"": "", "x": key[:-1] + ("x" if key[-1] != "x" else "y"), "/": "/", "a": key + "a"}.get(change, change)
    assert refused(hand, served.send("POST", "", STEP, whole_path=f"/{wrong}/hand/hand/api/step"))
    assert refused(hand, served.send("GET", "", whole_path="/api/letters"))


@pytest.mark.parametrize(
    "path",
    [
        "../../etc/passwd",
        "..%2f..%2fetc/passwd",
        "%2e%2e/hand.json",
        "static/../server.py",
        "page.css%00",
        "a//b",
        "\\..\\hand.json",
        "server.py",
        "decisions.json",
        "static/page.css",
        "./page.css",
        "api/../ink",
        "nothing.js",
    ],
)
def test_path_tricks_find_nothing(served, hand, path):
    assert refused(hand, served.get(path), 404)


@pytest.mark.parametrize("key", ["../../hand.json", "LAMP1/1/1.1/../../../../hand", "", "LAMP1", "\x00", "a" * 4000])
def test_only_pictures_of_attempts_are_given(served, hand, key):
    assert served.get(f"ink?id={quote(key, safe='')}", whole_path=None)[0] == 404


def test_a_capture_that_points_outside_the_hand_gives_no_picture(hand, tmp_path):
    (tmp_path / "secret.png").write_bytes(b"\x89PNG secret")
    file = next(hand.captures_folder.glob("*/page-01.json"))
    data = json.loads(file.read_text(encoding="utf-8"))
    key = next(iter(data["ink"]))
    data["ink"][key]["file"] = "../../../secret.png"
    file.write_text(json.dumps(data), encoding="utf-8")
    running = start(hand.path)
    try:
        assert Client(running.url).get(f"ink?id={quote(key, safe='')}")[0] == 404
    finally:
        running.stop()


def test_a_body_that_is_too_large_is_refused_whether_it_says_so_or_not(served, hand):
    assert refused(hand, served.post("api/step", b"x" * (LARGEST_BODY + 1)), 413)
    chunk = b"%x\r\n%s\r\n" % (LARGEST_BODY + 1, b"x" * (LARGEST_BODY + 1)) + b"0\r\n\r\n"
    headers = {"transfer_encoding": "chunked", "content_length": None}
    assert refused(hand, served.post("api/step", chunk, **headers), 413)


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b"null", b'"x"', b"\xff\xff", b"[" * 50_000, b'{"based_on": NaN}', b"{}", b'{"mends": 1}'],
)
@pytest.mark.parametrize("address", ["step", "undo", "redo"])
def test_a_malformed_body_is_refused(served, hand, body, address):
    assert refused(hand, served.post(f"api/{address}", body), 400)


def test_a_body_that_is_not_said_to_be_json_is_refused(served, hand):
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", None):
        assert refused(hand, served.post("api/step", STEP, content_type=kind), 415)


def test_changes_are_not_made_by_looking(served, hand):
    assert refused(hand, served.get("api/step"), 405)
    assert refused(hand, served.get("api/undo"), 405)
    assert refused(hand, served.send("DELETE", "api/step"), 405)
    assert refused(hand, served.send("OPTIONS", "api/step"), 405)


def test_nothing_of_the_page_comes_from_elsewhere(served):
    import ownhand

    files = [f for f in Path(ownhand.__file__).parent.glob("*/static/**/*") if f.is_file()]
    assert files
    for file in files:
        text = file.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http:" not in text and "https:" not in text and "//cdn" not in text, file
        if file.suffix != ".html":
            assert served.get(f"../../static/{file.parent.name}/{file.name}", up=2)[0] == 200, file
    headers = served.get("")[2]
    assert "script-src 'self'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"


def test_only_this_computer_is_listened_to(served):
    assert served.host.startswith("127.0.0.1:")


def test_every_start_has_another_key(hand):
    one, other = start(hand.path), start(hand.path)
    one.stop()
    other.stop()

    assert urlsplit(one.url).path != urlsplit(other.url).path
    assert len(urlsplit(one.url).path) >= 24


def test_what_cannot_be_served_is_said_in_one_line(hand, tmp_path, monkeypatch):
    with pytest.raises(HandFolderError):
        run(tmp_path / "nothing")
    with pytest.raises(UsageError, match="port 70000"):
        run(hand.path, port=70000)
    hand.decisions_file.write_text("{")
    with pytest.raises(HandFolderError, match="is not JSON"):
        run(hand.path)
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    with pytest.raises(MissingLibraryError, match=r"pip install 'ownhand\[review\]'"):
        run(hand.path)
