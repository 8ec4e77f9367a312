"""Processes of our own: started without the current folder on their path, so that nothing lying there is executed.

Workers end with the process that started them.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from pathlib import Path


def own_command(call: str) -> list[str]:
    """Return the command that runs a function of ours, 'package.module:function', in a process of its own.

    `-P` (Python 3.11) keeps the current folder off the path.
    """
    module, _, function = call.partition(":")
    return [sys.executable, "-P", "-c", f"from {module} import {function}; {function}()"]


def own_environment() -> dict[str, str]:
    """Return the environment for it: our own path, but for the current folder unless it is where our packages lie."""
    home = Path(__file__).resolve().parents[1]
    paths = [p for p in sys.path if p and Path(p).is_absolute() and Path(p).resolve() != Path.cwd().resolve()]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(dict.fromkeys([str(home), *paths])), "PYTHONSAFEPATH": "1"}


def end_with_parent() -> None:
    """Make a worker end when its parent is killed: it would wait for work for ever, and hold the hand.

    Ctrl-C reaches it too, and ends it without a word: what is to be said the parent says.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    signal.signal(signal.SIGINT, lambda *_: sys.exit(130))

    def wait_and_end() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait_and_end, daemon=True).start()
