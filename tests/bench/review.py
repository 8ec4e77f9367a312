"""`python -m tests.bench review`: 2,000 attempts on the page: time to the first letters, scrolling, memory."""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from ownhand.hands.captures import load_captures, save_capture
from ownhand.hands.hand import open_hand
from tests.conftest import program
from tests.ownhand.stand_in import write_hand

CHARS = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789&?!"
QUIET = "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
QUIET += " --disable-component-update --disable-sync"

SERVE = """
import sys, pathlib
from ownhand.workroom.server import start
running = start(pathlib.Path(sys.argv[1]))
print(running.url, flush=True)
sys.stdin.readline()
running.stop()
# Not ru_maxrss, which a new program inherits from the one that started it.
status = pathlib.Path("/proc/self/status").read_text()
print(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")), flush=True)
"""

SCROLL = """async () => {
  const times = [];
  let last = performance.now();
  const step = document.documentElement.scrollHeight / 120;
  for (let i = 0; i < 120; i++) {
    scrollBy(0, step);
    await new Promise(requestAnimationFrame);
    const now = performance.now();
    times.push(now - last);
    last = now;
  }
  times.sort((a, b) => a - b);
  return { height: document.documentElement.scrollHeight, median: times[60], p95: times[114], worst: times[119] };
}"""

FIRST = """() => new Promise((done) => {
  const look = () => {
    const strips = performance.getEntriesByType('resource').filter((e) => e.name.includes('/strip') && e.responseEnd);
    if (strips.length >= 6) requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now())));
    else requestAnimationFrame(look);
  };
  look();
})"""


def make_hand(folder: Path, attempts: int) -> Path:
    """Write a hand with about so many attempts, every tenth of them doubtful."""
    each = max(1, round(attempts / len(CHARS)))
    hand = write_hand(folder / "hand", CHARS, attempts=each, faults=False)
    (capture,) = load_captures(open_hand(hand.path))
    doubtful = [
        a if i % 10 else a.__class__(**{**{f: getattr(a, f) for f in a.__dataclass_fields__}, "confidence": 0.4})
        for i, a in enumerate(capture.attempts)
    ]
    save_capture(hand, capture.__class__(**{**vars(capture), "attempts": tuple(doubtful)}))
    return hand.path


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="tests.bench review")
    parser.add_argument("--attempts", type=int, default=2000)
    parser.add_argument("--json", type=Path, help="also write the figures here")
    wanted = parser.parse_args(argv)
    from playwright.sync_api import sync_playwright

    chromium = program("chromium")
    if chromium is None:
        print("no browser is installed (Debian: apt-get install chromium-headless-shell)", file=sys.stderr)
        return 2
    figures: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as name:
        hand = make_hand(Path(name), wanted.attempts)
        begun = time.perf_counter()
        server = subprocess.Popen(
            [sys.executable, "-c", SERVE, str(hand)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert server.stdin and server.stdout
        url = server.stdout.readline().strip()
        figures["server up, s"] = time.perf_counter() - begun
        with sync_playwright() as p:
            browser = p.chromium.launch(executable_path=chromium, args=QUIET.split())
            page = browser.new_page(viewport={"width": 1280, "height": 720})
            page.goto(url)
            figures["first letters shown, s"] = page.evaluate(FIRST) / 1000
            figures["attempts on the page"] = page.locator(".on-line").count()
            figures["pictures fetched before scrolling"] = page.evaluate(
                "performance.getEntriesByType('resource').filter((e) => e.name.includes('/strip')).length"
            )
            page.wait_for_timeout(1500)
            scrolled = page.evaluate(SCROLL)
            figures |= {f"frame while scrolling, {k}, ms": scrolled[k] for k in ("median", "p95", "worst")}
            cdp = page.context.new_cdp_session(page)
            cdp.send("Performance.enable")
            metrics = {m["name"]: m["value"] for m in cdp.send("Performance.getMetrics")["metrics"]}
            figures["script memory in the browser, MB"] = metrics["JSHeapUsedSize"] / 1e6
            figures["elements"] = metrics["Nodes"]
            begun = time.perf_counter()
            page.evaluate("location.hash = '#letter/m'")
            page.wait_for_selector(".desk-picture .hit")
            figures["a letter opened, s"] = time.perf_counter() - begun
            begun = time.perf_counter()
            page.keyboard.press("k")
            page.get_by_role("heading", name="kept").wait_for()
            figures["a decision stored and shown, s"] = time.perf_counter() - begun
            browser.close()
        server.stdin.write("\n")
        server.stdin.flush()
        figures["server's peak memory, MB"] = int(server.stdout.readline()) / 1024
        server.wait(timeout=20)
    for words, value in figures.items():
        print(f"{words:40} {value:10.3f}" if value < 100 else f"{words:40} {value:10.0f}")
    if wanted.json:
        wanted.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    return 0
