"""The process that works orders off: hands come in once, then one order after the other; answers go out.

It is started without the current folder on its path, and ends when its input does.
"""

from __future__ import annotations

import os
import pickle
import signal
import struct
import sys
from collections import Counter
from collections.abc import Callable, Mapping
from typing import Any, BinaryIO
from urllib.parse import quote

from capture.errors import OwnhandError, UsageError
from fontbuild.font import Font
from ownhand.composer.ensemble import Ensemble
from ownhand.composer.formats import page_bytes
from ownhand.composer.plot.motion import effort
from ownhand.serve.request import Order

HEAD = struct.Struct(">Q")
MOST_PAGES = 200
"""Pages that one order may fill."""

MOST_EFFORTS = 50
"""Pages of which a check tells the plotting time."""


def framed(message: Any) -> bytes:
    """Return a message with its length before it, as the pipes between server and workers carry it."""
    data = pickle.dumps(message, pickle.HIGHEST_PROTOCOL)
    return HEAD.pack(len(data)) + data


def made_page(composers: Mapping[str, Ensemble], order: Order) -> tuple[bytes, dict[str, str]]:
    """Return the page asked for as a file, and its headers.

    Raises
    ------
    UsageError
        If there is no such page, or the order is impossible.
    """
    made = composers[order.hand].compose(order.text, order.settings, order.seed)
    if not 1 <= order.page <= len(made.pages):
        raise UsageError("page", f"there is no page {order.page}, the text fills {len(made.pages)}", "")
    data = page_bytes(made.pages[order.page - 1], order.format, order.machine, dpi=order.dpi)
    headers = {"Page-Count": str(len(made.pages)), "Missing-Characters": str(sum(made.missing.values()))}
    if made.missing:
        # a header holds ASCII only: each character's UTF-8 in per cents (RFC 3986, 2.1); and not without end
        named = [f"{quote(char, safe='')};times={n}" for char, n in Counter(made.missing).most_common(100)]
        headers["Missing"] = ", ".join(named)
    return data, headers


def made_check(composers: Mapping[str, Ensemble], order: Order) -> dict[str, Any]:
    """Return what the text would become: pages, notices, plotting time.

    Raises
    ------
    UsageError
        If the order is impossible.
    """
    made = composers[order.hand].compose(order.text, order.settings, order.seed)
    efforts = [effort(page, order.machine) for page in made.pages[:MOST_EFFORTS]]
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


TASKS: dict[str, Callable[[Mapping[str, Ensemble], Order], Any]] = {"page": made_page, "check": made_check}


def work() -> None:
    """Work off what comes on standard input until it ends; only the server is at the other end."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server
    orders, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    hands: dict[str, Font]
    hands, niceness = _received(orders)
    if niceness and hasattr(os, "nice"):
        os.nice(niceness)
    composers = {name: Ensemble(font, {}) for name, font in hands.items()}
    for composer in composers.values():
        composer.limit_pages(MOST_PAGES)
    _send(answers, ("ready", None))
    while True:
        try:
            task, order = _received(orders)
        except EOFError:
            return
        _send(answers, _answered(composers, task, order))


def _answered(composers: Mapping[str, Ensemble], task: str, order: Order) -> tuple[str, Any]:
    try:
        return "done", TASKS[task](composers, order)
    except OwnhandError as error:
        return "refused", str(error)
    except (Exception, MemoryError) as error:
        return "failed", type(error).__name__


def _received(stream: BinaryIO) -> Any:
    head = stream.read(HEAD.size)
    if len(head) < HEAD.size:
        raise EOFError
    return pickle.loads(stream.read(HEAD.unpack(head)[0]))


def _send(stream: BinaryIO, message: Any) -> None:
    try:
        stream.write(framed(message))
        stream.flush()
    except BrokenPipeError:
        os._exit(0)
