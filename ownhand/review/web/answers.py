"""How the page's requests are answered: JSON of what was found, or what is wrong in the three parts of all messages."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from capture.errors import OwnhandError
from ownhand import validation
from ownhand.review.edits.operations import OperationError
from ownhand.review.session.builder import BuildFailedError
from ownhand.review.session.review_session import StaleError, UnknownAttemptError
from ownhand.review.web.access import refusal

Answer = dict[str, Any] | Response
State = Callable[[], dict[str, Any]]


def guarded(answer: Callable[[], Answer], state: State | None = None) -> Response:
    """Answer, or say what is wrong; `state` is told with what was refused because another page was quicker."""
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
    except OSError as error:  # a file that was there a moment ago, a disk that went away
        what = f"cannot be read or written ({error.strerror or type(error).__name__})"
        where = error.filename if isinstance(error.filename, str) else "the hand's folder"
        return JSONResponse(refusal(where, what, "Load the page again."), 500)
    if isinstance(got, Response):
        return got
    text = json.dumps(got, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    headers = {"cache-control": "no-store"}
    if "version" in got:
        headers["etag"] = f'"{got["version"]}"'
    return Response(text, media_type="application/json", headers=headers)


def reading(answer: Callable[[Request], Answer]) -> Callable[[Request], Response]:
    """Return the endpoint of something that is only looked at."""

    def endpoint(request: Request) -> Response:
        return guarded(lambda: answer(request))

    return endpoint


def writing(answer: Callable[[validation.Place], Answer], state: State | None = None) -> Callable[[Request], Any]:
    """Return the endpoint of something that is asked for with a JSON object.

    A body that is none raises FaultsError where `guarded` turns it into an answer.
    """

    async def endpoint(request: Request) -> Response:
        raw = await request.body()

        def work() -> Answer:
            faults: list[str] = []
            root = validation.Place(validation.parse_json(raw), "", faults)
            if not isinstance(root.value, dict):
                raise validation.FaultsError(["the body: expected an object"])
            return answer(root)

        return await run_in_threadpool(guarded, work, state)

    return endpoint
