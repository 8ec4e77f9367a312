"""The only module that talks: product to standard output, everything else to standard error.

Nothing that was read somewhere reaches the terminal raw: see `capture.safe_text`. What draws tables and bars is
imported when there is something to draw.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING

from capture.safe_text import printable

if TYPE_CHECKING:
    from rich.console import Console

ProgressCall = Callable[[str, int, int], None]
"""progress(step, done, total): how library functions report; they never print."""


@cache
def _err() -> Console:
    from rich.console import Console

    return Console(stderr=True, highlight=False, soft_wrap=True)


def never_at_a_loss() -> None:
    """Have standard output write what its encoding has no letter for by its number, as standard error does.

    Where output goes into a file, some systems take an old code page, in which most languages cannot be named.
    """
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")


def say(text: str) -> None:
    """Tell the person something, on standard error."""
    sys.stderr.write(printable(text) + "\n")


def put(text: str) -> None:
    """Put a product (a table, JSON, a file's text) on standard output."""
    text = printable(text)
    sys.stdout.write(text if text.endswith("\n") else text + "\n")


def put_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Put a table on standard output: numbers right, words left; plain text when it is not a terminal."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    out = Console(highlight=False, width=None if sys.stdout.isatty() else 100)
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, header_style="bold")
    for i, name in enumerate(columns):
        numeric = bool(rows) and all(r[i].strip("-% ").replace(".", "").isdigit() for r in rows)
        table.add_column(name, justify="right" if numeric else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(printable(cell)) for cell in row))
    out.print(table)


@contextmanager
def progress_bar() -> Iterator[ProgressCall]:
    """Give a progress callable that draws a bar on standard error, one bar a step; silent when that is no terminal."""
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=_err(), transient=True, disable=not sys.stderr.isatty()) as bars:
        tasks: dict[str, int] = {}

        def report(step: str, done: int, total: int) -> None:
            if step not in tasks:
                tasks[step] = bars.add_task(step, total=total)
            bars.update(tasks[step], completed=done, total=total)  # type: ignore[arg-type]

        yield report
