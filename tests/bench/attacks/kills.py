"""Power cuts: commands killed at any moment, and the hand or the run whole after it."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from capture.errors import OwnhandError
from fontbuild.formats.ufo import load_ufo, save_ufo
from ownhand.hands.captures import load_captures
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import load_sheets, open_hand
from ownhand.subprocesses import own_environment
from tests.bench.attacks.tally import Tally
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.stand_in import write_hand

KILLS = 30
SCAN = Path(__file__).parents[3] / "sample_sheets" / "lantern" / "scans" / "page-7.jpg"

DECIDE = """
import sys
from pathlib import Path
from ownhand.hands.hand import open_hand
from ownhand.review.session.review_session import ReviewSession
from ownhand.validation import Place
session = ReviewSession(open_hand(Path(sys.argv[1])))
for n in range(10000):
    for key in sorted(session.attempts):
        session.take(session.decisions.version, Place([{"attempt": key, "do": "baseline", "mm": n % 40}], "m", []))
"""


def killed(command: list[str], seconds: float) -> None:
    """Run a command, kill it with all its processes after so long."""
    run = subprocess.Popen(
        command, env=own_environment(), start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    time.sleep(seconds)
    if run.poll() is None:
        os.killpg(run.pid, signal.SIGKILL)
    run.wait()


def kills(folder: Path, tally: Tally, share: float) -> None:
    """Kill read, build, a run over a table, and review."""
    rng = random.Random(24)
    count = max(1, int(KILLS * share))
    ownhand = [sys.executable, "-m", "ownhand"]
    hand = write_hand(folder / "hand", "teno", attempts=2).path
    read = folder / "read"
    font = save_ufo(hershey_font(variants=1), folder / "font.ufo")
    (folder / "g.csv").write_text("name\n" + "".join(f"Orla {n}\n" for n in range(200)))
    (folder / "t.txt").write_text("Dear {name}")
    table = ["write", str(font), "--table", str(folder / "g.csv"), "--template", str(folder / "t.txt")]
    commands = {
        "read": ([*ownhand, "read", str(read), str(SCAN)], read),
        "build": ([*ownhand, "build", str(hand)], hand),
        "write --table": ([*ownhand, *table, "-o", str(folder / "out")], None),
        "review": ([sys.executable, "-c", DECIDE, str(hand)], hand),
    }
    for name, (command, path) in commands.items():
        for _ in range(count):
            killed(command, rng.uniform(0.3, 4.0))
            tally.note(f"kills of {name}", fault=_whole(path, folder / "out"))


def _whole(path: Path | None, out: Path) -> str:
    """Return what is not whole; '' where all is."""
    try:
        if path is None:
            bad = [p.name for p in out.glob("*.svg") if not p.read_text().rstrip().endswith("</svg>")]
            return f"half written: {bad[:3]}" if bad else ""
        if (path / "hand.json").exists():
            hand = open_hand(path)
            load_sheets(hand)
            load_captures(hand)
            if load_decisions(hand.decisions_file).faults:
                return "decisions with faults"
            if hand.ufo.exists():
                load_ufo(hand.ufo)
    except OwnhandError as error:
        return str(error)
    return ""
