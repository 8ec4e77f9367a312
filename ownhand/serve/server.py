"""The back end: text and settings in by HTTP, ready-to-plot pages out. Needs the optional extra 'serve'.

    GET  /hands                 the hands there are
    POST /hands/NAME/pages      one page as a file
    POST /hands/NAME/check      what the text would become: pages, notices, plotting time
    GET  /openapi.json          all of this, for machines

The same request gives the same bytes. Loopback only unless another address is asked for, and then only with a token.
Put a server with TLS in front of it before anything leaves the house.
"""

from __future__ import annotations

import asyncio
import hmac
import ipaddress
import os
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from capture.errors import MissingLibraryError, OwnhandError, UsageError
from capture.limits import is_plain
from fontbuild.font import Font
from ownhand.composer.formats import MEDIA_TYPES
from ownhand.serve.description import description
from ownhand.serve.encoding import encoded, takes_gzip
from ownhand.serve.pool import Pool
from ownhand.serve.request import Limits, Order, RefusalError, order_from, parsed

try:
    import uvicorn
    from starlette.applications import Starlette
    from starlette.exceptions import HTTPException
    from starlette.middleware import Middleware
    from starlette.requests import ClientDisconnect, Request
    from starlette.responses import JSONResponse, Response
    from starlette.routing import Route
    from starlette.types import ASGIApp, Receive, Scope, Send

    from ownhand.connections import BoundedProtocol, listening_on, more_files, peer
except ImportError as error:  # pragma: no cover - depends on what is installed
    raise MissingLibraryError(
        "serve", f"the library '{error.name}' is not installed", "Install it with: pip install 'ownhand[serve]'"
    ) from None

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")


HOW: dict[str, Any] = {
    "http": BoundedProtocol,
    "ws": "none",
    "server_header": False,
    "timeout_keep_alive": 15,
    "timeout_graceful_shutdown": 2,
    "h11_max_incomplete_event_size": 16_384,
}
"""How uvicorn runs the application."""


def serve(
    hands: Mapping[str, Font],
    *,
    host: str = "127.0.0.1",
    port: int = 8214,
    token: str | None = None,
    workers: int = 0,
    limits: Limits | None = None,
    announce: Callable[[int], None] = lambda port: None,
) -> None:
    """Answer requests until the process is told to stop.

    Parameters
    ----------
    announce
        Called with the port as soon as clients can connect.

    Raises
    ------
    UsageError
        If another address than loopback is asked for without a token, there is no hand, or the port cannot be used.
    OwnhandError
        If the workers cannot be started.
    """
    app = make_app(hands, host=host, token=token, workers=workers, limits=limits)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", **HOW))
    desk: _Desk = app.state.desk
    desk.give_up = lambda: setattr(server, "should_exit", True)
    more_files()
    with listening_on(host, port, what="--port", advice="Take another: --port.") as listening:
        announce(listening.getsockname()[1])
        server.run(sockets=[listening])
    if desk.fault is not None:
        raise desk.fault


def is_loopback(host: str) -> bool:
    """Return whether only this machine can reach an address.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("0.0.0.0")
    (True, False)
    """
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def is_token(token: str) -> bool:
    """Return whether a header can bear the token and nobody has it by chance of an empty file."""
    return 0 < len(token) <= 500 and is_plain(token, 500) and not any(c.isspace() for c in token)


def make_app(
    hands: Mapping[str, Font],
    *,
    host: str = "127.0.0.1",
    token: str | None = None,
    workers: int = 0,
    limits: Limits | None = None,
) -> Starlette:
    """Return the application; see `serve`.

    Raises
    ------
    UsageError
        If there is no hand, or an address beyond loopback has no token.
    """
    if not hands:
        raise UsageError("serve", "no hand was given", "Give at least one.")
    if token is not None and not is_token(token):
        remedy = "Put one line of 1 to 500 letters, digits and signs without spaces into its file."
        raise UsageError("serve", "the token is empty, has spaces, or is too long", remedy)
    if not is_loopback(host) and not token:
        what = f"'{host}' can be reached from elsewhere and no token was set"
        raise UsageError("serve", what, "Give --token-file FILE.")
    desk = _Desk(dict(hands), token, workers or os.cpu_count() or 1, limits or Limits())
    routes = [
        Route("/hands", desk.guarded(desk.list_hands), methods=["GET"]),
        Route("/hands/{hand}/pages", desk.guarded(desk.page), methods=["POST"]),
        Route("/hands/{hand}/check", desk.guarded(desk.check), methods=["POST"]),
        Route("/openapi.json", desk.describe, methods=["GET"]),
    ]
    # a page from elsewhere, opened in a browser on this machine, must not reach us by a name of its own
    middleware = [Middleware(_OwnNames)] if is_loopback(host) else []
    app = Starlette(
        routes=routes, middleware=middleware, exception_handlers={HTTPException: _said, Exception: _failed},
        lifespan=desk.lifespan,
    )  # fmt: skip
    app.state.desk = desk
    return app


