"""`python -m tests.bench NAME [options]`: runs one of the benchmarks in this folder."""

from __future__ import annotations

import importlib
import pkgutil
import sys

import tests.bench


def main(argv: list[str]) -> int:
    names = sorted(
        m.name
        for m in pkgutil.iter_modules(tests.bench.__path__)
        if hasattr(importlib.import_module(f"tests.bench.{m.name}"), "main") and m.name != "__main__"
    )
    if not argv or argv[0] not in names:
        print(f"usage: python -m tests.bench {{{','.join(names)}}} [options]", file=sys.stderr)
        return 2
    return int(importlib.import_module(f"tests.bench.{argv[0]}").main(argv[1:]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
