"""Processes of our own run our own code: nothing that lies in the current folder, and no key in their arguments."""

from __future__ import annotations

import http.client
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from capture.errors import OwnhandError
from ownhand.subprocesses import own_command, own_environment, processes
from ownhand.workroom import server
from tests.ownhand.stand_in import write_hand


def test_a_module_that_lies_in_the_current_folder_is_not_executed(tmp_path, monkeypatch):
    (tmp_path / "hashlib.py").write_text("open('executed', 'w')\nraise SystemExit(3)\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.syspath_prepend(str(tmp_path))

    done = subprocess.run(
        own_command("ownhand.review.session.builder:work"), env=own_environment(), input=b"", check=False
    )

    assert done.returncode == 0
    assert not (tmp_path / "executed").exists()


STOPPED = """
import signal, time
from ownhand.subprocesses import processes
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background jobs ignore it
try:
    with processes(2) as pool:
        pool.submit(time.sleep, 0).result()
        print("ready", flush=True)
        tasks = [pool.submit(time.sleep, 60) for _ in range(6)]
        tasks[0].result()
except KeyboardInterrupt:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # those that come after the end
    print("stopped")
"""


@pytest.mark.parametrize("times", [1, 2, 3])
def test_processes_that_wait_and_work_end_at_ctrl_c_without_a_word(tmp_path, times):
    said = tmp_path / "said"
    with (
        said.open("wb") as log,
        subprocess.Popen(
            [sys.executable, "-c", STOPPED], env=own_environment(), stdout=subprocess.PIPE, stderr=log,
            start_new_session=True,
        ) as running,
    ):  # fmt: skip
        assert running.stdout is not None and running.stdout.readline() == b"ready\n"
        time.sleep(0.5)  # until one of them works
        os.killpg(running.pid, signal.SIGINT)
        for _ in range(times - 1):
            os.killpg(running.pid, signal.SIGINT)
        rest = running.stdout.read()

    assert (running.returncode, rest, said.read_bytes()) == (0, b"stopped\n", b"")


@pytest.fixture
def hand(tmp_path) -> Path:
    return write_hand(tmp_path / "hand", "t", attempts=1, faults=False).path


def test_the_browser_is_given_a_ticket_that_is_good_once(hand, monkeypatch):
    made = server._prepare(hand, 0, "secret-key")
    path = made.tickets.new(made.path)
    assert "secret-key" not in path
    with made.listening:
        made.listening.listen()

        thread = threading.Thread(target=made.server.run, kwargs={"sockets": [made.listening]}, daemon=True)
        thread.start()
        host = urlsplit(made.origin).netloc

        def ask(host_header: str) -> tuple[int, str | None]:
            connection = http.client.HTTPConnection(host, timeout=60)
            connection.putrequest("GET", path, skip_host=True)
            connection.putheader("Host", host_header)
            connection.endheaders()
            answer = connection.getresponse()
            found = answer.status, answer.headers["location"]
            connection.close()
            return found

        assert ask("elsewhere.example") == (403, None)
        assert ask(host) == (303, made.path)
        assert ask(host) == (403, None)
        made.close()
        made.server.should_exit = True
        thread.join(20)


def test_a_worker_that_is_killed_from_outside_is_told_in_one_line():
    with (
        pytest.raises(OwnhandError, match="the work: a process of it was ended from outside") as told,
        processes(1) as pool,
    ):
        pool.submit(os._exit, 9).result()

    assert told.value.exit_code == 1 and told.value.remedy
