"""The addresses of a hand's letters, and what each answers; what changes something is a POST of JSON."""

from __future__ import annotations

import unicodedata
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from ownhand import validation
from ownhand.hands.hand import Hand
from ownhand.review.images.contact_strips import strip_png
from ownhand.review.images.ink_images import png
from ownhand.review.session.carrying import others
from ownhand.review.session.review_session import ReviewSession
from ownhand.review.session.text_preview import Tryout
from ownhand.review.session.word_cuts import pairs_alike
from ownhand.review.web import views
from ownhand.review.web.access import refusal
from ownhand.review.web.answers import Answer, reading, writing
from ownhand.review.web.languages import languages_view, print_missing, printed_file


def review_routes(hand: Hand) -> list[Route]:
    """Return the addresses of one hand's letters; they trust what reaches them, see `access`."""
    book = ReviewSession(hand)
    tryout = Tryout(book)

    def pictured(request: Request, picture: bytes) -> Response:
        fresh = request.query_params.get("read") == book.read_stamp
        headers = {"cache-control": "private, max-age=86400, immutable" if fresh else "no-store"}
        return Response(picture, media_type="image/png", headers=headers)

    async def ink(request: Request) -> Response:
        # Not sent to a thread: there are thousands of these, and each is a look into memory.
        key = request.query_params.get("id", "")
        picture = png(book, key)
        if picture is None:
            return JSONResponse(refusal(key[:200], "there is no ink picture of this attempt"), 404)
        return pictured(request, picture)

    def strip(request: Request) -> Response:
        char = request.query_params.get("char", "")
        with book.lock:
            picture = book.strips.get(char) or strip_png(book, char)
            if picture is not None:
                book.strips[char] = picture
        if picture is None:
            return JSONResponse(refusal(char[:40], "was never asked for"), 404)
        return pictured(request, picture)

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
            return {"others": views.carried_view(book, others(book, key))}

    def cuts(request: Request) -> Answer:
        key = request.query_params.get("id", "")
        book.attempt(key)
        with book.lock:
            return {"others": views.cuts_view(book, pairs_alike(book, key))}

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

    return [
        Route("/ink", ink),
        Route("/strip", strip),
        *(
            Route(f"/api/{name}", reading(answer))
            for name, answer in {
                "letters": overview,
                "letter": character,
                "version": version,
                "readings": readings,
                "alike": alike,
                "cuts": cuts,
                "judged": judged,
                "languages": languages,
                "sheet.pdf": printed,
            }.items()
        ),
        *(
            Route(f"/api/{name}", writing(answer, state), methods=["POST"])
            for name, answer in {"step": step, "undo": undo, "redo": redo, "text": set_text, "sheet": missing}.items()
        ),
    ]


def _version(place: validation.Place) -> int:
    if not place.of("based_on").present:
        place.of("based_on").fault("is missing")
    based_on = place.of("based_on").whole(0)
    validation.raise_faults(place.faults)
    return based_on
