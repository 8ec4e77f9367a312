"""The addresses of a hand's room."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from capture.errors import OwnhandError
from ownhand.review.web.access import refusal
from ownhand.review.web.answers import Answer, reading, writing
from ownhand.workroom import drop
from ownhand.workroom.card_answers import CardAnswers
from ownhand.workroom.page_answers import PageAnswers
from ownhand.workroom.room import Room


def room_routes(room: Room) -> list[Route]:
    """Return the addresses of a hand's room, without those of its letters."""
    page, cards = PageAnswers(room), CardAnswers(room)
    looking = {
        "state": room.state,
        "names": room.languages,
        "work": room.work,
        "pages-read": room.pages_read,
        "phone": room.phone,
        "desk": page.desk_view,
        "drawing": page.drawing,
        "table": cards.table,
        "runs": cards.all_runs,
        "cards.zip": cards.run_zip,
        "overview": cards.overview,
        "kept": room.kept_files,
        "kept/file": room.kept_file,
    }
    doing = {
        "record": room.record,
        "plan": room.plan,
        "print": room.print_sheet,
        "read": room.read,
        "put-away": room.put_away,
        "stop": room.stop,
        "build": room.build,
        "phone/open": room.open_phone,
        "phone/close": room.close_phone,
        "page": page.set_page,
        "imposed": page.sheet,
        "replay": page.replay,
        "files": page.files,
        "text-file": page.text_file,
        "layout/save": page.save_layout,
        "layout/load": page.load_layout,
        "plotter": page.save_machine,
        "cards": cards.write_cards,
        "cards/renew": cards.renew_cards,
        "cards/overview": cards.draw_overview,
        "proof": room.draw_proof,
    }
    return [
        *(Route(f"/api/{name}", reading(answer)) for name, answer in looking.items()),
        *(Route(f"/api/{name}", writing(answer), methods=["POST"]) for name, answer in doing.items()),
        Route("/api/drop", receiving(room.take_scan), methods=["POST"]),
        Route("/api/table/drop", receiving(cards.take_table), methods=["POST"]),
        Route("/api/drawing/drop", receiving(page.take_drawing), methods=["POST"]),
    ]


def receiving(take: Callable[[Request], Awaitable[Answer]]) -> Callable[[Request], Awaitable[Response]]:
    """Return the endpoint that takes a file."""

    async def endpoint(request: Request) -> Response:
        try:
            got = await take(request)
        except drop.TooLargeError as error:
            return JSONResponse(refusal(error.where, error.what, error.remedy), 413)
        except OwnhandError as error:
            return JSONResponse(refusal(error.where, error.what, error.remedy), 422)
        except ClientDisconnect:  # a page that was closed, a phone out of reach: nobody is there to be answered
            return Response(status_code=400)
        return got if isinstance(got, Response) else JSONResponse(got)

    return endpoint