class _OwnNames:
    """ASGI middleware that lets through what names this machine in Host: an address of IPv6, too, with its port."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        host = next((v.decode("latin-1").lower() for k, v in scope.get("headers", ()) if k == b"host"), "")
        name = host if host.endswith("]") else host.rpartition(":")[0] or host
        if scope["type"] == "http" and name not in LOOPBACK_NAMES:
            error = f"Host '{host[:80]}' is not this machine; use {', '.join(LOOPBACK_NAMES)}"
            await JSONResponse({"error": error}, 400)(scope, receive, send)
            return
        await self._app(scope, receive, send)


async def _said(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse(
        {"error": f"{request.method} {request.url.path}: {error.detail}; GET /openapi.json tells what can be asked"},
        error.status_code,
        error.headers,
    )


async def _failed(request: Request, error: Exception) -> Response:
    return JSONResponse({"error": f"the page could not be made ({type(error).__name__})"}, 500)


Handler = Callable[[Request], Awaitable[Response]]

RETRY_S = "2"

LARGE_BYTES, PAUSE_S = 10_000, 0.5
"""The refusal of a larger order is held back so long: reading and checking it takes 10 ms of everybody's."""


class _Desk:
    """Takes requests, checks them, and has them worked on."""

    def __init__(self, hands: dict[str, Font], token: str | None, workers: int, limits: Limits) -> None:
        self._hands, self._token, self._limits = hands, token, limits
        self._pool = Pool(
            hands, light=workers, heavy=max(1, workers // 2), seconds=limits.seconds, waiting=limits.waiting,
            each=limits.waiting_each,
        )  # fmt: skip
        self.fault: OwnhandError | None = None
        """Why the workers could not be started."""

        self.give_up: Callable[[], None] = lambda: None
        """Called then: ends the server."""

    def lifespan(self, app: Starlette) -> Any:
        from contextlib import asynccontextmanager

        @asynccontextmanager
        async def live(app: Starlette) -> Any:
            try:
                try:
                    await self._pool.start()
                except OwnhandError as error:  # not raised here, where it would become a row of lines in the log
                    self.fault = error
                    self.give_up()
                yield
            finally:
                await self._pool.stop()

        return live(app)

    def guarded(self, handler: Handler) -> Handler:
        """Return a handler that asks for the token first and answers refusals in one line."""

        async def answer(request: Request) -> Response:
            try:
                self._ask_token(request)
                return await handler(request)
            except RefusalError as refusal:
                if getattr(request.state, "is_large", False):
                    # who sends large orders that come to nothing, one after the other, takes nobody else's turn
                    await asyncio.sleep(PAUSE_S)
                headers = {401: {"WWW-Authenticate": "Bearer"}}.get(refusal.status)
                if refusal.status in (429, 503):
                    headers = {"Retry-After": RETRY_S}
                return JSONResponse({"error": refusal.line}, refusal.status, headers)
            except asyncio.CancelledError:
                # told to stop while it was worked on: an answer, not a row of lines in the log
                return JSONResponse({"error": "the service is stopping"}, 503, {"Retry-After": RETRY_S})

        return answer

    def _ask_token(self, request: Request) -> None:
        # as it came over the wire: Starlette takes the bytes for Latin-1
        given = request.headers.get("authorization", "").encode("latin-1")
        if self._token and not hmac.compare_digest(given, f"Bearer {self._token}".encode()):
            raise RefusalError(401, "the header 'Authorization: Bearer TOKEN' is missing or wrong")

    async def describe(self, request: Request) -> Response:
        return JSONResponse(description(sorted(self._hands), self._limits, needs_token=bool(self._token)))

    async def list_hands(self, request: Request) -> Response:
        return JSONResponse({
            "hands": [
                {
                    "name": name,
                    "family": font.record.family,
                    "characters": "".join(sorted(c for c in font.glyphs if c.strip())),
                    "x_height_mm": round(font.metrics.x_height * font.mm_per_unit, 3),
                }
                for name, font in sorted(self._hands.items())
            ]
        })  # fmt: skip

    async def page(self, request: Request) -> Response:
        order = await self._order(request)
        data, headers = await self._worked("page", order, request)
        gzipped = takes_gzip(request.headers.get("accept-encoding", ""))
        data, said = await asyncio.to_thread(encoded, data, MEDIA_TYPES[order.format], gzipped=gzipped)
        headers |= said
        return Response(data, media_type=MEDIA_TYPES[order.format], headers=headers)

    async def check(self, request: Request) -> Response:
        return JSONResponse(await self._worked("check", await self._order(request), request))

    async def _worked(self, task: str, order: Order, request: Request) -> Any:
        heavy = order.cost(self._hands[order.hand].glyphs) > self._limits.light_cost
        return await self._pool.work(task, order, client=peer(request.scope), heavy=heavy)

    async def _order(self, request: Request) -> Order:
        """Return the request, checked.

        Raises
        ------
        RefusalError
            With what is wrong with it.
        """
        hand = request.path_params["hand"]
        if hand not in self._hands:
            raise RefusalError(404, f"there is no hand '{hand}'; GET /hands lists them")
        kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
        if kind != "application/json":
            raise RefusalError(415, f"expected Content-Type application/json, found '{kind}'")
        data = parsed(await self._body(request))
        known = ("text", "settings", "seed", "format", "page", "machine", "dpi")
        for key in data:
            if key not in known:
                raise RefusalError(422, f"{key[:40]}: no such key (known: {', '.join(known)})")
        return order_from(hand, data, self._limits)

    async def _body(self, request: Request) -> bytes:
        parts, size = [], 0
        try:
            async with asyncio.timeout(self._limits.sending_s):
                async for part in request.stream():
                    size += len(part)
                    if size > self._limits.body_bytes:
                        raise RefusalError(413, f"the request is larger than {self._limits.body_bytes} bytes")
                    parts.append(part)
        except TimeoutError:
            raise RefusalError(408, f"the request did not come within {self._limits.sending_s:g} s") from None
        except ClientDisconnect:
            raise RefusalError(400, "the client left") from None
        request.state.is_large = size > LARGE_BYTES
        return b"".join(parts)
