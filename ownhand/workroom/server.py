"""The small web server behind the pages: loopback only, one folder of hands, until it is stopped."""

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

from capture.errors import MissingLibraryError
from ownhand.hands.decisions_file import load_decisions, told
from ownhand.hands.hand import open_hand

if TYPE_CHECKING:
    import uvicorn

    from ownhand.review.web.ticket import Tickets

LOOPBACK = "127.0.0.1"


@dataclass
class Running:
    """A server that is up."""

    url: str
    server: uvicorn.Server
    thread: threading.Thread
    close: Callable[[], None]

    def stop(self) -> None:
        """Stop it and what it has begun; returns when it has."""
        self.close()
        self.server.should_exit = True
        self.thread.join(timeout=10)


def _not_about_stopping(record: logging.LogRecord) -> bool:
    """Return False for what the web server says of requests that were cut off when it was stopped."""
    error = record.exc_info[1] if record.exc_info else None
    return not isinstance(error, asyncio.CancelledError) and not str(record.msg).startswith("Cancel ")


@dataclass
class Prepared:
    """A server about to run."""

    origin: str
    path: str
    server: uvicorn.Server
    listening: socket.socket
    tickets: Tickets
    close: Callable[[], None]

    @property
    def url(self) -> str:
        """The whole address, with its key."""
        return self.origin + self.path


def _prepare(path: Path, port: int, key: str) -> Prepared:
    try:
        import uvicorn

        from ownhand.connections import PatientProtocol, listening_on, more_files
        from ownhand.review.web.access import Guard
        from ownhand.review.web.ticket import Tickets
        from ownhand.workroom.app import check_letters, make_app, opened, takes_files
    except ImportError as error:
        raise MissingLibraryError(
            "ownhand open", f"{error.name} is not installed", "Install it: pip install 'ownhand[review]'"
        ) from None
    is_hand = (path / "hand.json").is_file()
    if not is_hand and not path.is_dir():
        open_hand(path)
    check_letters(open_hand(path) if is_hand else None)
    workroom, at = opened(path)
    app = make_app(workroom)
    # While the font is built, every answer would wait up to 5 ms (Python's default) each time it touches a file.
    sys.setswitchinterval(0.0005)
    listening = listening_on(LOOPBACK, port, what="--port", advice="Leave it out to take a free one.")
    port = listening.getsockname()[1]
    logging.getLogger("uvicorn.error").addFilter(_not_about_stopping)
    hosts = (f"{LOOPBACK}:{port}", f"localhost:{port}")
    tickets = Tickets(Guard(app, key=key, hosts=hosts, takes_files=takes_files), hosts=hosts)
    more_files()
    config = uvicorn.Config(
        tickets,
        log_config=None,
        access_log=False,
        server_header=False,
        lifespan="off",
        ws="none",
        timeout_keep_alive=30,
        http=PatientProtocol,
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)
    return Prepared(f"http://{LOOPBACK}:{port}", f"/{key}/{at}", server, listening, tickets, workroom.close)


def run(
    path: Path,
    *,
    at: str = "",
    port: int = 0,
    open_browser: bool = True,
    announce: Callable[[str], None] = lambda text: None,
) -> None:
    """Serve the pages until the program is stopped (Ctrl-C).

    Parameters
    ----------
    path
        A folder with hands, or a hand.
    at
        Which part of it to open: '#letters'.
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
        If there is no such folder, or the hand cannot be read.
    UsageError
        If the port cannot be used.
    """
    made = _prepare(path, port, secrets.token_urlsafe(18))
    try:
        with made.listening:
            if (path / "hand.json").is_file():
                for line in told(path / "decisions.json", load_decisions(path / "decisions.json")):
                    announce(line)
            announce(f"Open {made.url}{at}")
            announce("Only this computer can open it. Everything is stored at once; stop with Ctrl-C.")
            if open_browser:
                # What stands in another program's arguments, all users of the machine can read: so no key, but a
                # ticket that is good once.
                once = made.origin + made.tickets.new(made.path + at)
                threading.Thread(target=webbrowser.open, args=(once,), daemon=True).start()
            made.server.run(sockets=[made.listening])
    finally:
        made.close()


def start(path: Path, *, port: int = 0, key: str = "") -> Running:
    """Serve the pages from a thread of this program; see `run`."""
    made = _prepare(path, port, key or secrets.token_urlsafe(18))
    # Signals belong to the main thread.
    thread = threading.Thread(target=made.server.run, kwargs={"sockets": [made.listening]}, daemon=True)
    thread.start()
    while not made.server.started and thread.is_alive():
        thread.join(timeout=0.01)
    return Running(made.url, made.server, thread, made.close)
