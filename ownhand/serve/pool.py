"""Workers in processes of their own: light orders never wait for heavy ones, and what takes too long is ended.

Waiting orders are taken in turn, one of each client; within a client in the order in which they came. Where no more may
wait, the client with most of them gives way to one with fewer.
"""

from __future__ import annotations

import asyncio
import contextlib
import pickle
from collections import OrderedDict, deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from capture.errors import OwnhandError
from fontbuild.font import Font
from ownhand.serve.request import Order, RefusalError
from ownhand.serve.worker import HEAD, framed
from ownhand.subprocesses import own_command, own_environment

HEAVY_NICENESS = 10
"""Priority that workers of heavy orders give way by."""

START_S = 60.0
"""Time for a worker to load the hands."""

AGAIN_S = 1.0
"""After which a worker that could not be started is started again."""


class Turns:
    """A queue that takes one order of each client in turn."""

    def __init__(self) -> None:
        self._waiting: OrderedDict[str, deque[Ticket]] = OrderedDict()
        self._came = asyncio.Event()

    def __len__(self) -> int:
        return sum(map(len, self._waiting.values()))

    def of(self, client: str) -> int:
        """Return how many orders of a client wait."""
        return len(self._waiting.get(client, ()))

    def put(self, ticket: Ticket) -> None:
        """Add an order."""
        self._waiting.setdefault(ticket.client, deque()).append(ticket)
        self._came.set()

    def given_way(self, client: str) -> Ticket | None:
        """Take out the last order of whoever has most; None where that is not more than `client` will have."""
        most, own = max(self._waiting.items(), key=lambda entry: len(entry[1]), default=("", deque()))
        if len(own) <= self.of(client) + 1:
            return None
        ticket = own.pop()
        if not own:
            del self._waiting[most]
        return ticket

    async def get(self) -> Ticket:
        """Return the next order that somebody still waits for."""
        while True:
            while self._waiting:
                client, own = next(iter(self._waiting.items()))
                ticket = own.popleft()
                self._waiting.pop(client)
                if own:
                    self._waiting[client] = own  # to the end
                if not ticket.answer.done():
                    return ticket
            self._came.clear()
            await self._came.wait()


@dataclass(frozen=True, eq=False)
class Ticket:
    """An order that waits."""

    client: str
    task: str
    order: Order
    answer: asyncio.Future[tuple[str, Any]]
    until: float
    """Time of the event loop at which nobody waits any more."""


