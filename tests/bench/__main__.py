"""`python -m tests.bench NAME [options]`: runs one of the benchmarks in this folder.

With `--record`, what it prints also replaces the block of its section `## NAME` in `RESULTS.md`.
"""

from __future__ import annotations

import contextlib
import importlib
import io
import pkgutil
import re
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

import tests.bench

RESULTS = Path(__file__).with_name("RESULTS.md")


class _Both(io.StringIO):
    """Keeps what is printed and passes it on."""

    def __init__(self, shown: TextIO) -> None:
        super().__init__()
        self._shown = shown

    def write(self, text: str) -> int:
        self._shown.write(text)
        return super().write(text)

    def flush(self) -> None:
        self._shown.flush()


def recorded(results: str, name: str, command: str, printed: str, day: str) -> str:
    """Return `results` with the block of the section `## name` replaced; text above the block is kept."""
    block = f"<!-- {name} -->\n`{command}`, {day}:\n\n```\n{printed.rstrip()}\n```\n<!-- /{name} -->"
    old = re.compile(rf"<!-- {re.escape(name)} -->.*?<!-- /{re.escape(name)} -->", re.DOTALL)
    if old.search(results):
        return old.sub(lambda _: block, results)
    heading = re.compile(rf"^## {re.escape(name)}$.*?(?=^## |\Z)", re.DOTALL | re.MULTILINE)
    if found := heading.search(results):
        return results[: found.end()].rstrip() + f"\n\n{block}\n\n" + results[found.end() :]
    return results.rstrip() + f"\n\n## {name}\n\n{block}\n"


def main(argv: list[str]) -> int:
    names = sorted(
        m.name
        for m in pkgutil.iter_modules(tests.bench.__path__)
        if m.name != "__main__" and hasattr(importlib.import_module(f"tests.bench.{m.name}"), "main")
    )
    if not argv or argv[0] not in names:
        print(f"usage: python -m tests.bench {{{','.join(names)}}} [--record] [options]", file=sys.stderr)
        return 2
    run = importlib.import_module(f"tests.bench.{argv[0]}").main
    rest = [a for a in argv[1:] if a != "--record"]
    if len(rest) == len(argv) - 1:
        return int(run(rest))
    both = _Both(sys.stdout)
    with contextlib.redirect_stdout(both):
        code = int(run(rest))
    # a folder of data is somebody's own place
    shown = re.sub(r"(--data|--hands|--picture) \S+", r"\1 FOLDER", " ".join(["python -m tests.bench", argv[0], *rest]))
    day = datetime.now(UTC).date().isoformat()
    RESULTS.write_text(recorded(RESULTS.read_text(encoding="utf-8"), argv[0], shown, both.getvalue(), day), "utf-8")
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
