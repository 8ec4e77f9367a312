"""`python -m tests.bench NAME [options]`: runs one of the benchmarks in this folder.

With `--record`, what it prints also replaces the block in `results/NAME.md`. `RESULTS.md` tells where all stands.
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

RESULTS = Path(__file__).with_name("results")


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
    """Return the results of a benchmark with their block replaced, or put in before what is older.

    results: the text of `results/NAME.md`, empty where there is none yet.
    """
    block = f"<!-- {name} -->\n`{command}`, {day}:\n\n```\n{printed.rstrip()}\n```\n<!-- /{name} -->"
    old = re.compile(rf"<!-- {re.escape(name)} -->.*?<!-- /{re.escape(name)} -->", re.DOTALL)
    if old.search(results):
        return old.sub(lambda _: block, results)
    older = re.search(r"^## Before$", results, re.MULTILINE)
    at = older.start() if older else len(results)
    above = results[:at].rstrip() or f"# {name}"
    return f"{above}\n\n{block}\n" + (f"\n{results[at:]}" if older else "")


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
    kept = RESULTS / f"{argv[0]}.md"
    before = kept.read_text(encoding="utf-8") if kept.exists() else ""
    kept.write_text(recorded(before, argv[0], shown, both.getvalue(), day), "utf-8")
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