class Pool:
    """The workers of one server.

    Parameters
    ----------
    light, heavy
        Processes for small orders and for large ones.
    seconds
        After which an order is given up, its work with it.
    waiting, each
        Orders that may wait in all, and of one client.
    """

    def __init__(
        self, hands: Mapping[str, Font], *, light: int, heavy: int, seconds: float, waiting: int, each: int
    ) -> None:
        self._hands, self._seconds, self._waiting, self._each = dict(hands), seconds, waiting, each
        self._counts = {False: light, True: heavy}
        self._turns: dict[bool, Turns] = {}
        self._tasks: list[asyncio.Task[None]] = []
        self._processes: set[asyncio.subprocess.Process] = set()

    async def start(self) -> None:
        """Start all workers; return when they can work.

        Raises
        ------
        OwnhandError
            If one of them cannot be started, or does not say in time that it can work.
        """
        self._turns = {heavy: Turns() for heavy in self._counts}
        ready = []
        for heavy, count in self._counts.items():
            for _ in range(count):
                begun = asyncio.get_running_loop().create_future()
                self._tasks.append(asyncio.create_task(self._serve(heavy, begun)))
                ready.append(begun)
        await asyncio.gather(*ready)

    async def stop(self) -> None:
        """End all workers at once, whatever they do."""
        for task in self._tasks:
            task.cancel()
        for process in list(self._processes):
            _end(process)
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def work(self, task: str, order: Order, *, client: str, heavy: bool) -> Any:
        """Return what comes of an order.

        Raises
        ------
        RefusalError
            If it is impossible, or cannot be done now or in time.
        """
        turns = self._turns[heavy]
        if turns.of(client) >= self._each:
            raise RefusalError(429, f"{self._each} of your requests are waiting; come back in a moment")
        if len(turns) >= self._waiting:
            other = turns.given_way(client)
            if other is None:
                raise RefusalError(503, f"{len(turns)} requests are waiting; come back in a moment")
            if not other.answer.done():
                other.answer.set_result(("gave way", None))
        loop = asyncio.get_running_loop()
        ticket = Ticket(client, task, order, loop.create_future(), loop.time() + self._seconds)
        turns.put(ticket)
        try:
            kind, what = await asyncio.wait_for(ticket.answer, self._seconds)
        except TimeoutError:
            raise RefusalError(503, f"not done within {self._seconds:g} s; shorten the text") from None
        if kind == "refused":
            raise RefusalError(422, what)
        if kind == "gave way":
            raise RefusalError(503, "others are waiting who asked for less; come back in a moment")
        if kind == "lost":
            raise RefusalError(503, "a worker was lost; come back in a moment")
        if kind == "failed":
            raise RefusalError(500, f"the page could not be made ({what})")
        return what

    async def _serve(self, heavy: bool, begun: asyncio.Future[None]) -> None:
        """Keep one worker, and have it work off what waits; one that is ended is replaced."""
        loop = asyncio.get_running_loop()
        while True:
            try:
                process = await asyncio.create_subprocess_exec(
                    *own_command("ownhand.serve.worker:work"),
                    stdin=asyncio.subprocess.PIPE,
                    stdout=asyncio.subprocess.PIPE,
                    env=own_environment(),
                )
            except OSError as error:  # no memory, too many processes or open files
                if not begun.done():
                    begun.set_exception(_unstarted(error.strerror or "it has no room"))
                    return
                await asyncio.sleep(AGAIN_S)
                continue
            self._processes.add(process)
            try:
                asked = self._ask(process, (self._hands, HEAVY_NICENESS if heavy else 0))
                kind, _ = await asyncio.wait_for(asked, START_S)
                if not begun.done():
                    if kind == "lost":
                        begun.set_exception(_unstarted("it ended at once"))
                        return
                    begun.set_result(None)
                is_begun = kind != "lost"
                while kind != "lost":
                    ticket = await self._turns[heavy].get()
                    left = ticket.until - loop.time()
                    if left <= 0:
                        continue
                    try:
                        kind, what = await asyncio.wait_for(self._ask(process, (ticket.task, ticket.order)), left)
                    except TimeoutError:
                        break  # the work is ended with its process
                    if not ticket.answer.done():
                        ticket.answer.set_result((kind, what))
            except TimeoutError:
                is_begun = False
                if not begun.done():
                    begun.set_exception(_unstarted(f"it did not begin within {START_S:g} s"))
                    return
            finally:
                self._processes.discard(process)
                await _ended(process)
            # one that cannot even begin is not begun again without a pause
            await asyncio.sleep(0.05 if is_begun else AGAIN_S)

    async def _ask(self, process: asyncio.subprocess.Process, message: Any) -> tuple[str, Any]:
        """Send a message to a worker and return its answer; 'lost' where it has ended."""
        assert process.stdin is not None and process.stdout is not None
        try:
            process.stdin.write(framed(message))
            await process.stdin.drain()
            (size,) = HEAD.unpack(await process.stdout.readexactly(HEAD.size))
            # only our own process is at the other end of this pipe
            answer: tuple[str, Any] = pickle.loads(await process.stdout.readexactly(size))
        except (OSError, asyncio.IncompleteReadError):
            return "lost", None
        return answer


def _unstarted(why: str) -> OwnhandError:
    return OwnhandError(
        "serve", f"a worker cannot be started ({why})", "Look at the machine's load, or give --workers 1."
    )


async def _ended(process: asyncio.subprocess.Process) -> None:
    """End a worker and close the pipes to it."""
    _end(process)
    if process.stdin is not None:
        process.stdin.close()
        with contextlib.suppress(OSError):
            await process.stdin.wait_closed()
    await process.wait()


def _end(process: asyncio.subprocess.Process) -> None:
    with contextlib.suppress(ProcessLookupError):
        process.kill()
