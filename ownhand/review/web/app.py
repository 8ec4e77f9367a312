"""The page's addresses, and what each answers; everything that changes something is a POST of JSON."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Callable
from importlib import resources
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from capture.errors import OwnhandError
from ownhand import validation
from ownhand.hands.hand import Hand
from ownhand.review.edits.operations import OperationError
from ownhand.review.images.contact_strips import strip_png
from ownhand.review.images.ink_images import png
from ownhand.review.session.builder import BuildFailedError
from ownhand.review.session.review_session import ReviewSession, StaleError, UnknownAttemptError
from ownhand.review.session.text_preview import Tryout
from ownhand.review.web import views
from ownhand.review.web.access import refusal
from ownhand.review.web.languages import languages_view, print_missing, printed_file

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}

Answer = dict[str, Any] | Response


def static_files() -> dict[str, tuple[str, bytes]]:
    """Return the page's own files by name: type and content. Nothing else can be asked for."""
    folder = resources.files("ownhand.review") / "static"
    return {
        item.name: (KINDS[item.name[item.name.rindex(".") :]], item.read_bytes())
        for item in folder.iterdir()
        if item.is_file() and item.name[item.name.rfind(".") :] in KINDS
    }


def make_app(hand: Hand) -> Starlette:
    """Return the application for one hand; it trusts what reaches it, see `guard`."""
    book = ReviewSession(hand)
    tryout = Tryout(book)
    files = static_files()

    def page(request: Request) -> Response:
        name = request.path_params.get("name") or "index.html"
        if name not in files:
            return JSONResponse(refusal(name, "is not one of the page's files"), 404)
        kind, content = files[name]
        return Response(content, media_type=kind, headers={"cache-control": "no-cache"})

    async def ink(request: Request) -> Response:
        # Not sent to a thread: there are thousands of these, and each is a look into memory.
        key = request.query_params.get("id", "")
        picture = png(book, key)
        if picture is None:
            return JSONResponse(refusal(key[:200], "there is no ink picture of this attempt"), 404)
        fresh = request.query_params.get("read") == book.read_stamp
        headers = {"cache-control": "private, max-age=86400, immutable" if fresh else "no-store"}
        return Response(picture, media_type="image/png", headers=headers)

    def strip(request: Request) -> Response:
        char = request.query_params.get("char", "")
        with book.lock:
            picture = book.strips.get(char) or strip_png(book, char)
            if picture is not None:
                book.strips[char] = picture
        if picture is None:
            return JSONResponse(refusal(char[:40], "was never asked for"), 404)
        fresh = request.query_params.get("read") == book.read_stamp
        headers = {"cache-control": "private, max-age=86400, immutable" if fresh else "no-store"}
        return Response(picture, media_type="image/png", headers=headers)

    def overview(request: Request) -> Answer:
        book.refresh()
        return views.overview(book, tryout.outliers())

    def character(request: Request) -> Answer:
        book.refresh()
        char = unicodedata.normalize("NFC", request.query_params.get("char", ""))
        return views.character(book, char, tryout.outliers(), tryout.spaced())

    def version(request: Request) -> Answer:
        book.refresh()
        return views.status_view(book)

    def readings(request: Request) -> Answer:
        key = request.query_params.get("id", "")
        book.attempt(key)
        found = book.readings.of(book, key)
        return {"readings": [{"words": r.words, "lines": views.strokes_view(r.strokes)} for r in found]}

    def alike(request: Request) -> Answer:
        key = request.query_params.get("id", "")
        with book.lock:
            return {"others": views.carried_view(book, book.others(key))}

    def judged(request: Request) -> Answer:
        """Build the font, so that attempts unlike the others are known."""
        tryout.build()
        return overview(request)

    def step(place: validation.Place) -> Answer:
        book.take(_version(place), place.of("mends"), place.of("words").text("", 200))
        return views.status_view(book)

    def undo(place: validation.Place) -> Answer:
        return {"words": book.undo(_version(place)), **views.status_view(book)}

    def redo(place: validation.Place) -> Answer:
        return {"words": book.redo(_version(place)), **views.status_view(book)}

    def set_text(place: validation.Place) -> Answer:
        return tryout.set_text(place)

    def languages(request: Request) -> Answer:
        return languages_view(tryout.font())

    def missing(place: validation.Place) -> Answer:
        return print_missing(book, tryout.font(), place)

    def printed(request: Request) -> Answer:
        return printed_file(book, request.query_params.get("sheet", ""))

    def state() -> dict[str, Any]:
        book.refresh()
        return views.status_view(book)

    routes = [
        Route("/", page),
        Route("/ink", ink),
        Route("/strip", strip),
        *(
            Route(f"/api/{name}", _reading(answer))
            for name, answer in {
                "letters": overview,
                "letter": character,
                "version": version,
                "readings": readings,
                "alike": alike,
                "judged": judged,
                "languages": languages,
                "sheet.pdf": printed,
            }.items()
        ),
        *(
            Route(f"/api/{name}", _writing(answer, state), methods=["POST"])
            for name, answer in {"step": step, "undo": undo, "redo": redo, "text": set_text, "sheet": missing}.items()
        ),
        Route("/{name}", page),
    ]
    return Starlette(routes=routes, exception_handlers={404: _not_found, 405: _not_found})


