"""Everything that a stranger can send, sent: codes on paper, orders, acts of review, files, and power cuts.

    python -m tests.bench attack [--part codes,orders,...] [--share 1.0]

Prints a table: what kind of input, how many were tried, how many were refused in one line, and faults: tracebacks,
files outside the hand, hands that are not read again, services that no longer answer; the wall time of each kind and of
the whole run, meant for five minutes on two quiet cores; on standard error, while it runs, how far it is. A fault
ends the run with 1. Inputs follow from a seed.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.attacks import files, kills, orders, paper, review
from tests.bench.attacks.tally import Tally

PARTS = {
    "codes": paper.codes,
    "orders": orders.orders,
    "hostile": orders.hostile,
    "review": review.acts,
    "pictures": files.pictures,
    "pdfs": files.pdfs,
    "fonts": files.fonts,
    "tables": files.tables,
    "kills": kills.kills,
}


def main(argv: list[str]) -> int:
    """Run the parts asked for and print their table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench attack", description=__doc__)
    parser.add_argument("--part", default=",".join(PARTS))
    parser.add_argument("--share", type=float, default=1.0, help="Of the number of inputs of each kind.")
    options = parser.parse_args(argv)
    begin = time.monotonic()
    tally = Tally(say=lambda line: print(line, file=sys.stderr, flush=True))
    with tempfile.TemporaryDirectory() as name:
        for part in options.part.split(","):
            folder = Path(name) / part
            folder.mkdir()
            tally.say(f"{time.monotonic() - begin:4.0f} s  {part}")
            PARTS[part](folder, tally, options.share)
    print(tally.table())
    others = f"{os.getloadavg()[2]:.1f} processes wanted them on the average of a quarter of an hour"
    print(f"whole run: {time.monotonic() - begin:.0f} s on {os.cpu_count()} cores; {others}")
    return 1 if tally.faults else 0
