"""Power cuts: commands killed at any moment, and the hand or the run whole after it, and complete after the next run.

A kill counts where the command was still running. The moments are spread over what a whole run takes.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path

from PIL import Image

from capture.errors import OwnhandError
from capture.layout import lay_out
from fontbuild.formats.ufo import load_ufo, save_ufo
from ownhand.hands.captures import load_captures
from ownhand.hands.decisions_file import load_decisions
from ownhand.hands.hand import load_sheets, open_hand
from tests.bench.attacks.tally import Tally
from tests.bench.attacks.warm import Warm, warm
from tests.bench.capture_pages import Degrade, print_page, take, write_cells
from tests.ownhand.hershey_font import hershey_font
from tests.ownhand.stand_in import write_hand

KILLS = 30
ROWS = 120


def kills(folder: Path, tally: Tally, share: float) -> None:
    """Kill read, build, a run over a table, and review."""
    count = max(1, int(KILLS * share))
    rng = random.Random(24)
    with warm() as commands:
        for kind in (_of_read, _of_build, _of_table, _of_review):
            kind(folder, tally, commands, count, rng)


def _kill(
    kind: str, argv: list[str], whole: Callable[[], str], tally: Tally, commands: Warm, count: int,
    rng: random.Random, *, takes: float, renew: Callable[[], object],
) -> None:  # fmt: skip
    """Kill a command so many times while it runs; one that ends before its moment is run again after `renew`."""
    caught = 0
    for _ in range(10 * count):
        if caught == count:
            break
        killed, took = commands.run(argv, kill_after_s=rng.uniform(0.0, 1.0) * takes)
        if not killed:
            takes = 0.9 * min(takes, took)
            renew()
            continue
        caught += 1
        tally.note(f"kills of {kind}", fault=whole())
    if caught < count:
        tally.note(f"kills of {kind}", fault=f"only {caught} of {count} runs were killed while they ran")


def _of_read(folder: Path, tally: Tally, commands: Warm, count: int, rng: random.Random) -> None:
    scan, hand = folder / "page.png", folder / "read"
    sheet = lay_out([(char, 2) for char in "aens"], sheet_id="test-1", paper="A5", languages=("en",))
    page, how = sheet.pages[0], Degrade(dpi=200)
    picture = take(page, print_page(sheet, page), write_cells(page, seed=5), how)
    Image.fromarray(picture.scan.pixels).save(scan, dpi=(200, 200))
    argv = ["read", str(hand), str(scan)]
    _, takes = commands.run(argv)
    expected = _status(hand)
    assert expected
    shutil.rmtree(hand)

    def whole() -> str:
        if not (hand / "hand.json").exists():
            return ""
        found = _status(hand)
        fault = "" if not found or found == expected else f"{len(found)} of {len(expected)} attempts"
        if found and rng.random() < 0.5:  # half of the runs begin a hand, half read a page again
            shutil.rmtree(hand)
        return fault

    _kill("read", argv, _said(whole), tally, commands, count, rng, takes=takes, renew=lambda: None)
    commands.run(argv)
    tally.note("runs after kills", fault="" if _status(hand) == expected else "read: not complete")


def _of_build(folder: Path, tally: Tally, commands: Warm, count: int, rng: random.Random) -> None:
    hand = write_hand(folder / "hand", "teno", attempts=2)
    argv = ["build", str(hand.path)]
    _, takes = commands.run(argv)
    expected = _variants(hand.ufo)
    assert expected

    def whole() -> str:
        load_captures(open_hand(hand.path))
        for svg in hand.font_folder.glob("*.svg"):
            if not svg.read_text(encoding="utf-8").rstrip().endswith("</svg>"):
                return f"{svg.name} is half written"
        if not hand.ufo.exists():
            return ""
        fault = "" if _variants(hand.ufo) == expected else "another font"
        if rng.random() < 0.5:
            shutil.rmtree(hand.font_folder)
        return fault

    _kill("build", argv, _said(whole), tally, commands, count, rng, takes=takes, renew=lambda: None)
    commands.run(argv)
    tally.note("runs after kills", fault="" if _variants(hand.ufo) == expected else "build: not complete")


def _of_table(folder: Path, tally: Tally, commands: Warm, count: int, rng: random.Random) -> None:
    font, out = save_ufo(hershey_font(variants=1), folder / "font.ufo"), folder / "out"
    (folder / "guests.csv").write_text("name\n" + "".join(f"Orla {n}\n" for n in range(ROWS)))
    (folder / "card.txt").write_text("Dear {name}")
    table = ["--table", str(folder / "guests.csv"), "--template", str(folder / "card.txt")]
    argv = ["write", str(font), *table, "-o", str(out)]
    _, takes = commands.run(argv)
    expected = {file.name: file.read_bytes() for file in out.glob("*.svg")}
    assert len(expected) == ROWS
    shutil.rmtree(out)

    def whole() -> str:
        found = {file.name: file.read_bytes() for file in out.glob("*.svg")}
        bad = [name for name, data in found.items() if expected.get(name) != data]
        if len(found) > ROWS // 2:
            shutil.rmtree(out)
        return f"half written: {bad[:3]}" if bad else ""

    renew = lambda: shutil.rmtree(out)  # noqa: E731
    _kill("write --table", argv, _said(whole), tally, commands, count, rng, takes=takes, renew=renew)
    commands.run(argv)
    found = {file.name: file.read_bytes() for file in out.glob("*.svg")}
    tally.note("runs after kills", fault="" if found == expected else f"write: {len(found)} of {ROWS}")


def _of_review(folder: Path, tally: Tally, commands: Warm, count: int, rng: random.Random) -> None:
    hand = write_hand(folder / "reviewed", "teno", attempts=2)
    answered = folder / "answered"

    def whole() -> str:
        decisions = load_decisions(hand.decisions_file)
        if decisions.faults:
            return decisions.faults[0]
        told = answered.read_bytes() if answered.exists() else b""
        last = int.from_bytes(told[len(told) // 8 * 8 - 8 : len(told) // 8 * 8], "big") if len(told) >= 8 else 0
        return "" if decisions.version >= last else f"version {last} was answered, {decisions.version} is kept"

    argv = ["decide", str(hand.path), str(answered)]
    _kill("review", argv, _said(whole), tally, commands, count, rng, takes=0.6, renew=lambda: None)
    tally.note("runs after kills", fault="" if load_decisions(hand.decisions_file).version else "review: no act")


def _said(whole: Callable[[], str]) -> Callable[[], str]:
    """Return a check that says what it cannot read."""

    def check() -> str:
        try:
            return whole()
        except (OwnhandError, OSError, ValueError) as error:
            return f"{type(error).__name__}: {error}"

    return check


def _status(path: Path) -> dict[str, str]:
    hand = open_hand(path)
    load_sheets(hand)
    captures = load_captures(hand)
    missing = [
        p.file for c in captures for p in c.ink.values() if not (hand.captures_folder / c.sheet / p.file).exists()
    ]
    if missing:
        raise ValueError(f"pictures of ink are missing: {missing[:3]}")
    return {a.id: a.status for c in captures for a in c.attempts}


def _variants(ufo: Path) -> dict[str, int]:
    return {char: len(variants) for char, variants in load_ufo(ufo).glyphs.items()}
