"""Who may talk to the page: this machine's own browser, with the address that was handed out, and nobody else.

A web page from elsewhere can make the browser send requests to loopback addresses. So every request must carry the
random key in its path, name the server it meant (Host; against DNS rebinding), and, if it changes something, come from
our own page (Origin; RFC 6454) as JSON of bounded size. Nothing is loaded from outside (Content Security Policy,
level 3).
"""

from __future__ import annotations

import json
import secrets

from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 2 * 1024 * 1024
"""Bytes; a stroke drawn for a minute is under 100 kB."""

MOST_DROPPED = 16 * 1024 * 1024

HEADERS = [
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; "
        b"base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
]


def refusal(where: str, what: str, remedy: str = "") -> dict[str, dict[str, str]]:
    """Return the body of every answer that refuses something: in the three parts of all our messages."""
    return {"error": {"where": where, "what": what, "remedy": remedy}}


class Guard:
    """ASGI middleware that lets through what may come in.

    Parameters
    ----------
    app
        What answers; it sees paths without the key.
    key
        The secret part of the address.
    hosts
        What may stand in Host: '127.0.0.1:8000'.
    """

    def __init__(self, app: ASGIApp, *, key: str, hosts: tuple[str, ...]) -> None:
        self.app, self.key, self.hosts = app, key, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message["headers"], *HEADERS]}
            await send(message)

        problem = self._problem(scope)
        body = b"" if problem else await _whole_body(receive)
        if body is None:
            problem = (413, *_TOO_LARGE)
        if problem:
            await _answer(with_headers, *problem)
            return
        given = False

        async def once() -> Message:
            nonlocal given
            if given:
                return await receive()
            given = True
            return {"type": "http.request", "body": body, "more_body": False}

        inner = {**scope, "path": scope["path"][len(self.key) + 1 :], "raw_path": b"", "root_path": ""}
        await self.app(inner, once, with_headers)

    def _problem(self, scope: Scope) -> tuple[int, str, str, str] | None:
        headers: dict[bytes, bytes] = dict(scope["headers"])
        host = headers.get(b"host", b"").decode("latin-1").lower()
        if sum(name == b"host" for name, _ in scope["headers"]) != 1 or host not in self.hosts:
            return 403, "Host", "is not this server", "Use the address that the command printed."
        path, raw = scope["path"], scope.get("raw_path") or scope["path"].encode()
        key, slash, rest = path[1:].partition("/")
        if not slash or not secrets.compare_digest(key.encode("utf-8", "replace"), self.key.encode()):
            return 403, "address", "lacks its key", "Use the whole address that the command printed."
        if b"%" in raw or "\\" in path or "//" in path or any(part in (".", "..") for part in rest.split("/")):
            return 404, "path", "is not one of ours", ""
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "method", f"{scope['method'][:10]} is not allowed", ""
        origin = headers.get(b"origin", b"").decode("latin-1").lower()
        if origin and origin != f"http://{host}":
            return 403, "Origin", "another page may not talk to this one", ""
        site, mode = headers.get(b"sec-fetch-site", b""), headers.get(b"sec-fetch-mode", b"")
        if site in (b"cross-site", b"same-site") and mode != b"navigate":
            return 403, "Sec-Fetch-Site", "another page may not talk to this one", ""
        return self._problem_of_body(scope["method"], origin, headers)

    def _problem_of_body(
        self, method: str, origin: str, headers: dict[bytes, bytes]
    ) -> tuple[int, str, str, str] | None:
        if method != "POST":
            return None
        if not origin:
            return 403, "Origin", "is missing", "Only the page itself may change things."
        if headers.get(b"content-type", b"").split(b";")[0].strip().lower() != b"application/json":
            return 415, "Content-Type", "expected application/json", ""
        length = headers.get(b"content-length", b"0")
        if not length.isdigit() or len(length) > 12:
            return 400, "Content-Length", "is not a number", ""
        return (413, *_TOO_LARGE) if int(length) > MOST_DROPPED else None


async def _whole_body(receive: Receive) -> bytes | None:
    """Return the body, None if it is too large; a sender who leaves has sent nothing.

    What is too large is read on for a while and dropped, so that a browser hears the answer instead of a broken pipe.
    """
    parts, size, more = [], 0, True
    while more:
        message = await receive()
        if message["type"] != "http.request":
            return b""
        part = message.get("body", b"")
        size += len(part)
        if size <= LARGEST_BODY:
            parts.append(part)
        elif size > MOST_DROPPED:
            return None
        more = message.get("more_body", False)
    return b"".join(parts) if size <= LARGEST_BODY else None


_TOO_LARGE = ("body", f"is larger than {LARGEST_BODY // 1024} kB", "Nothing was changed.")


async def _answer(send: Send, status: int, where: str, what: str, remedy: str) -> None:
    body = json.dumps(refusal(where, what, remedy)).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
