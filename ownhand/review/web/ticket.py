"""An address that is good once, to hand to a browser: its arguments are read by everybody on the machine."""

from __future__ import annotations

import secrets
import time

from starlette.types import ASGIApp, Receive, Scope, Send

GOOD_S = 120.0
"""How long a ticket is good; a browser may take long to start."""

PREFIX = "/open/"


class Tickets:
    """ASGI middleware that takes a ticket and sends on to the address that it stands for.

    Parameters
    ----------
    app
        What answers everything else.
    hosts
        What may stand in Host.
    """

    def __init__(self, app: ASGIApp, *, hosts: tuple[str, ...]) -> None:
        self.app, self.hosts = app, hosts
        self._good: dict[str, tuple[str, float]] = {}

    def new(self, path: str) -> str:
        """Return a path that leads to `path`, once."""
        ticket = secrets.token_urlsafe(18)
        self._good[ticket] = (path, time.monotonic() + GOOD_S)
        return PREFIX + ticket

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        path = scope.get("path", "")
        if scope["type"] != "http" or not path.startswith(PREFIX) or scope["method"] != "GET":
            await self.app(scope, receive, send)
            return
        hosts = [value.decode("latin-1").lower() for name, value in scope["headers"] if name == b"host"]
        found = self._good.pop(path[len(PREFIX) :], None) if len(hosts) == 1 and hosts[0] in self.hosts else None
        good = found is not None and time.monotonic() < found[1]
        headers = [(b"cache-control", b"no-store"), (b"referrer-policy", b"no-referrer"), (b"content-length", b"0")]
        if found is not None and good:
            headers.append((b"location", found[0].encode("latin-1")))
        await send({"type": "http.response.start", "status": 303 if good else 403, "headers": headers})
        await send({"type": "http.response.body", "body": b""})
