"""Long work in processes of its own: reading scans, building, writing a table. The page asks how far it is.

A job speaks to its process in lines of JSON: one request in, any number of reports out (see `work`). When this program
ends, however it ends, so does the process: what is finished by then is kept, as with the commands.
"""

from __future__ import annotations

import atexit
import contextlib
import json
import subprocess
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from capture.errors import UsageError
from ownhand.subprocesses import own_command, own_environment

SETTLED_S = 10.0
"""How long what is done after a job is waited for, at most."""


@dataclass
class Job:
    """A piece of long work, as it stands."""

    number: int
    kind: str
    step: str = ""
    done: int = 0
    total: int = 0
    pages: list[dict[str, Any]] = field(default_factory=list)
    """Verdicts on the pages read so far, in the order in which they came."""

    result: dict[str, Any] | None = None
    error: dict[str, str] | None = None
    process: subprocess.Popen[bytes] | None = None

    @property
    def running(self) -> bool:
        """Whether it is still going on."""
        return self.result is None and self.error is None

    def view(self) -> dict[str, Any]:
        """Return what the page is told of it."""
        return {
            "number": self.number,
            "kind": self.kind,
            "running": self.running,
            "step": self.step,
            "done": self.done,
            "total": self.total,
            "pages": list(self.pages),
            "result": self.result,
            "error": self.error,
        }


class Jobs:
    """The work on one hand: one job at a time; the last one is remembered."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._last: Job | None = None
        self._follower: threading.Thread | None = None
        self._count = 0
        atexit.register(self.stop)

    @property
    def last(self) -> Job | None:
        """The job that is going on, or was the last to."""
        return self._last

    def settle(self) -> None:
        """Wait for what is done after a job that has ended: it says that it has before its scans are put away."""
        job, follower = self._last, self._follower
        if job is not None and not job.running and follower is not None:
            follower.join(timeout=SETTLED_S)

    def start(self, kind: str, request: dict[str, Any], after: Callable[[Job], None] = lambda job: None) -> Job:
        """Begin a piece of work; `after` is called from another thread when it has ended.

        request: what is asked for, as JSON, told with the job's state.

        Raises
        ------
        UsageError
            If another one is still going on.
        """
        self.settle()
        with self._lock:
            if self._last is not None and self._last.running:
                what = f"this hand is busy: {self._last.step or self._last.kind}"
                raise UsageError(kind, what, "Let it finish, or stop it.")
            self._count += 1
            job = Job(self._count, kind)
            # Not forked: the server has threads, and a copy of their locks would never open.
            job.process = subprocess.Popen(
                own_command("ownhand.workroom.work:work"),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env=own_environment(),
            )
            self._last = job
            self._follower = threading.Thread(target=_follow, args=(job, {"kind": kind, **request}, after), daemon=True)
            self._follower.start()
        return job

    def stop(self) -> None:
        """End what is going on; what was finished is kept."""
        job = self._last
        if job is not None and job.running and job.process is not None:
            job.error = {"where": job.kind, "what": "was stopped", "remedy": "What was finished is kept."}
            job.process.kill()


def _follow(job: Job, request: dict[str, Any], after: Callable[[Job], None]) -> None:
    process = job.process
    assert process is not None and process.stdin is not None and process.stdout is not None
    with contextlib.suppress(OSError):
        process.stdin.write(json.dumps(request).encode() + b"\n")
        process.stdin.flush()
    for line in process.stdout:
        with contextlib.suppress(ValueError, TypeError, KeyError):
            _take(job, json.loads(line))
    process.wait()
    with contextlib.suppress(OSError):
        process.stdin.close()
        process.stdout.close()
    if job.running:
        job.error = {
            "where": job.kind,
            "what": "was ended before it was done",
            "remedy": "What was finished is kept. Try again; with large scans, close other programs first.",
        }
    after(job)


def _take(job: Job, said: dict[str, Any]) -> None:
    if "progress" in said:
        job.step, job.done, job.total = said["progress"]
    elif "page" in said:
        job.pages.append(said["page"])
    elif "result" in said:
        job.result = said["result"]
    elif "error" in said and job.error is None:
        job.error = said["error"]
