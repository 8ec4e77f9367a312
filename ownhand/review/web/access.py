"""Who may talk to the page: this machine's own browser, with the address that was handed out, and nobody else.

A web page from elsewhere can make the browser send requests to loopback addresses. So every request must carry the
random key in its path, name the server it meant (Host; against DNS rebinding), and, if it changes something, come from
our own page (Origin; RFC 6454) as JSON of bounded size, or as a file to one of the few addresses that take files.
Nothing is loaded from outside (Content Security Policy, level 3).
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable
from html import escape

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
    """Return the body of every answer that refuses something: in the three parts of all our messages.

    What a command names by its option the page names without the dashes.
    """
    return {"error": {"where": where.removeprefix("--"), "what": what, "remedy": remedy}}


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
    takes_files
        Returns for a path (without the key) how many bytes a file that is sent there may have; 0: it takes JSON.
    """

    def __init__(
        self, app: ASGIApp, *, key: str, hosts: tuple[str, ...], takes_files: Callable[[str], int] = lambda path: 0
    ) -> None:
        self.app, self.key, self.hosts, self.takes_files = app, key, hosts, takes_files

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
        path = scope["path"][len(self.key) + 1 :]
        inner = {**scope, "path": path, "raw_path": b"", "root_path": ""}
        most = 0 if problem else self.takes_files(path)
        if most:
            # Files go to the disk as they come; whoever takes them ends at `most` bytes.
            await self.app({**inner, "state": {"most_bytes": most}}, receive, with_headers)
            return
        body = b"" if problem else await _whole_body(receive)
        if body is None:
            problem = (413, *_TOO_LARGE)
        if problem:
            await _answer(with_headers, *problem, page=is_navigation(scope))
            return
        given = False

        async def once() -> Message:
            nonlocal given
            if given:
                return await receive()
            given = True
            return {"type": "http.request", "body": body, "more_body": False}

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
        if scope["method"] != "POST":
            return None
        if not origin:
            return 403, "Origin", "is missing", "Only the page itself may change things."
        return _problem_of_body(headers, self.takes_files(f"/{rest}"))


def _problem_of_body(headers: dict[bytes, bytes], most: int) -> tuple[int, str, str, str] | None:
    """Return what is wrong with what a body says of itself; `most`: bytes of a file, 0 where JSON is expected."""
    expected = b"application/octet-stream" if most else b"application/json"
    if headers.get(b"content-type", b"").split(b";")[0].strip().lower() != expected:
        return 415, "Content-Type", f"expected {expected.decode()}", ""
    length = headers.get(b"content-length", b"0")
    if not length.isdigit() or len(length) > 12:
        return 400, "Content-Length", "is not a number", ""
    if most and int(length) > most:
        return 413, "file", f"is larger than {most // 1024**2} MB", "Nothing was kept. Save it smaller, or split it."
    return (413, *_TOO_LARGE) if int(length) > MOST_DROPPED and not most else None


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


def is_navigation(scope: Scope) -> bool:
    """Return whether a person's browser wants to show what is answered as a page of its own."""
    headers = dict(scope["headers"])
    mode = headers.get(b"sec-fetch-mode")
    return mode == b"navigate" if mode else b"text/html" in headers.get(b"accept", b"")


def refusal_page(where: str, what: str, remedy: str = "") -> bytes:
    """Return a refusal as a small page, for somebody who typed an address."""
    words = " ".join(part for part in (f"{where}: {what}.", remedy) if part)
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Nothing here</title>'
        f"<main><h1>There is nothing to see at this address</h1><p>{escape(words)}</p>"
        "<p>Use the address that the command printed, or start it again: <code>ownhand open</code></p></main></html>"
    ).encode()


async def _answer(send: Send, status: int, where: str, what: str, remedy: str, *, page: bool) -> None:
    body = refusal_page(where, what, remedy) if page else json.dumps(refusal(where, what, remedy)).encode()
    headers = [
        (b"content-type", b"text/html; charset=utf-8" if page else b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
