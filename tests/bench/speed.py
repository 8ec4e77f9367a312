"""What a person waits for: processor seconds of whole commands, as the system counts them, workers included.

    python -m tests.bench speed [--hand HAND] [--pages 1] [--letters 100 400]

`--hand` is a hand whose font was built; without one the sample's first pages are read and built into a new one. The
reference is a plain Python that imports NumPy and OpenCV, in the same run: other machines and other loads move both.
`--letters` writes runs of so many letters of 1,000 characters; the memory is that of the largest process.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SCANS = ROOT / "sample_sheets/lantern/scans"


def cost(*command: str, **environment: str) -> tuple[float, float]:
    """Return processor seconds and seconds by the clock of a command and all its processes."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(
        [sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT)} | environment,
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 5):
        raise SystemExit(f"{' '.join(command)}: {done.stderr[-500:]}")
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, time.perf_counter() - begun


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="tests.bench speed")
    parser.add_argument("--hand", type=Path)
    parser.add_argument("--pages", type=int, default=1)
    parser.add_argument("--letters", type=int, nargs="*", default=[])
    parser.add_argument("--cold", action="store_true", help="also read with no loop compiled, as on a new machine")
    wanted = parser.parse_args(argv)

    def row(name: str, *command: str, **environment: str) -> float:
        cpu, wall = cost(*command, **environment)
        largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"{name:44} {cpu:8.2f} {wall:8.2f} {largest:11.0f}", flush=True)
        return wall

    print(f"{'':44} {'cpu s':>8} {'wall s':>8} {'largest MiB':>11}")
    row("reference: python, NumPy, OpenCV", "-c", "import cv2")
    row("--help", "-m", "ownhand", "--help")
    with tempfile.TemporaryDirectory() as name:
        room = Path(name)
        scans = [str(s) for s in sorted(SCANS.glob("*.jpg"))[: wanted.pages]]
        if wanted.cold:
            row("read, nothing compiled", "-m", "ownhand", "read", str(room / "a"), *scans, OWNHAND_CACHE_DIR=name)
        hand = str(wanted.hand or room / "b")
        row(f"read, {len(scans)} page(s)", "-m", "ownhand", "read", str(room / "b"), *scans)
        row(f"read, {len(scans)} page(s), one process", "-m", "ownhand", "read", str(room / "c"), *scans, "--jobs", "1")
        if wanted.hand is None:
            row("build", "-m", "ownhand", "build", hand)
        letter = room / "letter.txt"
        letter.write_text("the lamp was lit at dusk and the fog came in again. " * 80)
        row("write x", "-m", "ownhand", "write", hand, "x", "-o", str(room / "x.svg"))
        row("write, 4,000 letters", "-m", "ownhand", "write", hand, "-f", str(letter), "-o", str(room / "y.svg"))
        row("proof", "-m", "ownhand", "proof", hand, "-o", str(room / "proof.png"))
        template = room / "template.txt"
        template.write_text("{name}, " + "the lamp was lit at dusk and the fog came in again. " * 19)
        for count in wanted.letters:
            table = room / f"{count}.csv"
            table.write_text("name\n" + "".join(f"Guest {n}\n" for n in range(count)))
            there = str(room / f"letters-{count}")
            wall = row(f"{count} letters of 1,000 characters", "-m", "ownhand", "write", hand, "--table", str(table),
                       "--template", str(template), "-o", there)  # fmt: skip
            print(f"{'  10,000 at this rate':44} {'':8} {wall * 10_000 / count:8.0f}")
    return 0