async def _not_found(request: Request, error: Exception) -> Response:
    status = getattr(error, "status_code", 404)
    return JSONResponse(refusal(request.url.path[-80:], "is not one of the page's addresses"), status)


def _version(place: validation.Place) -> int:
    if not place.of("based_on").present:
        place.of("based_on").fault("is missing")
    based_on = place.of("based_on").whole(0)
    validation.raise_faults(place.faults)
    return based_on


def _guarded(answer: Callable[[], Answer], state: Callable[[], dict[str, Any]] | None = None) -> Response:
    """Answer, or say what is wrong in the three parts of all our messages."""
    try:
        got = answer()
    except validation.FaultsError as error:
        return JSONResponse(refusal("request", str(error)), 400)
    except OperationError as error:
        return JSONResponse(refusal("mend", str(error)), 422)
    except UnknownAttemptError as error:
        return JSONResponse(refusal(str(error.args[0])[:200], "there is no such attempt", "Load the page again."), 404)
    except StaleError as error:
        body = refusal(
            str(error), "was changed by another page meanwhile", "Nothing was stored. Look again, then repeat it."
        )
        return JSONResponse({**body, **(state() if state else {})}, 409)
    except BuildFailedError as error:
        remedy = "Run `ownhand build`, which says more, or mend the letter you changed last in another way."
        return JSONResponse(refusal("the font", f"could not be built ({error})", remedy), 500)
    except OwnhandError as error:
        return JSONResponse(refusal(error.where, error.what, error.remedy), 422)
    if isinstance(got, Response):
        return got
    text = json.dumps(got, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    headers = {"cache-control": "no-store"}
    if "version" in got:
        headers["etag"] = f'"{got["version"]}"'
    return Response(text, media_type="application/json", headers=headers)


def _reading(answer: Callable[[Request], Answer]) -> Callable[[Request], Response]:
    def endpoint(request: Request) -> Response:
        return _guarded(lambda: answer(request))

    return endpoint


def _writing(
    answer: Callable[[validation.Place], Answer], state: Callable[[], dict[str, Any]]
) -> Callable[[Request], Any]:
    async def endpoint(request: Request) -> Response:
        raw = await request.body()

        def work() -> Answer:
            faults: list[str] = []
            root = validation.Place(validation.parse_json(raw), "", faults)
            if not isinstance(root.value, dict):
                raise validation.FaultsError(["the body: expected an object"])
            return answer(root)

        return await run_in_threadpool(_guarded, work, state)

    return endpoint
