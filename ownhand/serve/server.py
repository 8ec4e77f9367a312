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
from collections import Counter
from collections.abc import Awaitable, Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from typing import Any
from urllib.parse import quote

from capture.errors import MissingLibraryError, OwnhandError, UsageError
from fontbuild.font import Font
from ownhand.composer import Composer
from ownhand.composer.formats import MEDIA_TYPES, page_bytes
from ownhand.composer.merge.workers import watch_parent
from ownhand.composer.plot.motion import effort
from ownhand.serve.description import description
from ownhand.serve.encoding import encoded, takes_gzip
from ownhand.serve.request import Limits, Order, RefusalError, order_from, parsed

try:
    import uvicorn
    from starlette.applications import Starlette
    from starlette.exceptions import HTTPException
    from starlette.middleware import Middleware
    from starlette.middleware.trustedhost import TrustedHostMiddleware
    from starlette.requests import Request
    from starlette.responses import JSONResponse, Response
    from starlette.routing import Route
except ImportError as error:  # pragma: no cover - depends on what is installed
    raise MissingLibraryError(
        "serve", f"the library '{error.name}' is not installed", "Install it with: pip install 'ownhand[serve]'"
    ) from None

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")


def serve(
    hands: Mapping[str, Font],
    *,
    host: str = "127.0.0.1",
    port: int = 8214,
    token: str | None = None,
    workers: int = 0,
    limits: Limits | None = None,
) -> None:
    """Answer requests until the process is told to stop.

    Raises
    ------
    UsageError
        If another address than loopback is asked for without a token, or there is no hand.
    """
    app = make_app(hands, host=host, token=token, workers=workers, limits=limits)
    uvicorn.run(app, host=host, port=port, log_level="warning", server_header=False, timeout_keep_alive=15)


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
    if not is_loopback(host) and not token:
        raise UsageError("serve", f"'{host}' can be reached from elsewhere and no token was set", "Set a token.")
    desk = _Desk(dict(hands), token, workers or os.cpu_count() or 1, limits or Limits())
    routes = [
        Route("/hands", desk.guarded(desk.list_hands), methods=["GET"]),
        Route("/hands/{hand}/pages", desk.guarded(desk.page), methods=["POST"]),
        Route("/hands/{hand}/check", desk.guarded(desk.check), methods=["POST"]),
        Route("/openapi.json", desk.describe, methods=["GET"]),
    ]
    # a page from elsewhere, opened in a browser on this machine, must not reach us by a name of its own
    middleware = [Middleware(TrustedHostMiddleware, allowed_hosts=list(LOOPBACK_NAMES))] if is_loopback(host) else []
    return Starlette(
        routes=routes, middleware=middleware, exception_handlers={HTTPException: _said, Exception: _failed},
        lifespan=desk.lifespan,
    )  # fmt: skip


