"""The back end under load, beside the Python loop.

    python -m tests.bench serve_load [--clients 32] [--seconds 60] [--font hershey|FONT.ufo]

Clients and server share this machine's cores. Memory is what Linux says the server and its workers hold.
"""

from __future__ import annotations

import argparse
import http.client
import json
import multiprocessing
import os
import socket
import threading
import time
from pathlib import Path

import numpy as np

from ownhand.composer import Composer
from ownhand.composer.formats.svg import svg_text
from tests.bench.compose import LETTERS, load_font


def _serve(name: str, port: int) -> None:
    from ownhand.serve.server import serve

    serve({"hand": load_font(name)}, port=port, workers=2)


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench serve_load", description=__doc__)
    parser.add_argument("--clients", type=int, default=32)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--font", default="hershey")
    options = parser.parse_args(argv)
    loop_pages = _loop(options.font)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = multiprocessing.get_context("spawn").Process(target=_serve, args=(options.font, port))
    server.start()
    try:
        _wait_for(port)
        times, faults, memory = _load(port, options.clients, options.seconds, server.pid or 0)
    finally:
        server.terminate()
        server.join(20)
    ms = np.array(times) * 1000
    low, high = np.percentile(ms, [50, 99])
    rate = len(ms) / options.seconds
    print(f"{options.clients} clients for {options.seconds:g} s: {len(ms)} pages, {rate:.1f} pages/s,")
    print(f"{faults} errors, p50 {low:.0f} ms, p99 {high:.0f} ms")
    print(f"memory, MB, over the run: {', '.join(f'{m:.0f}' for m in memory)}")
    print(f"Python loop on one core: {loop_pages:.1f} pages/s")
    return 1 if faults else 0


def _loop(name: str) -> float:
    composer = Composer(load_font(name))
    svg_text(composer.compose(LETTERS, seed=0).pages[0])
    start = time.perf_counter()
    for seed in range(30):
        svg_text(composer.compose(LETTERS, seed=seed).pages[0])
    return 30 / (time.perf_counter() - start)


def _wait_for(port: int) -> None:
    for _ in range(300):
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return
        except OSError:
            time.sleep(0.1)
    raise SystemExit("the server did not start")


def _load(port: int, clients: int, seconds: float, pid: int) -> tuple[list[float], int, list[float]]:
    times: list[float] = []
    faults: list[int] = []
    end = time.perf_counter() + seconds

    def client(number: int) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        seed = number
        while time.perf_counter() < end:
            start = time.perf_counter()
            body = json.dumps({"text": LETTERS, "seed": seed})
            connection.request("POST", "/hands/hand/pages", body, {"Content-Type": "application/json"})
            answer = connection.getresponse()
            data = answer.read()
            if answer.status != 200 or not data.endswith(b"</svg>\n"):
                faults.append(answer.status)
            times.append(time.perf_counter() - start)
            seed += clients

    threads = [threading.Thread(target=client, args=(n,)) for n in range(clients)]
    for thread in threads:
        thread.start()
    memory = []
    while any(thread.is_alive() for thread in threads):
        memory.append(_resident_mb(pid))
        time.sleep(max(1.0, seconds / 8))
    for thread in threads:
        thread.join()
    return times, len(faults), memory


def _resident_mb(pid: int) -> float:
    """Return what a process and its children hold, MB; 0 where /proc is not there."""
    total = 0.0
    for folder in Path("/proc").glob("[0-9]*") if Path("/proc").exists() else ():
        try:
            fields = (folder / "stat").read_text().rsplit(")", 1)[1].split()
            if int(folder.name) == pid or int(fields[1]) == pid:
                total += int(fields[21]) * os.sysconf("SC_PAGE_SIZE") / 1e6
        except (OSError, IndexError, ValueError):
            continue
    return total
