"""The workroom's application: the list of hands, and a room for each; what reaches it was let in by `access.Guard`."""

from __future__ import annotations

import re
import threading
from importlib import resources
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route, Router
from starlette.types import Receive, Scope, Send

from capture.errors import OwnhandError
from ownhand.hands.hand import Hand
from ownhand.review.web.access import is_navigation, refusal, refusal_page
from ownhand.review.web.answers import Answer, reading, writing
from ownhand.review.web.app import review_routes
from ownhand.validation import Place
from ownhand.workroom.drop import LARGEST_DRAWING, LARGEST_SCAN, LARGEST_TABLE
from ownhand.workroom.folder import Folder, address_of, hands_view
from ownhand.workroom.room import Room
from ownhand.workroom.routes import room_routes

KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}

_TAKES_FILES = {"api/drop": LARGEST_SCAN, "api/table/drop": LARGEST_TABLE, "api/drawing/drop": LARGEST_DRAWING}


def takes_files(path: str) -> int:
    """Return how many bytes a file may have that is sent to `path`; 0: it takes JSON."""
    found = re.fullmatch(r"/hand/[A-Za-z0-9_-]{1,60}/(api/[a-z/]+)", path)
    return _TAKES_FILES.get(found[1], 0) if found else 0


def static_files() -> dict[str, tuple[str, bytes]]:
    """Return the pages' own files by 'room/name': type and content. Nothing else can be asked for."""
    out = {}
    for package in ("ownhand.review", "ownhand.workroom"):
        for room in (resources.files(package) / "static").iterdir():
            for item in room.iterdir() if room.is_dir() else ():
                suffix = item.name[item.name.rfind(".") :]
                if suffix in KINDS:
                    out[f"{room.name}/{item.name}"] = (KINDS[suffix], item.read_bytes())
    return out


def _document(name: str) -> bytes:
    return (resources.files("ownhand.workroom") / "static" / name).read_bytes()


class Workroom:
    """All rooms of one folder, opened as they are first asked for."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._rooms: dict[str, tuple[Room, Router]] = {}

    def room(self, key: str) -> Router | None:
        """Return what answers for a hand; None where there is no such hand.

        Raises
        ------
        OwnhandError
            If the hand's files do not hold together.
        """
        with self._lock:
            path = self.folder.hands().get(key)
            if path is None:
                return None
            if key not in self._rooms:
                room = Room(path)
                routes = [Route("/", _hand_page), *room_routes(room), *review_routes(room.hand)]
                self._rooms[key] = room, Router(routes, redirect_slashes=False)
            return self._rooms[key][1]

    def begin(self, place: Place) -> Answer:
        """Begin a new hand."""
        hand = self.folder.begin(place)
        return {"id": address_of(hand.path), **hands_view(self.folder)}

    def close(self) -> None:
        """End all that is going on."""
        for room, _ in self._rooms.values():
            room.close()

    async def hand(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer for one hand, at `/hand/<id>/…`."""
        key, _, rest = scope["path"].removeprefix("/hand/").partition("/")
        try:
            router = self.room(key)
        except OwnhandError as error:
            status, told = 422, (error.where, error.what, error.remedy)
        else:
            if router is not None:
                await router({**scope, "path": f"/{rest}", "app": scope["app"]}, receive, send)
                return
            # it may have been: a page stays open while its hand's folder is moved
            status, told = 404, (f"hand '{key[:80]}'", "is not in this folder", "Look among the hands that are.")
        page, body = Response(refusal_page(*told), status, media_type="text/html"), JSONResponse(refusal(*told), status)
        await (page if is_navigation(scope) else body)(scope, receive, send)


def _hand_page(request: Request) -> Response:
    return Response(_document("hand.html"), media_type="text/html", headers={"cache-control": "no-cache"})


def make_app(workroom: Workroom) -> Starlette:
    """Return the application; it trusts what reaches it."""
    files = static_files()

    def page(request: Request) -> Response:
        return Response(_document("hands.html"), media_type="text/html", headers={"cache-control": "no-cache"})

    def static(request: Request) -> Response:
        name = f"{request.path_params['room']}/{request.path_params['name']}"
        if name not in files:
            raise HTTPException(404)
        kind, content = files[name]
        return Response(content, media_type=kind, headers={"cache-control": "no-cache"})

    def hands(request: Request) -> Answer:
        return hands_view(workroom.folder)

    class Hands:
        """Hands everything under `/hand/` on; a class, because that is how Starlette tells it from an endpoint."""

        async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
            await workroom.hand(scope, receive, send)

    routes = [
        Route("/", page),
        Route("/static/{room}/{name}", static),
        Route("/api/hands", reading(hands)),
        Route("/api/hands/new", writing(workroom.begin), methods=["POST"]),
        Route("/hand/{rest:path}", Hands(), methods=["GET", "HEAD", "POST"]),
    ]
    return Starlette(routes=routes, exception_handlers={404: _not_found, 405: _not_found})


async def _not_found(request: Request, error: Exception) -> Response:
    status = getattr(error, "status_code", 404)
    where, what = request.url.path[-80:], "is not one of the page's addresses"
    if is_navigation(request.scope):
        return Response(refusal_page(where, what), status, media_type="text/html")
    return JSONResponse(refusal(where, what), status)


def opened(path: Path) -> tuple[Workroom, str]:
    """Return the workroom of a folder of hands, or of the folder that a hand is in, and the address to begin at."""
    if (path / "hand.json").is_file():
        resolved = path.resolve()
        return Workroom(Folder(resolved.parent)), f"hand/{address_of(resolved)}/"
    return Workroom(Folder(path.resolve())), ""


def check_letters(hand: Hand | None) -> None:
    """Raise OwnhandError unless the hand's letters can be opened: said before the browser is."""
    if hand is not None:
        review_routes(hand)
