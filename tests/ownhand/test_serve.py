from __future__ import annotations

import asyncio
import gzip
import http.client
import json
import logging
import re
import socket
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import uvicorn

from capture.errors import OwnhandError, UsageError
from ownhand import serve as serving
from ownhand.composer import Composer, Settings
from ownhand.composer.formats.svg import svg_text
from ownhand.composer.settings.settings_data import settings_from
from ownhand.serve.pool import Pool, Ticket, Turns
from ownhand.serve.request import order_from
from ownhand.serve.server import HOW, Limits, make_app, serve
from tests.ownhand.composing import LETTER
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.on_page import PATIENCE_S

FONT = hershey_font()


class Client:
    def __init__(self, port: int, token: str | None = None, *, source: str = "127.0.0.1") -> None:
        self._port, self._token, self._source = port, token, source

    def ask(
        self, method: str, path: str, data: Any = None, *, raw: bytes | None = None, **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        connection = http.client.HTTPConnection(
            "127.0.0.1", self._port, timeout=PATIENCE_S, source_address=(self._source, 0)
        )
        body = raw if raw is not None else None if data is None else json.dumps(data).encode()
        sent = {"Content-Type": "application/json"} if body is not None else {}
        sent |= {"Authorization": f"Bearer {self._token}"} if self._token else {}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        out = (answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())
        connection.close()
        return out

    def page(self, **order: Any) -> tuple[int, dict[str, str], bytes]:
        return self.ask("POST", "/hands/keeper/pages", order)


@contextmanager
def running(**options: Any) -> Iterator[int]:
    server = uvicorn.Server(
        uvicorn.Config(make_app({"keeper": FONT}, **options), host="127.0.0.1", port=0, log_level="critical", **HOW)
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield server.servers[0].sockets[0].getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(20)


class ToldError(Exception):
    """Stops a server as soon as it has told its address."""


def test_when_the_address_is_told_it_can_be_opened_and_a_port_in_use_is_refused_in_words():
    def connect(port: int) -> None:
        with socket.create_connection(("127.0.0.1", port), timeout=10):
            pass
        with pytest.raises(UsageError, match=f"port {port} of 127.0.0.1 cannot be used"):
            serve({"keeper": FONT}, port=port)
        raise ToldError

    with pytest.raises(ToldError):
        serve({"keeper": FONT}, port=0, announce=connect)


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    limits = Limits(body_bytes=50_000, text_characters=5_000)
    with running(workers=2, limits=limits) as port:
        yield Client(port)


def error_of(answer: tuple[int, dict[str, str], bytes]) -> tuple[int, str]:
    status, headers, body = answer
    assert headers["content-type"] == "application/json"
    line = json.loads(body)["error"]
    assert "\n" not in line
    return status, line


def test_a_page_is_the_very_one_that_python_makes(client: Client) -> None:
    settings = {"paper": "postcard", "margins_mm": [10, 10, 10, 10]}

    status, headers, body = client.page(text=LETTER, settings=settings, seed=7, page=2)

    made = Composer(FONT).compose(LETTER, Settings(paper="postcard", margins_mm=(10.0,) * 4), seed=7)
    assert status == 200
    assert headers["content-type"] == "image/svg+xml"
    assert headers["page-count"] == str(len(made))
    assert body.decode() == svg_text(made.pages[1])


@pytest.mark.parametrize(
    ("kind", "media", "begins"),
    [("svg", "image/svg+xml", b"<?xml"), ("hpgl", "application/vnd.hp-hpgl", b"IN;"), ("gcode", "text/x-gcode", b"("),
     ("png", "image/png", b"\x89PNG"), ("html", "text/html", b"<!doctype html>")],
)  # fmt: skip
def test_every_format_is_answered(client: Client, kind: str, media: str, begins: bytes) -> None:
    status, headers, body = client.page(text="The lamp", format=kind, settings={"paper": "A6"})

    assert status == 200
    assert headers["content-type"].startswith(media)
    assert body.startswith(begins)


def test_boxes_and_a_machine_can_be_ordered(client: Client) -> None:
    settings = {
        "paper": "postcard",
        "margins_mm": [8, 8, 8, 8],
        "boxes": [
            {"name": "body", "x_mm": 8, "y_mm": 8, "width_mm": 70, "height_mm": 80, "fit": True},
            {"name": "address", "x_mm": 84, "y_mm": 45, "width_mm": 56, "height_mm": 45},
        ],
    }

    status, _, body = client.page(
        text={"body": LETTER[:90], "address": "Orla Fennimore\nUpper Wexcombe"}, settings=settings, format="gcode",
        machine={"bed_mm": [300, 200], "pen": "servo"},
    )  # fmt: skip

    assert status == 200
    assert b"M3 S" in body


def test_a_check_tells_what_the_text_would_become(client: Client) -> None:
    status, _, body = client.ask("POST", "/hands/keeper/check", {"text": LETTER + " ж", "settings": {"paper": "A5"}})

    said = json.loads(body)
    assert status == 200
    assert said["pages"] == 1
    assert said["missing"] == {"ж": 1}
    assert said["plotting"][0]["lifts"] > 300
    assert said["x_height_mm"] == {"body": 3.0}


def test_what_the_hand_lacks_is_named_in_the_answer(client: Client) -> None:
    _, headers, _ = client.page(text="a жßß")

    assert headers["missing-characters"] == "3"
    assert headers["missing"] == "%C3%9F;times=2, %D0%B6;times=1"


def test_the_hands_are_listed(client: Client) -> None:
    _, _, body = client.ask("GET", "/hands")

    (hand,) = json.loads(body)["hands"]
    assert (hand["name"], hand["family"]) == ("keeper", "Lamp Room")
    assert "Q" in hand["characters"]


@pytest.mark.parametrize(
    ("order", "status", "said"),
    [
        ({"text": 3}, 422, "text: expected a text"),
        ({}, 422, "text: there is nothing to write"),
        ({"text": {"body": " \n"}}, 422, "text: there is nothing to write"),
        ({"text": "x" * 5001}, 422, "text: longer than 5000 characters"),
        ({"text": "x", "colour": "red"}, 422, "colour: no such key"),
        ({"text": "x", "seed": -1}, 422, "seed: expected a whole number"),
        ({"text": "x", "seed": True}, 422, "seed: expected a whole number"),
        ({"text": "x", "format": "dxf"}, 422, "format: expected one of"),
        ({"text": "x", "page": 0}, 422, "page: expected a whole number from 1 to"),
        ({"text": "x", "page": 2}, 422, "there is no page 2, the text fills 1"),
        ({"text": "x", "dpi": 5000}, 422, "dpi: expected a number from 10 to 600"),
        ({"text": "x", "format": "png", "dpi": 600, "settings": {"paper": "2000x2000"}}, 422, "dpi: a picture of more"),
        ({"text": "x", "machine": {"bed": 1}}, 422, "machine: bed: no such key"),
        ({"text": "x", "format": "hpgl", "machine": {"bed_mm": [10, 10]}}, 422, "the bed of 'plotter'"),
        ({"text": "x", "settings": {"pens": [{"colour": 'red"/>'}]}}, 422, "is not a colour"),
        ({"text": {"stamp": "x"}}, 422, "there is no box 'stamp'"),
        ({"text": "x", "settings": {"life": {"slant": 9}}}, 422, "life.slant: 9 is not between 0 and 2"),
        ({"text": "x", "settings": {"margins_mm": [1, 2], "align": "up"}}, 422, "margins_mm: expected a list of 4"),
        ({"text": "x", "settings": {"boxes": [{"name": "a"}]}}, 422, "boxes[0].x_mm: is not given"),
        ({"text": "x", "settings": {"hyphenate": "qq"}}, 422, "no hyphenation for 'qq'"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(client: Client, order: dict, status: int, said: str) -> None:
    code, line = error_of(client.page(**order))

    assert code == status
    assert said in line


def test_all_faults_of_the_settings_are_named_at_once() -> None:
    wrong = {"margins_mm": [1, 2], "align": "up", "life": {"slope": "much"}, "fit": 1, "pens": [{"width_mm": True}]}
    with pytest.raises(UsageError) as error:
        settings_from(wrong)

    for path in (
        "margins_mm: expected",
        "align: expected",
        "life.slope: expected",
        "fit: expected",
        "pens[0].width_mm:",
    ):
        assert path in str(error.value)


@pytest.mark.parametrize(
    ("raw", "kind", "status"),
    [
        (b"{", "application/json", 400),
        (b"\xff\xfe", "application/json", 400),
        (b"[" * 40000, "application/json", 400),
        (b"[]", "application/json", 422),
        (b'{"text": "tea", "text": "no tea"}', "application/json", 400),
        (b"{}", "text/plain", 415),
        (b" " * 60_000, "application/json", 413),
        (b'{"text": "\\ud800 x"}', "application/json", 200),
        (b'{"settings": {"indent_mm": NaN}}', "application/json", 422),
        (b'{"settings": {"indent_mm": 1e999}}', "application/json", 422),
    ],
)
def test_whatever_is_sent_gets_a_clear_answer(client: Client, raw: bytes, kind: str, status: int) -> None:
    answer = client.ask("POST", "/hands/keeper/pages", raw=raw, Content_Type=kind)

    assert answer[0] == status
    if status != 200:
        error_of(answer)


def test_unknown_places_and_methods_are_answered_alike(client: Client) -> None:
    assert error_of(client.ask("POST", "/hands/nobody/pages", {"text": "x"}))[0] == 404
    assert error_of(client.ask("GET", "/nowhere"))[0] == 404
    # whoever opens the printed address in a browser learns where to look
    assert "/openapi.json" in error_of(client.ask("GET", "/"))[1]
    assert error_of(client.ask("GET", "/hands/keeper/pages"))[0] == 405


def test_another_name_for_this_machine_is_refused(client: Client) -> None:
    for name in ("plotter.example", "plotter.example:80", "[::1]evil", "127.0.0.1.example:80", ""):
        assert error_of(client.ask("GET", "/hands", Host=name))[0] == 400


@pytest.mark.parametrize("name", ["localhost", "LOCALHOST:8214", "127.0.0.1:8214", "[::1]", "[::1]:8214"])
def test_this_machine_may_be_called_by_any_of_its_own_names(client: Client, name: str) -> None:
    # RFC 9110, 7.2, and RFC 3986, 3.2.2: an address of IPv6 stands in brackets, and its port behind them
    assert client.ask("GET", "/hands", Host=name)[0] == 200


def test_a_name_that_is_no_hosts_is_refused_in_words() -> None:
    with pytest.raises(UsageError, match=r"port 8214 of a\.\.b cannot be used"):
        serve({"keeper": FONT}, host="a..b", token="s3cret")


def test_many_at_once_get_the_same_as_one_alone(client: Client) -> None:
    alone = [client.page(text=LETTER, seed=s, settings={"paper": "A5"})[2] for s in range(4)]

    with ThreadPoolExecutor(8) as clients:
        answers = list(clients.map(lambda s: client.page(text=LETTER, seed=s % 4, settings={"paper": "A5"}), range(24)))

    assert [a[0] for a in answers] == [200] * 24
    assert [a[2] for a in answers] == alone * 6


def test_the_description_is_openapi_and_knows_every_setting(client: Client) -> None:
    status, _, body = client.ask("GET", "/openapi.json")

    document = json.loads(body)
    assert status == 200
    assert document["openapi"] == "3.1.0"
    assert set(document["paths"]) == {"/hands", "/hands/{hand}/pages", "/hands/{hand}/check"}
    assert set(document["components"]["schemas"]["Settings"]["properties"]) == set(Settings.__dataclass_fields__)


def test_every_refusal_is_in_the_description(client: Client) -> None:
    files = Path(serving.__file__).parent.glob("*.py")
    given = {code for file in files for code in re.findall(r"RefusalError\((\d+)", file.read_text())} | {"400", "500"}
    document = json.loads(client.ask("GET", "/openapi.json")[2])
    told = document["paths"]["/hands/{hand}/pages"]["post"]["responses"].keys()

    assert "429" in given
    assert given - {"401"} <= told  # 401 is told where a token is needed


def test_workers_that_cannot_begin_end_the_service_with_the_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ownhand.serve.pool.own_command", lambda call: [sys.executable, "-c", "raise SystemExit(3)"])
    with pytest.raises(OwnhandError, match="serve: a worker cannot be started \\(it ended at once\\)"):
        serve({"keeper": FONT}, port=free_port())

    monkeypatch.setattr("ownhand.serve.pool.own_command", lambda call: ["/nowhere/python"])
    with pytest.raises(OwnhandError, match="No such file"):
        serve({"keeper": FONT}, port=free_port())


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def test_beyond_loopback_a_token_is_needed() -> None:
    with pytest.raises(UsageError, match=r"'0.0.0.0' can be reached from elsewhere and no token was set"):
        make_app({"keeper": FONT}, host="0.0.0.0")


def test_a_token_is_asked_for_and_never_told() -> None:
    with running(workers=1, token="s3cret") as port:
        right, wrong, none = Client(port, "s3cret"), Client(port, "other"), Client(port)

        assert right.ask("GET", "/hands")[0] == 200
        for other in (wrong, none):
            answer = other.page(text="x")
            assert error_of(answer)[0] == 401
            assert answer[1]["www-authenticate"] == "Bearer"
            assert b"s3cret" not in answer[2]


def test_a_text_that_takes_too_long_is_given_up() -> None:
    with running(workers=1, limits=Limits(seconds=0.0001)) as port:
        status, line = error_of(Client(port).page(text=LETTER * 10))

    assert status == 503
    assert "not done within" in line


def test_a_page_is_drawn_as_svg_xml(client: Client) -> None:
    ElementTree.fromstring(client.page(text="<&>\"' lamp")[2])


def test_a_page_travels_packed_for_who_takes_it_so_and_is_the_same_page(client):
    order = {"text": LETTER, "seed": 3}

    plain = client.ask("POST", "/hands/keeper/pages", order)
    packed = client.ask("POST", "/hands/keeper/pages", order, Accept_Encoding="br, gzip;q=0.5")
    again = client.ask("POST", "/hands/keeper/pages", order, Accept_Encoding="gzip")
    refused = client.ask("POST", "/hands/keeper/pages", order, Accept_Encoding="identity, gzip;q=0")

    assert "content-encoding" not in plain[1] and "content-encoding" not in refused[1]
    assert packed[1]["content-encoding"] == "gzip" and packed[1]["vary"] == "Accept-Encoding"
    assert gzip.decompress(packed[2]) == plain[2] == refused[2]
    assert packed[2] == again[2] and len(packed[2]) < 0.5 * len(plain[2])


def test_a_picture_is_not_packed_twice(client):
    order = {"text": "the lamp", "format": "png"}

    status, headers, body = client.ask("POST", "/hands/keeper/pages", order, Accept_Encoding="gzip")

    assert status == 200 and "content-encoding" not in headers and body.startswith(b"\x89PNG")


HOSTILE: list[dict[str, Any]] = [
    {"text": "e" + "\u0301" * 4000},
    {"text": "x", "settings": {"boxes": [{}] * 5000}},
    {"text": "x", "settings": {"boxes": [{"name": "a", "x_mm": 20, "y_mm": 20, "width_mm": 1, "height_mm": 1}] * 400}},
    {"text": {str(n): "x" for n in range(3000)}},
    {"text": "x", "settings": {str(n): 1 for n in range(3000)}},
    {"text": "a\f" * 2000},
    {"text": "a " * 2000, "settings": {"x_height_mm": 200}},
    {"text": "x", "machine": {"pen_up": ["M3"] * 9000}},
    {"text": "x", "machine": {"pen_up": ["M3 \u0416"]}},
    {"text": "x", "machine": {"name": "a\0b"}},
    {"text": "x", "machine": {"bed_mm": [10**400, 1]}},
    {"text": "x", "machine": {"origin": []}},
    {"text": "x", "format": []},
    {"text": "x", "dpi": 10**400, "format": "png"},
    {"text": "x", "settings": {"x_height_mm": 10**400}},
    {"text": "x", "settings": {"pens": [{"name": "a\0b"}]}},
    {"text": "x", "settings": {"paper": "9" * 9000}},
    {"text": "x", "settings": {"drawings": [{"path": "M0 0" + "h1v1z" * 6000, "x_mm": 9, "y_mm": 9}]}},
]


@pytest.mark.parametrize("order", HOSTILE)
def test_an_order_that_asks_for_too_much_is_refused_at_once(client: Client, order: dict[str, Any]) -> None:
    start = time.process_time()
    status, line = error_of(client.page(**order))

    assert status in (413, 422), line
    assert len(line) < 2500
    assert time.process_time() - start < 5  # of this process, which holds the event loop: nothing is worked on in it


def test_work_that_takes_too_long_is_ended_and_light_orders_go_on() -> None:
    heavy = {"text": "the lamp " * 2000, "settings": {"order": "least travel", "paper": "900x900", "fit": True}}
    with running(workers=1, limits=Limits(seconds=2.0, light_cost=100)) as port, ThreadPoolExecutor(4) as clients:
        answers = [clients.submit(Client(port).page, **heavy) for _ in range(4)]
        # on a busy machine even a light one may take too long
        until = time.monotonic() + PATIENCE_S
        while (light := Client(port).page(text="lamp")[0]) != 200 and time.monotonic() < until:
            pass
        assert light == 200
        given_up = [headers for status, headers, _ in (answer.result() for answer in answers) if status == 503]
        assert len(given_up) == 4
        assert all(headers["retry-after"] for headers in given_up)


def test_one_client_cannot_fill_the_queue() -> None:
    with running(workers=1, limits=Limits(waiting_each=1)) as port, ThreadPoolExecutor(12) as clients:
        answers = list(clients.map(lambda n: Client(port).page(text=LETTER, seed=n), range(24)))

    assert {a[0] for a in answers} <= {200, 429}
    assert any(a[0] == 200 for a in answers)
    assert all("retry-after" in a[1] for a in answers if a[0] == 429)


def test_where_no_more_may_wait_whoever_asked_for_most_gives_way() -> None:
    async def given() -> list[tuple[str, int] | None]:
        turns, order, loop = Turns(), order_from("keeper", {"text": "lamp"}, Limits()), asyncio.get_running_loop()
        for n, client in enumerate(("greedy", "greedy", "modest", "greedy")):
            turns.put(Ticket(client, "page", order, loop.create_future(), float(n)))
        return [
            (t.client, int(t.until)) if (t := turns.given_way(who)) else None for who in ("guest", "modest", "guest")
        ]

    assert asyncio.run(given()) == [("greedy", 3), None, ("greedy", 1)]


def test_who_asks_for_one_page_is_served_while_another_has_filled_the_queue(monkeypatch: pytest.MonkeyPatch) -> None:
    """Loopback has many addresses: all of 127.0.0.0/8 (RFC 6890)."""
    begun, go_on = threading.Event(), threading.Event()
    ask = Pool._ask

    async def held(pool: Pool, process: Any, message: Any) -> tuple[str, Any]:
        if message[0] == "page":
            begun.set()
            await asyncio.to_thread(go_on.wait, 300)
        return await ask(pool, process, message)

    monkeypatch.setattr(Pool, "_ask", held)
    page = {"text": "the lamp", "settings": {"paper": "A6"}}
    limits = Limits(waiting=2, waiting_each=2, seconds=300)
    with running(workers=1, limits=limits) as port, ThreadPoolExecutor(7) as clients:
        asked = [clients.submit(Client(port).page, **page)]
        assert begun.wait(300)
        asked += [clients.submit(Client(port).page, **page) for _ in range(5)]
        refused = list(islice(as_completed(asked), 3))  # one is worked on, two wait
        modest = clients.submit(Client(port, source="127.0.0.2").page, **page)
        gave_way = next(as_completed(set(asked) - set(refused)))
        go_on.set()

    assert [a.result()[0] for a in refused] == [429] * 3
    assert modest.result()[0] == 200
    assert gave_way.result()[0] == 503 and b"others are waiting who asked for less" in gave_way.result()[2]
    assert sorted(a.result()[0] for a in asked) == [200, 200, 429, 429, 429, 503]


def test_of_connections_those_of_the_address_with_most_are_closed_first(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ownhand.connections.MOST", 20)
    monkeypatch.setattr("ownhand.connections.HEAD_S", 300.0)
    with running(workers=1) as port:
        modest = socket.create_connection(("127.0.0.1", port), source_address=("127.0.0.2", 0))
        idle = [socket.create_connection(("127.0.0.1", port)) for _ in range(60)]
        for connection in idle[:40]:
            connection.settimeout(30)
            assert connection.recv(1) == b""
        modest.sendall(b"GET /hands HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")

        assert modest.recv(12) == b"HTTP/1.1 200"
        for connection in (modest, *idle):
            connection.close()


def test_it_stops_at_once_whatever_is_being_worked_on(caplog: pytest.LogCaptureFixture) -> None:
    heavy = {"text": "the lamp " * 1000, "settings": {"order": "least travel", "paper": "900x900"}}
    with ThreadPoolExecutor(4) as clients:
        with running(workers=1) as port:
            log = logging.getLogger("uvicorn.error")
            log.setLevel(logging.INFO)
            log.addHandler(caplog.handler)
            for _ in range(4):
                clients.submit(Client(port).page, **heavy)
            time.sleep(0.5)
            begin = time.monotonic()
        assert time.monotonic() - begin < 15  # 5 s on a quiet machine; `running` waits 20
    log.removeHandler(caplog.handler)
    assert caplog.records and not [record for record in caplog.records if record.exc_info]


def test_connections_that_only_stay_open_are_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ownhand.connections.HEAD_S", 1.0)
    with running(workers=1) as port:
        idle = [socket.create_connection(("127.0.0.1", port)) for _ in range(450)]
        slow = socket.create_connection(("127.0.0.1", port))
        slow.sendall(b"GET /hands HTTP/1.1\r\nHost: 127")

        assert Client(port).ask("GET", "/hands")[0] == 200
        slow.settimeout(30)
        assert slow.recv(1) == b""  # closed, though never answered
        for connection in (*idle, slow):
            connection.close()


@pytest.mark.parametrize("token", ["", " ", "a b", "x" * 501, "a\nb", "a\0b"])
def test_a_token_that_guards_nothing_is_refused(token: str) -> None:
    with pytest.raises(UsageError, match="the token is empty"):
        make_app({"keeper": FONT}, token=token)


def test_a_token_in_other_letters_works() -> None:
    with running(workers=1, token="światło") as port:
        right = Client(port).ask("GET", "/hands", Authorization="Bearer światło".encode().decode("latin-1"))
        wrong = Client(port).ask("GET", "/hands", Authorization="Bearer swiatlo")

    assert (right[0], wrong[0]) == (200, 401)


@pytest.mark.parametrize(
    ("order", "heavy"),
    [
        ({"text": "Cher ami, à bientôt, là où l'été finit. " * 9}, False),
        ({"text": "e" + "\u0301" + " e\u0301" * 90}, False),
        ({"text": " ".join("e" + one + two for one in "\u0300\u0302\u0303" for two in "\u0323\u0331")}, True),
        ({"text": "x", "settings": {"drawings": [{"path": "M0 0" + "L1 1" * 9000, "x_mm": 9, "y_mm": 9}]}}, True),
        ({"text": "x", "settings": {"drawings": [{"path": "M0 0" + "z" * 2000, "x_mm": 9, "y_mm": 9}]}}, True),
    ],
)
def test_what_takes_long_waits_in_a_queue_of_its_own(order: dict[str, Any], heavy: bool) -> None:
    limits = Limits()
    cost = order_from("keeper", order, limits).cost({*FONT.glyphs, *"àôùûéè"})

    assert (cost > limits.light_cost) == heavy
