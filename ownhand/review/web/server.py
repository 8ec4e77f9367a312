"""The small web server behind the page: loopback only, one hand, until it is stopped."""

from __future__ import annotations

import asyncio
import logging
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from capture.errors import MissingLibraryError, UsageError
from ownhand.hands.decisions_file import load_decisions, told
from ownhand.hands.hand import Hand, open_hand

if TYPE_CHECKING:
    import uvicorn

LOOPBACK = "127.0.0.1"


@dataclass
class Running:
    """A server that is up."""

    url: str
    server: uvicorn.Server
    thread: threading.Thread

    def stop(self) -> None:
        """Stop it; returns when it has."""
        self.server.should_exit = True
        self.thread.join(timeout=10)


def _not_about_stopping(record: logging.LogRecord) -> bool:
    """Return False for what the web server says of requests that were cut off when it was stopped."""
    error = record.exc_info[1] if record.exc_info else None
    return not isinstance(error, asyncio.CancelledError) and not str(record.msg).startswith("Cancel ")


def _prepare(hand: Path | Hand, port: int, key: str) -> tuple[str, uvicorn.Server, socket.socket]:
    try:
        import uvicorn

        from ownhand.review.web.access import Guard
        from ownhand.review.web.app import make_app
    except ImportError as error:
        raise MissingLibraryError(
            "ownhand review", f"{error.name} is not installed", "Install it: pip install 'ownhand[review]'"
        ) from None
    opened = hand if isinstance(hand, Hand) else open_hand(hand)
    app = make_app(opened)
    # While the font is built, every answer would wait up to 5 ms (Python's default) each time it touches a file.
    sys.setswitchinterval(0.0005)
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((LOOPBACK, port))
    except (OSError, OverflowError) as error:
        listening.close()
        reason = getattr(error, "strerror", None) or error
        raise UsageError(
            "--port", f"port {port} cannot be used ({reason})", "Leave it out to take a free one."
        ) from None
    port = listening.getsockname()[1]
    logging.getLogger("uvicorn.error").addFilter(_not_about_stopping)
    guarded = Guard(app, key=key, hosts=(f"{LOOPBACK}:{port}", f"localhost:{port}"))
    config = uvicorn.Config(
        guarded,
        log_config=None,
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        timeout_keep_alive=30,
        limit_concurrency=100,
        timeout_graceful_shutdown=2,
    )
    return f"http://{LOOPBACK}:{port}/{key}/", uvicorn.Server(config), listening


def run(
    hand: Path | Hand,
    *,
    port: int = 0,
    open_browser: bool = True,
    announce: Callable[[str], None] = lambda text: None,
) -> None:
    """Serve the page until the program is stopped (Ctrl-C).

    Parameters
    ----------
    hand
        The hand, or its folder.
    port
        0: any free one.
    open_browser
        Open the address in the person's browser.
    announce
        Called with what to tell the person: the address, and how to stop.

    Raises
    ------
    MissingLibraryError
        If the libraries of the extra `review` are not installed.
    HandFolderError
        If the hand cannot be read.
    UsageError
        If the port cannot be used.
    """
    url, server, listening = _prepare(hand, port, secrets.token_urlsafe(18))
    folder = hand.path if isinstance(hand, Hand) else hand
    for line in told(folder / "decisions.json", load_decisions(folder / "decisions.json")):
        announce(line)
    announce(f"The letters are on {url}")
    announce("Only this computer can open it. Every decision is stored at once; stop with Ctrl-C.")
    if open_browser:
        # The socket listens already: the browser waits in its queue until the server answers.
        listening.listen(64)
        threading.Thread(target=webbrowser.open, args=(url,), daemon=True).start()
    with listening:
        server.run(sockets=[listening])


def start(hand: Path | Hand, *, port: int = 0, key: str = "") -> Running:
    """Serve the page from a thread of this program; see `run`."""
    url, server, listening = _prepare(hand, port, key or secrets.token_urlsafe(18))
    # Signals belong to the main thread.
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started and thread.is_alive():
        thread.join(timeout=0.01)
    return Running(url, server, thread)
