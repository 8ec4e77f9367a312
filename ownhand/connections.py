"""Connections of a web server that closes what only stays open: idle ones, slow ones, and too many of them."""

from __future__ import annotations

import contextlib
import socket
from collections import Counter
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

from capture.errors import UsageError

HEAD_S = 10.0
"""In which a request's head must have come, from the opening of the connection or the last answer on."""

WHOLE_S = 75.0
"""In which a request must have been answered, and its answer taken."""

MOST = 400
"""Open connections; for a further one an idle one of the address that has most is closed, the longest idle first. Most
systems give a program 1,024 open files."""

LOOK_S = 1.0

QUEUE = 64
"""Clients that wait for an answer while the server starts."""


class BoundedProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it, with an end to patience."""

    def connection_made(self, transport: Any) -> None:
        """Begin to watch a connection; transport: asyncio's."""
        super().connection_made(transport)
        self._seen: object = None
        self._since = self.loop.time()
        self._look()
        ours = [c for c in self.connections if isinstance(c, BoundedProtocol) and not c.transport.is_closing()]
        if len(ours) > self.most():
            each = Counter(c.address for c in ours)
            idle = [c for c in ours if not c.serving and c is not self]
            (min(idle, key=lambda c: (-each[c.address], c._since)) if idle else self)._drop()

    @property
    def address(self) -> str:
        """The other side's, without its port."""
        return self.client[0] if self.client else ""

    @property
    def serving(self) -> bool:
        """True while a request is being answered."""
        return self.cycle is not None and not self.cycle.response_complete

    def most(self) -> int:
        """Return how many connections may be open."""
        return MOST

    def whole_s(self) -> float:
        """Return how long one request may take."""
        return WHOLE_S

    def _look(self) -> None:
        if self.transport is None or self.transport.is_closing():
            return
        state = (id(self.cycle), self.serving)
        now = self.loop.time()
        if state != self._seen:
            self._seen, self._since = state, now
        elif now - self._since > (self.whole_s() if self.serving else HEAD_S):
            self._drop()
            return
        self.loop.call_later(LOOK_S, self._look)

    def _drop(self) -> None:
        with contextlib.suppress(Exception):
            self.transport.abort()


class PatientProtocol(BoundedProtocol):
    """The same for a person's own pages, where a picture may be sent by a slow network and a font be built."""

    def whole_s(self) -> float:
        """Return how long one request may take."""
        return 20 * WHOLE_S


def listening_on(host: str, port: int, *, what: str, advice: str) -> socket.socket:
    """Return a socket to which clients can connect from now on, so that its address may be told.

    They wait in its queue until the server answers.

    Parameters
    ----------
    port
        0: any free one.
    what, advice
        Whose port it is, and what to do if it cannot be used; for the error's message.

    Raises
    ------
    UsageError
        If the port cannot be used.
    """
    opened = None
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            host, None, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        opened = socket.socket(family, kind, protocol)
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind((address[0], port, *address[2:]))
        opened.listen(QUEUE)
    except (OSError, OverflowError, UnicodeError) as error:  # a name that is none, as 'a..b', is a UnicodeError
        if opened is not None:
            opened.close()
        reason = getattr(error, "strerror", None) or error
        raise UsageError(what, f"port {port} of {host} cannot be used ({reason})", advice) from None
    return opened


def more_files(wanted: int = 4096) -> None:
    """Ask the system for more open files than the usual 1,024, as far as it lets us."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        if soft != resource.RLIM_INFINITY and soft < most:
            resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))


def peer(scope: Any) -> str:
    """Return which client a request comes from, as far as the address in its ASGI `scope` tells."""
    client = scope.get("client")
    return str(client[0]) if client else "local"
