"""Orders to the back end, and how others are served while hostile clients are at work."""

from __future__ import annotations

import contextlib
import http.client
import json
import multiprocessing
import random
import socket
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np

from ownhand.connections import HEAD_S, more_files
from tests.bench.attacks.tally import Tally
from tests.bench.serve_load import _wait_for

ORDINARY = {"text": "Dear Maria, the lamp was lit at nine. " * 6, "settings": {"paper": "A6"}}
VALUES: tuple[Any, ...] = (
    None, True, -1, 0, 1e308, 10**400, "", "x" * 3000, "\0", "\ud800", [], {}, [[]], {"a": {}}, "ж", "\u202e",
    ["M3"] * 90, [1, 2], "least travel", "A4", "900x900", "svg", "png", "gcode",
)  # fmt: skip
HEAVY: tuple[dict[str, Any], ...] = (
    {"text": "e" + "\u0301" * 20_000},
    {"text": "the lamp " * 1100, "settings": {"order": "least travel", "x_height_mm": 1, "paper": "900x900"}},
    {"text": "a" * 20_000},
    {"text": "a\f" * 5000},
    {"text": "x", "settings": {"boxes": [{}] * 9000}},
    {"text": "a-" * 9000, "settings": {"fit": True}},
    {"text": "x", "format": "png", "dpi": 600, "settings": {"paper": "A4"}},
)

MOST_SILENT = 3
"""So many orders in a row without an answer, of a minute each, and the service counts as hung."""


def _serve(port: int) -> None:
    from ownhand.serve.server import serve
    from tests.ownhand.hershey_font import hershey_font

    serve({"hand": hershey_font()}, port=port, workers=2)


def _started() -> tuple[multiprocessing.Process, int]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = multiprocessing.get_context("spawn").Process(target=_serve, args=(port,))
    server.start()
    _wait_for(port)
    return server, port