async def _said(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse(
        {"error": f"{request.method} {request.url.path}: {error.detail}"}, error.status_code, error.headers
    )


async def _failed(request: Request, error: Exception) -> Response:
    return JSONResponse({"error": f"the page could not be made ({type(error).__name__})"}, 500)


Handler = Callable[[Request], Awaitable[Response]]


class _Desk:
    """Takes requests, checks them, and has them worked on."""

    def __init__(self, hands: dict[str, Font], token: str | None, workers: int, limits: Limits) -> None:
        self._hands, self._token, self._workers, self._limits = hands, token, workers, limits
        self._pool: ProcessPoolExecutor | None = None
        self._inside = 0

    def lifespan(self, app: Starlette) -> Any:
        from contextlib import asynccontextmanager

        @asynccontextmanager
        async def live(app: Starlette) -> Any:
            self._pool = self._new_pool()
            loop = asyncio.get_running_loop()
            await asyncio.gather(*(loop.run_in_executor(self._pool, _ready) for _ in range(self._workers)))
            yield
            self._pool.shutdown(cancel_futures=True)

        return live(app)

    def _new_pool(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(self._workers, initializer=_begin, initargs=(self._hands,))

    def guarded(self, handler: Handler) -> Handler:
        """Return a handler that asks for the token first and answers refusals in one line."""

        async def answer(request: Request) -> Response:
            try:
                self._ask_token(request)
                return await handler(request)
            except RefusalError as refusal:
                headers = {401: {"WWW-Authenticate": "Bearer"}, 503: {"Retry-After": "2"}}.get(refusal.status)
                return JSONResponse({"error": refusal.line}, refusal.status, headers)

        return answer

    def _ask_token(self, request: Request) -> None:
        given = request.headers.get("authorization", "").encode()
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
        gzipped = takes_gzip(request.headers.get("accept-encoding", ""))
        data, headers = await self._worked(partial(_make_page, gzipped=gzipped), order)
        return Response(data, media_type=MEDIA_TYPES[order.format], headers=headers)

    async def check(self, request: Request) -> Response:
        return JSONResponse(await self._worked(_make_check, await self._order(request)))

    async def _worked(self, task: Callable[[Order], Any], order: Order) -> Any:
        if self._inside >= self._limits.waiting:
            raise RefusalError(503, f"{self._inside} requests are waiting; come back in a moment")
        assert self._pool is not None
        self._inside += 1
        try:
            job = asyncio.get_running_loop().run_in_executor(self._pool, task, order)
            return await asyncio.wait_for(job, self._limits.seconds)
        except OwnhandError as error:
            raise RefusalError(422, str(error)) from None
        except TimeoutError:
            raise RefusalError(503, f"not done within {self._limits.seconds:g} s; shorten the text") from None
        except BrokenProcessPool:
            self._pool = self._new_pool()
            raise RefusalError(503, "a worker was lost; come back in a moment") from None
        finally:
            self._inside -= 1

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
        async for part in request.stream():
            size += len(part)
            if size > self._limits.body_bytes:
                raise RefusalError(413, f"the request is larger than {self._limits.body_bytes} bytes")
            parts.append(part)
        return b"".join(parts)


# ------------------------------------------------------------------------------------- in the workers' processes

_composers: dict[str, Composer] = {}


def _begin(hands: dict[str, Font]) -> None:
    _composers.update({name: Composer(font) for name, font in hands.items()})
    watch_parent()


def _ready() -> None:
    """Do nothing: called once for each worker, so that the first request need not wait for it to start."""


def _make_page(order: Order, *, gzipped: bool) -> tuple[bytes, dict[str, str]]:
    made = _composers[order.hand].compose(order.text, order.settings, order.seed)
    if not 1 <= order.page <= len(made.pages):
        raise UsageError("page", f"there is no page {order.page}, the text fills {len(made.pages)}", "")
    data = page_bytes(made.pages[order.page - 1], order.format, order.machine, dpi=order.dpi)
    headers = {"Page-Count": str(len(made.pages)), "Missing-Characters": str(sum(made.missing.values()))}
    if made.missing:
        # a header holds ASCII only: each character's UTF-8 in per cents (RFC 3986, 2.1)
        headers["Missing"] = ", ".join(
            f"{quote(char, safe='')};times={n}" for char, n in Counter(made.missing).most_common()
        )
    data, said = encoded(data, MEDIA_TYPES[order.format], gzipped=gzipped)
    return data, headers | said


def _make_check(order: Order) -> dict[str, Any]:
    made = _composers[order.hand].compose(order.text, order.settings, order.seed)
    efforts = [effort(page, order.machine) for page in made.pages[:50]]
    return {
        "pages": len(made.pages),
        "notices": [str(n) for n in made.notices],
        "missing": dict(made.missing),
        "x_height_mm": {box: round(size, 3) for box, size in made.x_height_mm.items()},
        "plotting": [
            {
                "seconds": round(e.seconds, 1),
                "ink_mm": round(e.ink_mm),
                "travel_mm": round(e.travel_mm),
                "lifts": e.lifts,
            }
            for e in efforts
        ],
    }
