"""Photographs from a phone in the same network: a second, small server, off unless asked for.

It opens one port to the network for some minutes and takes nothing but pictures of one hand's sheet. Its address holds
a code that works once: the first device that opens it gets a cookie, and from then on only that device may send.
Nothing can be looked at through it.
"""

from __future__ import annotations

import hmac
import io
import secrets
import socket
import threading
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from html import escape
from typing import Any

import segno
import uvicorn
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from capture.errors import OwnhandError, UsageError
from ownhand.connections import PatientProtocol, listening_on
from ownhand.hands.hand import Hand
from ownhand.workroom.drop import TooLargeError, keep_scan_to_read

OPEN_S = 600.0
"""The port closes by itself after so long."""

MOST_WRONG = 20
"""Wrong addresses after which the port closes: somebody is trying."""

MOST_CONNECTIONS = 24
"""Of all devices together: the phone's browser opens some six, strangers may hold others open."""

LARGEST_PHOTO = 60 * 1024 * 1024
MOST_PHOTOS = 60

HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
}


class DoorProtocol(PatientProtocol):
    """Connections of a door: few, for one device uses it, and whoever holds many loses them first."""

    def most(self) -> int:
        """Return how many connections may be open."""
        return MOST_CONNECTIONS


@dataclass
class Door:
    """What is open to the phone, as it stands."""

    hand: Hand
    address: str
    host: str
    code: str
    until: float
    """By `time.monotonic`."""

    token: str = ""
    """What the one device holds that used the code; '' until then."""

    wrong: int = 0
    sent: list[str] = field(default_factory=list)
    server: uvicorn.Server | None = None

    @property
    def open(self) -> bool:
        """Whether anything is taken."""
        return self.server is not None and not self.server.should_exit and time.monotonic() < self.until

    def close(self) -> None:
        """Close the port."""
        if self.server is not None:
            self.server.should_exit = True

    def view(self) -> dict[str, Any]:
        """Return what the page shows of it."""
        if not self.open:
            return {"open": False, "sent": list(self.sent)}
        picture = io.BytesIO()
        segno.make(self.address, error="m").save(picture, kind="svg", border=3, scale=5, xmldecl=False)
        return {
            "open": True,
            "address": self.address,
            "used": bool(self.token),
            "seconds": max(0, round(self.until - time.monotonic())),
            "sent": list(self.sent),
            "picture": picture.getvalue().decode(),
        }


def open_door(
    hand: Hand, *, host: str = "", open_s: float = OPEN_S, kept: Callable[[str], None] = lambda name: None
) -> Door:
    """Open a port to the network for photographs of one hand's sheet.

    Parameters
    ----------
    host
        The address to listen on; '': that by which this computer reaches its network.
    kept
        Called with the name of each photograph that came.

    Raises
    ------
    UsageError
        If there is no network, or no port can be opened.
    """
    host = host or own_address()
    listening = listening_on(host, 0, what="the phone", advice="Is this computer online?")
    port = listening.getsockname()[1]
    code = secrets.token_urlsafe(9)
    door = Door(hand, f"http://{host}:{port}/{code}/", f"{host}:{port}", code, time.monotonic() + open_s)
    config = uvicorn.Config(
        phone_app(door, kept), log_config=None, access_log=False, server_header=False, lifespan="off", ws="none",
        http=DoorProtocol, timeout_keep_alive=10, timeout_graceful_shutdown=2,
    )  # fmt: skip
    door.server = uvicorn.Server(config)
    server = door.server
    threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True).start()
    threading.Thread(target=_close_in_time, args=(door,), daemon=True).start()
    while not server.started and not server.should_exit:
        time.sleep(0.01)
    return door