def ask(port: int, order: Any, timeout: float = 60) -> tuple[int, bytes]:
    """Return status and body of an answer."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=timeout)
    try:
        connection.request(
            "POST", "/hands/hand/pages", json.dumps(order).encode(), {"Content-Type": "application/json"}
        )
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


def orders(folder: Path, tally: Tally, share: float) -> None:
    """Send 1,000 orders of junk; the service must answer each, and the ordinary one after them."""
    server, port = _started()
    rng = random.Random(25)
    keys = ("text", "settings", "seed", "format", "page", "machine", "dpi", "colour")
    inner = (
        "paper",
        "margins_mm",
        "x_height_mm",
        "boxes",
        "pens",
        "life",
        "order",
        "align",
        "hyphenate",
        "name",
        "bed_mm",
    )
    silent = 0
    try:
        for _ in range(max(1, int(1000 * share))):
            if silent == MOST_SILENT:
                tally.note("orders", fault=f"no answer {silent} times in a row: the others were not sent")
                break
            order: dict[str, Any] = {"text": "lamp", rng.choice(keys): rng.choice(VALUES)}
            if rng.random() < 0.6:
                order[rng.choice(("settings", "machine"))] = {rng.choice(inner): rng.choice(VALUES)}
            try:
                status, body = ask(port, order)
                silent = 0
                line = json.loads(body).get("error", "") if status != 200 else ""
                bad = status >= 500 or "\n" in line or (status != 200 and not line)
                tally.note("orders", refused=status != 200, fault=f"{status} {order!r} {line}" if bad else "")
            except (OSError, ValueError, http.client.HTTPException) as error:
                silent += 1
                tally.note("orders", fault=f"{order!r}: {error}")
        status, _ = ask(port, ORDINARY)
        tally.note("orders after them", fault="" if status == 200 else str(status))
    finally:
        _terminated(server, tally)


LONGEST_TERMINATION_S = 5.0
MOST_TIMES_QUIET = 3.0
"""p99 of ordinary orders while hostile clients are at work, over the quiet one."""

IDLE = 1100


def _terminated(server: multiprocessing.Process, tally: Tally, words: str = "idle") -> None:
    begin = time.monotonic()
    server.terminate()
    server.join(20)
    took = time.monotonic() - begin
    fault = "" if took < LONGEST_TERMINATION_S and not server.is_alive() else f"{took:.1f} s"
    tally.note("terminations", fault=fault)
    before = tally.measured.get("terminations")
    tally.measured["terminations"] = (f"{before}, " if before else "") + f"{words} {took:.1f} s"


def hostile(folder: Path, tally: Tally, share: float) -> None:
    """Measure ordinary orders alone, then while ten hostile clients are at work; idle connections; the end in work."""
    server, port = _started()
    seconds = 20 * share
    try:
        quiet, _ = _ordinary(port, seconds)
        # in a process of their own, so that they do not slow down the client that measures
        others = multiprocessing.get_context("spawn").Process(target=_all_hostile, args=(port, seconds + 3.0))
        others.start()
        time.sleep(2.0)
        busy, bad = _ordinary(port, seconds)
        others.join()
        _judge(tally, quiet, busy, bad)
        _idle(port, tally)
        for _ in range(4):
            threading.Thread(target=_heavy, args=(port,), daemon=True).start()
        time.sleep(1.0)
    finally:
        _terminated(server, tally, "at work")


def _judge(tally: Tally, quiet: list[float], busy: list[float], bad: int) -> None:
    (q50, q99), (b50, b99) = (np.percentile(times, [50, 99]) * 1000 for times in (quiet, busy))
    fault = f"{bad} not answered" if bad else ""
    if b99 > MOST_TIMES_QUIET * q99:
        fault = f"p99 {b99 / q99:.1f} times the quiet one"
    kind = "ordinary orders, 10 hostile clients"
    for _ in busy[1:]:
        tally.note(kind)
    tally.note(kind, fault=fault)
    tally.measured[kind] = f"p50 {b50:.0f} (quiet {q50:.0f}) ms, p99 {b99:.0f} ({q99:.0f}) ms: {b99 / q99:.1f} times"


def _idle(port: int, tally: Tally) -> None:
    """Open more connections than the service holds, send nothing, and see when they are closed."""
    more_files()
    begin = time.monotonic()
    idle = []
    for _ in range(IDLE):
        idle.append(socket.create_connection(("127.0.0.1", port), 10))
        idle[-1].setblocking(False)
    status, _ = ask(port, ORDINARY)
    answered = time.monotonic() - begin
    while (still := [c for c in idle if not _closed(c)]) and time.monotonic() - begin < 2 * HEAD_S:
        time.sleep(0.2)
    fault = f"{len(still)} are still open" if still else "" if status == 200 else f"an order beside them: {status}"
    for _ in idle[1:]:
        tally.note("idle connections")
    tally.note("idle connections", fault=fault)
    took = time.monotonic() - begin
    tally.measured["idle connections"] = f"an order beside them in {answered:.1f} s, all closed after {took:.0f} s"
    for connection in idle:
        connection.close()


def _closed(connection: socket.socket) -> bool:
    try:
        return not connection.recv(1)
    except BlockingIOError:
        return False
    except OSError:
        return True


def _heavy(port: int) -> None:
    with contextlib.suppress(OSError, http.client.HTTPException):
        ask(port, HEAVY[1])


def _ordinary(port: int, seconds: float) -> tuple[list[float], int]:
    times, bad, end = [], 0, time.monotonic() + seconds
    while time.monotonic() < end:
        begin = time.monotonic()
        bad += ask(port, ORDINARY)[0] != 200
        times.append(time.monotonic() - begin)
    return times, bad


def _all_hostile(port: int, seconds: float) -> None:
    end = time.monotonic() + seconds
    threads = [threading.Thread(target=_be_hostile, args=(port, n, end)) for n in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def _be_hostile(port: int, number: int, end: float) -> None:
    idle: list[socket.socket] = []
    while time.monotonic() < end:
        try:
            if number < 7:
                ask(port, HEAVY[number], timeout=40)
            else:
                idle.append(socket.create_connection(("127.0.0.1", port), 5))
                idle[-1].sendall(b"POST /hands/hand/pages HTTP/1.1\r\nHost: 127.0.0.1\r\nX: y" if number > 7 else b"")
                time.sleep(0.05)
        except (OSError, http.client.HTTPException):
            time.sleep(0.1)
    for connection in idle:
        connection.close()
