"""What the tests of the review page share: opening it, finding places on it, waiting for what it stores."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import Any

import pytest

from ownhand.hands.captures import load_captures
from ownhand.hands.decisions_file import load_decisions

A, E_, N, T, U = (f"LAMP1/1/{row}" for row in range(1, 6))
"""Rows of the stand-in hand: a, e, n, t, u."""

SLOWER = float(os.environ.get("SLOWER_BROWSER", "1"))
"""`SLOWER_BROWSER=4` runs the page's scripts that many times slower, to find what only a slow machine shows."""

PATIENCE_S = 180
"""How long something may take before it counts as not happening: on a busy machine the first reading of an ink, with
nothing compiled yet, and the database of languages take a minute and more."""


def tab(context, url, faults, at="", *, allow="status of 4"):
    """Open the page in a tab of its own; what it complains of goes to `faults`, except for messages with `allow`."""
    page = context.new_page()
    if SLOWER > 1:
        context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.on("console", lambda m: m.type == "error" and allow not in m.text and faults.append(m.text))
    page.goto(url + at)
    ready(page)
    return page


def ready(page) -> None:
    """Wait until all that was asked for is done and shown."""
    page.wait_for_selector("main[aria-busy=false]")


def turn_to(page, part) -> None:
    """Go to another part of the page in the same tab."""
    page.evaluate("part => { location.hash = part }", f"#{part}")
    page.locator(f'[data-part="{part}"][aria-current=page]').first.wait_for()
    ready(page)


MARK_ALIKE = """most => {
    const kinds = new Map();
    for (const row of document.querySelectorAll("tbody tr")) {
        const parts = [row, ...row.querySelectorAll("*")];
        const kind = parts.map(e => [e.tagName, e.className, e.disabled, e.checked, e.hidden, e.style.cssText]).join();
        kinds.set(kind, (kinds.get(kind) ?? 0) + 1);
        row.toggleAttribute("data-alike", kinds.get(kind) > most);
    }
    return document.querySelectorAll("[data-alike]").length;
}"""
"""Marks the rows of tables that are built and styled like `most` rows before them; returns how many."""

MOST_ALIKE = 30


def faults_of_accessibility(page) -> list[tuple]:
    """Return what axe-core (Deque, open source, from PyPI's axe-playwright-python) finds after WCAG 2.1 A and AA.

    Contrast takes 5 ms an element, and is that of an element's style: of the 700 languages' rows, which are all of a
    kind, it is measured in the first 30. All other rules are held against every row.
    """
    from axe_playwright_python.sync_playwright import Axe

    ways: list[tuple] = [(None, {"resultTypes": ["violations"]})]
    if page.evaluate(MARK_ALIKE, MOST_ALIKE):
        (_, rest), contrast = ways[0], {"type": "rule", "values": ["color-contrast"]}
        ways = [
            (None, rest | {"rules": {"color-contrast": {"enabled": False}}}),
            ({"exclude": [["[data-alike]"]]}, rest | {"runOnly": contrast}),
        ]
    found = [v for context, options in ways for v in Axe().run(page, context, options).response["violations"]]
    return [(v["id"], v["impact"], [n["html"][:140] for n in v["nodes"]][:4]) for v in found]


def too_wide_by(page) -> float:
    """Return by how many pixels the page scrolls sideways."""
    return page.evaluate("document.documentElement.scrollWidth - innerWidth")


def open_attempt(page, key, char) -> None:
    page.evaluate("at => { location.hash = at }", f"#letter/{char}/{key.replace('/', '%2F')}")
    page.wait_for_selector(f'.desk-picture[data-attempt="{key}"] .hit')
    ready(page)


def stored(hand, key):
    return load_decisions(hand.decisions_file).attempts.get(key)


def until(claim: Callable[[], Any], message="it did not happen") -> Any:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        value = claim()
        if value:
            return value
        time.sleep(0.05)
    pytest.fail(message)


def strokes_of(hand, key):
    return until(lambda: (d := stored(hand, key)) and d.strokes)


def read(hand, key):
    return next(a for c in load_captures(hand) for a in c.attempts if a.id == key)


def know_lines(page, attempt) -> None:
    """Tell the page the strokes that `on_desk` measures by: those it shows now."""
    page.evaluate("lines => { window.__lines = lines }", [s.points_mm.tolist() for s in attempt.strokes])


def on_desk(page, mm):
    """Return where on the screen a point of the attempt lies, by the picture's own strokes."""
    return page.evaluate(
        """([x, y]) => {
          const svg = document.querySelector('.desk-picture');
          const box = svg.getBoundingClientRect();
          const at = (d) => d.slice(1).split('L').map((p) => p.split(' ').map(Number));
          const d = at(svg.querySelector('.hit').getAttribute('d'));
          const mm = window.__lines[0];
          const k = Math.hypot(d.at(-1)[0] - d[0][0], d.at(-1)[1] - d[0][1])
            / Math.hypot(mm.at(-1)[0] - mm[0][0], mm.at(-1)[1] - mm[0][1]);
          return [box.left + d[0][0] + (x - mm[0][0]) * k, box.top + d[0][1] - (y - mm[0][1]) * k];
        }""",
        list(mm),
    )


def middle_of(locator) -> tuple[float, float]:
    box = locator.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def draw(page, points) -> None:
    page.mouse.move(*points[0])
    page.mouse.down()
    for p in points[1:]:
        page.mouse.move(*p)
    page.mouse.up()