def own_address() -> str:
    """Return the address by which this computer reaches its network.

    Raises
    ------
    UsageError
        If it is in none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: the system only says which way it would go (192.0.2.0/24 is nobody's, RFC 5737).
            probe.connect(("192.0.2.1", 9))
            address = str(probe.getsockname()[0])
        except OSError:
            address = "127.0.0.1"
    if address.startswith("127.") or address == "0.0.0.0":
        raise UsageError("the phone", "this computer is in no network", "Join the phone's network first.")
    return address


def _close_in_time(door: Door) -> None:
    while door.open:
        time.sleep(min(1.0, max(0.05, door.until - time.monotonic())))
    door.close()


def phone_app(door: Door, kept: Callable[[str], None]) -> Starlette:
    """Return what answers the phone; every request is judged here, nothing lies behind it."""

    def refused(request: Request, status: int, words: str) -> Response:
        door.wrong += status == 403
        if door.wrong >= MOST_WRONG:
            door.close()
        return Response(_CLOSED.replace("{{words}}", escape(words)), status, HEADERS, media_type="text/html")

    def problem(request: Request) -> Response | None:
        if not door.open:
            return refused(request, 410, "This is closed. Ask for a new code on the computer.")
        hosts = request.headers.getlist("host")
        if hosts != [door.host]:
            return refused(request, 403, "This is not the address that the computer shows.")
        code = str(request.path_params.get("code", ""))
        if not hmac.compare_digest(code.encode(), door.code.encode()):
            return refused(request, 403, "This is not the address that the computer shows.")
        return None

    def knows(request: Request) -> bool:
        given = request.cookies.get("sheet", "")
        return bool(door.token) and hmac.compare_digest(given.encode("utf-8", "replace"), door.token.encode())

    async def page(request: Request) -> Response:
        wrong = problem(request)
        if wrong is not None:
            return wrong
        answer = Response(_PAGE, headers=HEADERS, media_type="text/html")
        if not knows(request):
            if door.token:
                return refused(request, 403, "This code was used already, by another device.")
            door.token = secrets.token_urlsafe(24)
            answer.set_cookie("sheet", door.token, httponly=True, samesite="strict", path=f"/{door.code}/")
        return answer

    async def part(request: Request) -> Response:
        wrong = problem(request)
        if wrong is None and not knows(request):
            wrong = refused(request, 403, "This code was used already, by another device.")
        if wrong is not None:
            return wrong
        kind, text = _PARTS[request.url.path.rsplit("/", 1)[-1]]
        return Response(text, headers=HEADERS, media_type=kind)

    async def photo(request: Request) -> Response:
        wrong = problem(request)
        if wrong is None and not knows(request):
            wrong = refused(request, 403, "This code was used already, by another device.")
        if wrong is None and request.headers.get("origin") != f"http://{door.host}":
            wrong = refused(request, 403, "Another page may not send anything here.")
        if wrong is None and request.headers.get("content-type") != "application/octet-stream":
            wrong = refused(request, 415, "This is no photograph.")
        if wrong is None and len(door.sent) >= MOST_PHOTOS:
            wrong = refused(request, 413, "These are enough photographs for one code.")
        if wrong is not None:
            return wrong
        name = request.query_params.get("name", "photo.jpg")[:200]
        try:
            file = await keep_scan_to_read(door.hand, name, _parts(request), LARGEST_PHOTO)
        except TooLargeError as error:
            return JSONResponse({"error": str(error)}, 413, HEADERS)
        except OwnhandError as error:
            return JSONResponse({"error": str(error)}, 422, HEADERS)
        except ClientDisconnect:  # out of the network's reach: nobody is there to be answered
            return Response(status_code=400, headers=HEADERS)
        door.sent.append(file.name)
        kept(file.name)
        return JSONResponse({"kept": file.name}, headers=HEADERS)

    async def nothing(request: Request, error: Exception) -> Response:
        return refused(request, 403, "There is nothing here.")

    routes = [
        Route("/{code}/", page, methods=["GET"]),
        Route("/{code}/photo.js", part, methods=["GET"]),
        Route("/{code}/photo.css", part, methods=["GET"]),
        Route("/{code}/photo", photo, methods=["POST"]),
    ]
    return Starlette(routes=routes, exception_handlers={404: nothing, 405: nothing})


def _parts(request: Request) -> AsyncIterator[bytes]:
    return request.stream()


_CLOSED = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Closed</title>
<main>
<h1>Closed</h1>
<p>{{words}}</p>
</main>
</html>
"""

_PAGE = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Photographs of a sheet</title>
<link rel="stylesheet" href="photo.css">
<script src="photo.js" defer></script>
<main>
<h1>Photographs of a sheet</h1>
<p>Lay the page flat, in even light; take all of it, edges included, from straight above. One photograph a page.</p>
<label for="photo">Take or choose photographs</label>
<input id="photo" type="file" accept="image/*,application/pdf" multiple>
<div role="status"><ul id="sent"></ul></div>
</main>
</html>
"""

_PARTS = {
    "photo.css": (
        "text/css",
        "body{margin:0;background:#f3f0e8;color:#1c2733;font:18px/1.5 system-ui,sans-serif}main{padding:20px;"
        "max-width:34rem;margin:auto}h1{font:600 1.5rem/1.2 serif}label{display:block;margin-top:1rem;"
        "font-weight:600}input{display:block;width:100%;padding:18px 8px;font:inherit;border:1px solid #5f7c82;"
        "border-radius:3px;background:#fffdf8;box-sizing:border-box}:focus-visible{outline:3px solid #b36b00}",
    ),
    "photo.js": (
        "text/javascript",
        """const field = document.getElementById("photo"), list = document.getElementById("sent");
field.addEventListener("change", async () => {
  for (const file of field.files) {
    const line = document.createElement("li");
    line.textContent = file.name + ": on its way …";
    list.append(line);
    try {
      const answer = await fetch("photo?" + new URLSearchParams({ name: file.name }), {
        method: "POST", headers: { "content-type": "application/octet-stream" }, body: file });
      const body = answer.headers.get("content-type").includes("json") ? await answer.json() : {};
      line.textContent = answer.ok ? file.name + ": arrived" : (body.error || file.name + ": was not taken");
    } catch { line.textContent = file.name + ": did not arrive; the computer does not answer"; }
  }
  field.value = "";
});
""",
    ),
}
